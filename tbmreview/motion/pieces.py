"""Intervals of time cut at moments and positions, each piece with its share of the whole."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.shifts import ShiftBounds
from tbmreview.domain.station import STEP_UM, Axis, micrometres
from tbmreview.motion.signals import Floats, Ints


@dataclass(frozen=True, slots=True)
class Pieces:
    """parent: (k,) number of the interval each piece is of; share: (k,) its part of it, adding up to 1
    over a parent; start_us, end_us (k,) int64; from_m, to_m (k,)."""

    parent: Ints
    share: Floats
    start_us: Ints
    end_us: Ints
    from_m: Floats
    to_m: Floats


def whole(start_us: Ints, end_us: Ints, from_m: Floats, to_m: Floats) -> Pieces:
    """Each interval as one piece."""
    n = len(start_us)
    return Pieces(np.arange(n), np.ones(n), start_us, end_us, from_m, to_m)


def cut_at_times(pieces: Pieces, moments_us: NDArray[np.int64]) -> Pieces:
    """The pieces, in order of time, cut at rising moments; position in proportion to time."""
    within = np.searchsorted(pieces.start_us, moments_us) - 1  # the last piece that begins before each moment
    if not np.any((within >= 0) & (moments_us < pieces.end_us.take(within, mode="clip"))):
        return pieces
    first = np.searchsorted(moments_us, pieces.start_us, side="right")
    last = np.maximum(first, np.searchsorted(moments_us, pieces.end_us, side="left"))
    of, number = _spread(first, last)
    edges = np.concatenate([[np.iinfo(np.int64).min], moments_us, [np.iinfo(np.int64).max]])
    start = np.maximum(pieces.start_us[of], edges[number])
    end = np.minimum(pieces.end_us[of], edges[number + 1])
    length = np.maximum(pieces.end_us - pieces.start_us, 1)[of]
    a = (start - pieces.start_us[of]) / length
    b = np.where(end == pieces.end_us[of], 1.0, (end - pieces.start_us[of]) / length)
    way = (pieces.to_m - pieces.from_m)[of]
    low = pieces.from_m[of]
    return Pieces(
        pieces.parent[of],
        pieces.share[of] * (b - a),
        start,
        end,
        low + a * way,
        np.where(b == 1.0, pieces.to_m[of], low + b * way),
    )


def cut_at_steps(pieces: Pieces, axis: Axis) -> tuple[Pieces, Ints]:
    """The pieces cut at the axis' 0.1 m steps, time in proportion to advance, and each one's step."""
    low_um = micrometres(pieces.from_m) + axis.origin_um
    high_um = micrometres(pieces.to_m) + axis.origin_um
    first = np.floor_divide(low_um, STEP_UM)
    last = np.maximum(first, np.floor_divide(high_um - 1, STEP_UM))
    if not np.any(last > first):
        return pieces, first
    of, step = _spread(first, last)
    edge_low = np.where(step == first[of], pieces.from_m[of], axis.step_start_m(step))
    edge_high = np.where(step == last[of], pieces.to_m[of], axis.step_start_m(step + 1))
    way = pieces.to_m - pieces.from_m
    a = np.where(step == first[of], 0.0, (edge_low - pieces.from_m[of]) / np.where(way > 0, way, 1.0)[of])
    b = np.append(np.where(of[1:] == of[:-1], a[1:], 1.0), 1.0)
    start, length = pieces.start_us[of], (pieces.end_us - pieces.start_us)[of]
    cut = Pieces(
        pieces.parent[of],
        pieces.share[of] * (b - a),
        start + np.rint(a * length).astype(np.int64),
        start + np.rint(b * length).astype(np.int64),
        edge_low,
        edge_high,
    )
    return cut, step


def shift_starts(rising_us: Ints, shifts: ShiftBounds) -> Ints:
    """Start of the shift that each of the rising stamps (k,) falls in [us]; the bounds must cover them."""
    first = np.searchsorted(rising_us, shifts.start_us)
    return np.repeat(shifts.start_us, np.diff(first, append=len(rising_us)))


def _spread(first: Ints, last: Ints) -> tuple[Ints, Ints]:
    """Each row i repeated for first[i]..last[i]: (row numbers, values)."""
    count = last - first + 1
    of = np.repeat(np.arange(len(first)), count)
    within = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    return of, within + first[of]
