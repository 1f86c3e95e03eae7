"""Slip of the grippers: mains extend, the rear shield goes back on the ring, the head stays.

It looks like ring building, which shortens the auxiliaries too. So it is stated only where they
shorten as fast as the mains extend, for a minute or more, and the chainage stands still (or the
logged speed, which then is not made from the main stroke). Otherwise: cannot tell.
"""

from dataclasses import dataclass

import numpy as np

from tbmreview.domain.setup import DOUBLE_SHIELD
from tbmreview.motion.pushing import START_MM_MIN, STOP_MM_MIN
from tbmreview.motion.record import Record
from tbmreview.motion.signals import Flags, close_short, middle, runs, window

LEAST_S = 50.0  # a minute, less what smoothing hides at both ends
AS_FAST = (0.7, 1.4)  # aux shortening over main extending
STANDS = 0.4  # of the main's movement: less is standing still on a coarse chainage
FOLLOWS = 0.6  # of the main's movement: a chainage that moves with the head does
LOOK_BACK_S = 600.0
SLOPE_S = 30.0  # half of the least duration
EDGE_S = 15.0  # half the window of the slope


@dataclass(frozen=True, slots=True)
class Slip:
    """Flags (n,): slip that is certain, and stretches where the log cannot tell."""

    certain: Flags
    doubtful: Flags


def find_slip(record: Record, kind: str) -> Slip:
    """Slip in a window."""
    certain = np.zeros(len(record), bool)
    doubtful = np.zeros(len(record), bool)
    if kind != DOUBLE_SHIELD or record.main is None or record.aux is None:
        return Slip(certain, doubtful)
    near = window(record.seconds, max(SLOPE_S, 2.5 * record.nominal_s))
    out, back = near.slope(record.main.mm) * 60, -near.slope(record.aux.mm) * 60
    together = (out > START_MM_MIN) & (back > AS_FAST[0] * out) & (back < AS_FAST[1] * out)
    if record.turning is not None:
        together &= record.turning
    for first, stop in runs(close_short(together, record.seconds, 5.0)):
        if record.seconds[stop - 1] - record.seconds[first] + record.nominal_s < LEAST_S:
            continue
        first, stop = _to_its_edges(record, first, stop)
        stands = _head_stands(record, first, stop)
        if stands is None:
            doubtful[first:stop] = True
        elif stands:
            certain[first:stop] = True
    return Slip(certain, doubtful)


def _to_its_edges(record: Record, first: int, stop: int) -> tuple[int, int]:
    """A slope over half a minute sees a slip begin late and end early: the edges come from a shorter one."""
    assert record.aux is not None
    low, high = np.searchsorted(record.seconds, record.seconds[[first, stop - 1]] + (-EDGE_S, EDGE_S))
    part = slice(int(low), int(high))
    back = -window(record.seconds[part], EDGE_S / 3).slope(record.aux.mm[part]) * 60
    rate = middle(back[first - part.start : stop - part.start])
    going = back > 0.5 * rate
    going[first - part.start : stop - part.start] = True
    for a, b in runs(going):
        if a <= first - part.start < b:
            return part.start + a, part.start + b
    return first, stop


def _head_stands(record: Record, first: int, stop: int) -> bool | None:
    """True: the head stands; False: it goes forward; None: the log cannot tell."""
    assert record.main is not None
    moved = float(record.main.smooth_mm[stop - 1] - record.main.smooth_mm[first])
    if record.rate_mm_min is not None and middle(record.rate_mm_min[first:stop]) < STOP_MM_MIN:
        return True
    station = record.logged_position_m
    if station is None:
        return None
    gone = _gone(record, first, stop)
    back = int(np.searchsorted(record.seconds, record.seconds[first] - LOOK_BACK_S))
    before = float(record.main.smooth_mm[first] - record.main.smooth_mm[back])
    gone_before = _gone(record, back, first)
    if not np.isfinite(gone) or not np.isfinite(gone_before) or before < 30.0 or moved < 10.0:
        return None
    if gone_before < FOLLOWS * before:  # it did not move with the head either
        return None
    return gone < STANDS * moved


def _gone(record: Record, first: int, stop: int) -> float:
    """How far the logged chainage went [mm]."""
    assert record.logged_position_m is not None
    k = record.readings(10.0)
    station = record.logged_position_m
    return 1000 * (middle(station[max(first, stop - k) : stop + k // 2]) - middle(station[first : first + k]))
