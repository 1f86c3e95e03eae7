"""Slip of the grippers: mains extend, the rear shield goes back on the ring, the head stays.

It looks like ring building, which shortens the auxiliaries too, and like a guidance that is late. So it
is stated only where, for a minute or more, the chainage stands still while the mains extend, has not
caught up soon after, followed them before, and the auxiliaries shorten by as much. Auxiliaries that
shorten as fast as the mains extend, without a chainage that tells: cannot tell.
"""

from dataclasses import dataclass

import numpy as np

from tbmreview.domain.setup import DOUBLE_SHIELD
from tbmreview.motion.pushing import START_MM_MIN
from tbmreview.motion.record import Extension, Record
from tbmreview.motion.signals import Flags, Floats, close_short, filled, middle, runs

LEAST_S = 50.0  # a minute, less what smoothing hides at both ends
WINDOW_S = 60.0
AROUND_S = 45.0  # before and after a slip: clear of its smoothed edges
BESIDE_S = 20.0  # levels are medians over so long
AS_FAST = (0.7, 1.4)  # aux shortening over main extending
STANDS = 0.4  # of the main's movement: less is standing still on a coarse chainage
LEAST_MM, MOST_MM = 25.0, 250.0  # less is in the noise of guidance; a crew does not let it slip further
LOOK_BACK_S = 600.0


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
    station = record.logged_position_m
    known = filled(1000 * station, record.seconds) if station is not None else None
    if known is None:
        for first, stop in _stretches(record, _together(record, record.main, record.aux)):
            doubtful[first:stop] = True
        return Slip(certain, doubtful)
    behind_mm = record.main.smooth_mm - record.felt.mean(known)
    for first, stop in _stretches(record, _head_stands(record, record.main, behind_mm)):
        edges = _ramp(record, behind_mm, first, stop)
        if edges is not None and _is_slip(record, record.main, behind_mm, edges):
            certain[slice(*edges)] = True
    return Slip(certain, doubtful)


def _together(record: Record, main: Extension, aux: Extension) -> Flags:
    near = record.windows.slope(max(WINDOW_S / 2, 2.5 * record.nominal_s))
    out, back = near.of(main.mm) * 60, -near.of(aux.mm) * 60
    return (out > START_MM_MIN) & (back > AS_FAST[0] * out) & (back < AS_FAST[1] * out)


def _head_stands(record: Record, main: Extension, behind_mm: Floats) -> Flags:
    wide = record.windows.slope(max(WINDOW_S, 2.5 * record.nominal_s))
    out, behind = wide.of(main.mm) * 60, wide.of(behind_mm) * 60
    return (out > START_MM_MIN) & (behind > (1 - STANDS) * out)


def _stretches(record: Record, flags: Flags) -> list[tuple[int, int]]:
    if record.turning is not None:
        flags = flags & record.turning
    found = runs(close_short(flags, record.seconds, 5.0))
    return [
        (a, b) for a, b in found if record.seconds[b - 1] - record.seconds[a] + record.nominal_s >= LEAST_S
    ]


def _ramp(record: Record, behind_mm: Floats, first: int, stop: int) -> tuple[int, int] | None:
    """Samples over which the chainage fell behind, as a ramp through its quarter and three quarters."""
    seconds = record.seconds
    low, high = seconds[first] - AROUND_S, seconds[stop - 1] + AROUND_S
    part = slice(*np.searchsorted(seconds, (low, high)).tolist())
    base = middle(behind_mm[slice(*np.searchsorted(seconds, (low - BESIDE_S, low + 1)).tolist())])
    top = middle(behind_mm[slice(*np.searchsorted(seconds, (high - 1, high + BESIDE_S)).tolist())])
    if not LEAST_MM < top - base < MOST_MM:
        return None
    rising = np.maximum.accumulate(behind_mm[part])
    quarters = (base + 0.25 * (top - base), base + 0.75 * (top - base))
    one, three = np.interp(quarters, rising, seconds[part])
    half = (three - one) / 2 + record.nominal_s / 2
    edges = np.searchsorted(seconds, (one - half, three + half - record.nominal_s))
    return (int(edges[0]), int(edges[1])) if edges[1] > edges[0] else None


def _is_slip(record: Record, main: Extension, behind_mm: Floats, edges: tuple[int, int]) -> bool:
    """The chainage followed the mains before, and the auxiliaries shortened by as much."""
    assert record.aux is not None
    first, last = edges[0], min(edges[1], len(record) - 1)
    seconds, k = record.seconds, record.readings(BESIDE_S)
    back, low, high = np.searchsorted(
        seconds, (seconds[first] - LOOK_BACK_S, seconds[first] - AROUND_S, seconds[last] + AROUND_S)
    ).tolist()
    extended = main.smooth_mm[first] - main.smooth_mm[back]
    fell_behind = middle(behind_mm[max(first - k, 0) : first + 1]) - behind_mm[back]
    aux = record.aux.smooth_mm[low:high]
    shortened = aux.max() - aux[aux.argmax() :].min()
    moved = main.smooth_mm[last] - main.smooth_mm[first]
    return bool(extended > LEAST_MM and fell_behind < STANDS * extended and shortened >= AS_FAST[0] * moved)
