"""Torque of the head turning free, and where the head meets the face.

The head turns free before it meets the face; torque is then at its no-load level. Starting up costs
more, so the first seconds are left out. Boring begins where torque leaves that level for good.
"""

from dataclasses import dataclass

import numpy as np

from tbmreview.domain.setup import Machine
from tbmreview.motion.carry import Baselines
from tbmreview.motion.record import Record
from tbmreview.motion.signals import Flags, Ints, middle, spread

START_UP_S = 12.0  # drives need up to ten seconds to bring the head to speed
STEADY_SPEED = 0.04  # head speed within 4 % of its level counts as steady
LEAST_SAMPLES = 5
FREE_SHARE = 0.6  # of the torque while boring: more is no free rotation
LOADED = 1.25  # times the no-load torque: turning with more is turning loaded
SPREADS = 5.0  # or so many deviations above it
CONTACT_SHARE = 0.02  # of the rise from no-load to boring torque: discs that bite give more at once


@dataclass(frozen=True, slots=True)
class Measured:
    """A force or torque seen in one stroke: median, standard deviation of samples, their number."""

    value: float = float("nan")
    spread: float = float("nan")
    count: int = 0
    speed_rpm: float = float("nan")


@dataclass(frozen=True, slots=True)
class TorqueLevels:
    """Of one stroke [kNm]: turning free (NaN: not known), its spread, and while boring."""

    free: float
    spread: float
    boring: float

    @property
    def loaded_from(self) -> float:
        """Torque from which a head that turns without advance is loaded [kNm]; NaN is not known."""
        return max(LOADED * self.free, self.free + SPREADS * self.spread)

    @property
    def contact_from(self) -> float:
        """Torque from which a head that goes forward is on the face [kNm]; NaN where the log does not show it."""
        if not np.isfinite(self.free) or self.boring < LOADED * self.free:
            return float("nan")
        rise = self.boring - self.free
        return self.free + min(max(SPREADS * self.spread, CONTACT_SHARE * rise), 0.5 * rise)


def free_rotation(record: Record, first: int, stop: int, levels: TorqueLevels) -> tuple[Measured, Flags]:
    """No-load torque from steady free rotation among samples first..stop-1 before the head advances,
    and the flags (stop - first,) of the samples it comes from."""
    none = np.zeros(max(0, stop - first), bool)
    if record.turning is None or stop <= first:
        return Measured(), none
    turning = record.turning[first:stop]
    began = np.where(turning & ~np.r_[False, turning[:-1]], np.arange(len(turning)), 0)
    since = record.seconds[first:stop] - record.seconds[first + np.maximum.accumulate(began)]
    torque, speed = record.torque_kNm[first:stop], record.speed_rpm[first:stop]
    steady = turning & (since >= START_UP_S) & np.isfinite(torque) & (torque < FREE_SHARE * levels.boring)
    if np.isfinite(levels.free):
        steady &= torque < max(levels.loaded_from, 1.5 * levels.free)
    if not steady.any():
        return Measured(), none
    level = middle(speed[steady])
    steady &= np.abs(speed - level) <= STEADY_SPEED * level
    if steady.sum() < LEAST_SAMPLES:
        return Measured(), none
    used = torque[steady]
    return Measured(middle(used), spread(used), int(steady.sum()), level), steady


def usual_levels(baselines: Baselines, machine: Machine, boring: float) -> TorqueLevels:
    """What is known before the stroke itself has shown anything."""
    seen = baselines.no_load_torque_kNm
    free = seen.value if seen.values else (machine.no_load_torque_kNm or np.nan)
    spread = seen.spread if len(seen.values) > 1 else 0.05 * free
    level = boring if np.isfinite(boring) else baselines.boring_torque_kNm.value
    return TorqueLevels(free, max(spread, 0.03 * free) if np.isfinite(free) else np.nan, level)


def contact_sample(record: Record, moving: Ints, levels: TorqueLevels) -> int:
    """The first of the `moving` samples (k,) at which the head is on the face.

    The first of all where the log does not show it: no torque, or never free.
    """
    if np.isnan(levels.contact_from):
        return int(moving[0])
    torque = record.clear_torque_kNm[moving]
    half = levels.free + 0.5 * (levels.boring - levels.free)
    on = np.flatnonzero(record.felt_torque_kNm[moving] >= half)
    if not len(on):
        return int(moving[0])
    off = np.flatnonzero(torque[: on[0] + 1] < levels.contact_from)
    return int(moving[off[-1] + 1]) if len(off) and off[-1] + 1 < len(moving) else int(moving[0])


def boring_torque(record: Record, moving: Ints) -> float:
    """Usual torque while the head advances [kNm]; NaN without torque."""
    return middle(record.torque_kNm[moving])
