"""The thrust that it takes to set off after a halt, beside what it takes to go on.

A shield that the ground holds takes more to move than to keep moving; so does one that stood for long.
"""

import numpy as np

from tbmreview.motion.pushing import Bout
from tbmreview.motion.record import Record
from tbmreview.motion.signals import Floats, middle
from tbmreview.motion.strokes import Worked, boring_thrust

HALT_S = 60.0  # a shorter halt is none
BEFORE_S, AFTER_S = 30.0, 12.0  # setting off: so long before and after the head is seen to move


def setting_off(record: Record, w: Worked) -> tuple[float, float]:
    """(greatest thrust while setting off, median thrust while going on) [kN] of the start of a stroke, or of one
    after a halt within it, at which the first is most above the second; NaN where no start shows both.

    Going on is the free advance to the face where there is one, else boring; a free advance that is over before it
    shows what going on takes tells nothing.
    """
    thrust, found = boring_thrust(record, w.span.pushing_set), (float("nan"), float("nan"))
    ends = [-np.inf, *(record.seconds[bout.stop - 1] for bout in w.span.bouts)]
    for i, bout in enumerate(w.span.bouts):
        if bout.hidden or record.seconds[bout.first] - ends[i] < HALT_S:
            continue
        met = w.traces[0].first if i == 0 and w.traces else bout.first
        one = _start(record, thrust, bout, met)
        if np.isnan(found[0]) or one[0] / one[1] > found[0] / found[1]:
            found = one
    return found


def _start(record: Record, thrust: Floats, bout: Bout, met: int) -> tuple[float, float]:
    """Of one bout, whose head is on the face from sample `met` on."""
    seconds, first = record.seconds, bout.first
    low, high = np.searchsorted(seconds, (seconds[first] - BEFORE_S, seconds[first] + AFTER_S)).tolist()
    while low < first and (record.after_gap[low + 1 : first + 1].any() or not _turns(record, low)):
        low += 1
    high = min(max(high, first + 1), bout.stop)
    going_on = thrust[high : min(met, bout.stop)] if met > first else thrust[high : bout.stop]
    off = thrust[low:high]
    if not np.isfinite(off).any() or not middle(going_on) > 0:
        return float("nan"), float("nan")
    return float(np.nanmax(off)), middle(going_on)


def _turns(record: Record, sample: int) -> bool:
    return record.turning is None or bool(record.turning[sample])
