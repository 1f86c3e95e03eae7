"""Whether the machine bored, told by every channel but those that are being judged.

A sensor that fails takes its own word with it: a head speed that reads 0 says that the head stands. So each
channel is held against what the others say: the head turned (speed, torque, power) and went on (speed, penetration,
strokes). The limits are common practice, no source.
"""

from collections.abc import Collection, Mapping
from functools import cached_property

import numpy as np

from tbmreview.findings.detector import Flags, Floats

MAIN, AUX = "main_stroke_mm", "aux_stroke_mm"
RISING_S, RISING_MM = 60.0, 5.0  # twice the noise of a stroke sensor
SHARE_OF_MOST = 0.25  # of the day's greatest readings, from which a load is one of boring
TURNED: Mapping[str, float] = {"head_speed_rpm": 0.5, "torque_kNm": 20.0, "head_power_kW": 15.0}
LOADS = ("torque_kNm", "head_power_kW")
ADVANCED: Mapping[str, float] = {"advance_speed_mm_min": 5.0, "penetration_mm_rev": 1.0}


class AtWork:
    """Flags of boring for n samples. seconds: (n,) rising; values: channel -> (n,); alone: the main set is the
    only one whose extension can move the head."""

    def __init__(self, seconds: Floats, values: Mapping[str, Floats], *, alone: bool) -> None:
        self.seconds, self.values, self._alone = seconds, values, alone
        self._known: dict[frozenset[str], Flags] = {}

    def without(self, channels: Collection[str]) -> Flags:
        """Whether the machine bored (n,), told by channels other than these; never where none can tell."""
        key = frozenset(channels)
        if key not in self._known:
            self._known[key] = self._told(key)
        return self._known[key]

    def judged(self, channel: str) -> Flags:
        """Samples at which this channel must show that the machine bores, (n,): a set of cylinders while it
        pushes, grippers while the mains push."""
        told = self.without([channel])
        main, aux = self.rising[MAIN], self.rising[AUX]
        if channel == MAIN:
            if aux is None:
                return told if self._alone else np.zeros(len(told), bool)
            return told & ~aux
        if channel == AUX:
            return told if main is None else told & ~main
        if channel.startswith(("main_", "gripper_")):
            return told & (main if main is not None else ~aux if aux is not None else True)
        if channel.startswith("aux_"):
            return told & (True if main is None else ~main) & (True if aux is None else aux)
        return told

    @cached_property
    def rising(self) -> Mapping[str, Flags | None]:
        """Whether each stroke rises over the minute around each sample, (n,); None where it is not logged."""
        return {name: self._rising(name) for name in (MAIN, AUX)}

    def _rising(self, name: str) -> Flags | None:
        mm = self.values.get(name)
        if mm is None or not np.isfinite(mm).any():
            return None
        known = np.isfinite(mm)
        level = np.interp(self.seconds, self.seconds[known], mm[known])
        before, after = (
            np.clip(np.searchsorted(self.seconds, self.seconds + shift), 0, len(mm) - 1)
            for shift in (-RISING_S / 2, RISING_S / 2)
        )
        rise: Floats = level[after] - level[before]
        most = 12 * RISING_MM * np.maximum(self.seconds[after] - self.seconds[before], 1.0)
        return (rise >= RISING_MM) & (rise < most)

    @cached_property
    def _turned(self) -> dict[str, Flags]:
        return {n: self._at_least(n, low) for n, low in TURNED.items() if n in self.values}

    @cached_property
    def _advanced(self) -> dict[str, Flags]:
        own = {n: self._at_least(n, low) for n, low in ADVANCED.items() if n in self.values}
        return own | {n: flags for n, flags in self.rising.items() if flags is not None}

    def _at_least(self, name: str, low: float) -> Flags:
        size = np.abs(self.values[name])
        known = size[np.isfinite(size)]
        if name in LOADS and len(known):
            low = max(
                low,
                SHARE_OF_MOST
                * float(np.partition(known, int(0.95 * (len(known) - 1)))[int(0.95 * (len(known) - 1))]),
            )
        return size >= low

    def _told(self, left_out: frozenset[str]) -> Flags:
        groups = [
            [flags for name, flags in group.items() if name not in left_out]
            for group in (self._turned, self._advanced)
        ]
        told = [np.logical_or.reduce(flags) for flags in groups if flags]
        nothing: Flags = np.zeros(len(self.seconds), bool)
        return np.logical_and.reduce(told) if told else nothing
