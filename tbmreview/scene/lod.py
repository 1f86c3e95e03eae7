"""Exact level of detail: what a pixel column must show of the rows under it.

A row is a step of the profile: it covers positions from_m to to_m (rising, rows do not overlap) and
has one value. NaN is *not measured*; rows may leave gaps. No extreme is ever lost.
"""

import numpy as np

from tbmreview.scene.plan import Floats, Whole


def visible(from_m: Floats, to_m: Floats, view_m: tuple[float, float]) -> slice:
    """The rows that reach into the view."""
    first = int(np.searchsorted(to_m, view_m[0], side="right"))
    last = int(np.searchsorted(from_m, view_m[1], side="left"))
    return slice(first, max(first, last))


def columns(from_m: Floats, to_m: Floats, values: Floats, edges_m: Floats) -> tuple[Floats, Floats]:
    """Least and greatest value of the rows that reach into each pixel column.

    from_m, to_m, values: (n,). edges_m: (w + 1,) rising. Returns two arrays (w,), NaN where no row
    with a value reaches in. A row across an edge counts on both sides, so neighbouring columns of
    an unbroken record always touch.
    """
    width = len(edges_m) - 1
    first = np.searchsorted(to_m, edges_m[:-1], side="right")
    last = np.searchsorted(from_m, edges_m[1:], side="left")
    bounds = np.empty(2 * width, np.int64)
    bounds[0::2] = first
    bounds[1::2] = np.maximum(first, last)
    padded = np.append(values, np.nan)
    low = np.fmin.reduceat(padded, bounds)[0::2]
    high = np.fmax.reduceat(padded, bounds)[0::2]
    empty = last <= first
    low[empty] = np.nan
    high[empty] = np.nan
    return low, high


def risers(from_m: Floats, to_m: Floats, values: Floats, joint_m: float) -> Whole:
    """Numbers of the rows whose step joins the next row's: both have values and lie within joint_m."""
    both = np.isfinite(values[:-1]) & np.isfinite(values[1:])
    return np.flatnonzero(both & (from_m[1:] - to_m[:-1] <= joint_m))


def runs(
    codes: Whole,
) -> tuple[Whole, Whole]:
    """First index and one past the last of each run of equal codes."""
    if len(codes) == 0:
        return np.empty(0, np.int64), np.empty(0, np.int64)
    first = np.flatnonzero(np.r_[True, codes[1:] != codes[:-1]])
    return first, np.r_[first[1:], len(codes)]
