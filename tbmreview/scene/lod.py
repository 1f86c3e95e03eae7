"""Exact level of detail: what a pixel column must show of the rows under it.

A row is a step of the profile: it covers positions from_m to to_m (rising, rows do not overlap) and
has one value. NaN is *not measured*; rows may leave gaps. No extreme is ever lost.
"""

from dataclasses import dataclass

import numpy as np

from tbmreview.scene.plan import Flags, Floats, Whole


def visible(from_m: Floats, to_m: Floats, view_m: tuple[float, float]) -> slice:
    """The rows that reach into the view."""
    first = int(np.searchsorted(to_m, view_m[0], side="right"))
    last = int(np.searchsorted(from_m, view_m[1], side="left"))
    return slice(first, max(first, last))


@dataclass(frozen=True, slots=True)
class Bins:
    """Which rows reach into each of w pixel columns: bounds (2w,) are first and one past the last in
    turn; empty (w,) where none does. A row across an edge is in both columns, so neighbouring columns
    of an unbroken record always touch."""

    bounds: Whole
    empty: Flags


def bins(from_m: Floats, to_m: Floats, edges_m: Floats) -> Bins:
    """The bins of rows (n,) in columns between edges (w + 1,), rising."""
    first = np.searchsorted(to_m, edges_m[:-1], side="right")
    last = np.searchsorted(from_m, edges_m[1:], side="left")
    bounds = np.empty(2 * len(first), np.int64)
    bounds[0::2] = first
    bounds[1::2] = np.maximum(first, last)
    return Bins(bounds, last <= first)


def wider(binned: Bins, count: int) -> Bins:
    """The bins of columns `count` times as wide; the last may be narrower."""
    first, last = binned.bounds[0::2], binned.bounds[1::2]
    starts = np.arange(0, len(first), count)
    ends = np.minimum(starts + count, len(first)) - 1
    bounds = np.empty(2 * len(starts), np.int64)
    bounds[0::2] = first[starts]
    bounds[1::2] = last[ends]
    return Bins(bounds, bounds[1::2] <= bounds[0::2])


def columns(values: Floats, binned: Bins, upper: Floats | None = None) -> tuple[Floats, Floats]:
    """Least and greatest of the values (n,) in each pixel column (w,), NaN where none has a value; upper: of
    which the greatest are, where they are others than those of which the least are."""
    padded = np.append(values, np.nan)
    low = np.fmin.reduceat(padded, binned.bounds)[0::2]
    if upper is not None:
        padded = np.append(upper, np.nan)
    high = np.fmax.reduceat(padded, binned.bounds)[0::2]
    low[binned.empty] = np.nan
    high[binned.empty] = np.nan
    return low, high


def joints(from_m: Floats, to_m: Floats, values: Floats, most_m: float) -> Whole:
    """Numbers of the rows whose step joins the next row's: both have values, and no more than most_m
    lies between them."""
    both = np.isfinite(values[:-1]) & np.isfinite(values[1:])
    return np.flatnonzero(both & (from_m[1:] - to_m[:-1] <= most_m))
