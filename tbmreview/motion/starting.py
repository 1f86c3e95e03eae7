"""The thrust that it takes to set off after a halt, beside what it takes to go on.

A shield that the ground holds takes more to move than to keep moving; so does one that stood for long.
"""

from dataclasses import dataclass, replace

import numpy as np

from tbmreview.motion.pushing import Bout
from tbmreview.motion.record import Record
from tbmreview.motion.signals import Floats, middle
from tbmreview.motion.strokes import Worked, boring_thrust

HALT_S = 60.0  # a shorter halt is none
BEFORE_S, AFTER_S = 30.0, 12.0  # setting off: so long before and after the head is seen to move
LEAST_FREE = 0.4  # of the no-load torque: a reading below that is no head that turns
LONGEST_FREE_S = 180.0  # a head that is drawn back by decimetres comes up in a few minutes


@dataclass(frozen=True, slots=True)
class Starts:
    """Of a stroke [kN], NaN where it shows none: greatest thrust while setting off and median thrust while going on,
    of the start at which the first is most above the second; median thrust of the free advance, once set off."""

    off_kN: float = float("nan")
    on_kN: float = float("nan")
    free_kN: float = float("nan")


def starts_of(record: Record, w: Worked) -> Starts:
    """The starts of a stroke: its own, and those after halts within it.

    Going on is the free advance to the face where there is one, else boring. A sample that goes forward with the head
    turning free is free advance, however few a slow log has; a free advance that is over before it shows what going
    on takes tells nothing.
    """
    thrust, found = boring_thrust(record, w.span.pushing_set), Starts()
    ends = [-np.inf, *(record.seconds[bout.stop - 1] for bout in w.span.bouts)]
    for i, bout in enumerate(w.span.bouts):
        if bout.hidden or record.seconds[bout.first] - ends[i] < HALT_S:
            continue
        met = bout.first if i else _met(record, w, bout)
        off, on = _start(record, thrust, bout, met)
        if met > bout.first:
            found = replace(found, free_kN=on)
        if np.isnan(found.off_kN) or off / on > found.off_kN / found.on_kN:
            found = replace(found, off_kN=off, on_kN=on)
    return found


def _met(record: Record, w: Worked, bout: Bout) -> int:
    """The first sample of a stroke's first bout at which the head is on the face."""
    limit = w.levels.contact_from
    if np.isnan(limit):
        return min(w.traces[0].first, bout.stop) if w.traces else bout.first
    last = int(np.searchsorted(record.seconds, record.seconds[bout.first] + LONGEST_FREE_S))
    torque = record.clear_torque_kNm[bout.first : min(last, bout.stop)]
    loaded = np.flatnonzero(~((torque < limit) & (torque > LEAST_FREE * w.levels.free)))
    return bout.first + int(loaded[0]) if len(loaded) else bout.first


def _start(record: Record, thrust: Floats, bout: Bout, met: int) -> tuple[float, float]:
    """(thrust to set off, to go on) of one bout, whose head is on the face from sample `met` on."""
    seconds, first = record.seconds, bout.first
    low, high = np.searchsorted(seconds, (seconds[first] - BEFORE_S, seconds[first] + AFTER_S)).tolist()
    while low < first and (record.after_gap[low + 1 : first + 1].any() or not _turns(record, low)):
        low += 1
    high = min(max(high, first + 1), bout.stop)
    going_on = thrust[high:met] if met > first else thrust[high : bout.stop]
    off = thrust[low:high]
    if not np.isfinite(off).any() or not middle(going_on) > 0:
        return float("nan"), float("nan")
    return float(np.nanmax(off)), middle(going_on)


def _turns(record: Record, sample: int) -> bool:
    return record.turning is None or bool(record.turning[sample])
