"""A robust local baseline: median and spread of what lies within a window on either side."""

import numpy as np
from numpy.typing import NDArray

from tbmreview.findings.detector import Flags, Floats

MAD_TO_SIGMA = 1.4826  # of a normal distribution; scipy.stats.median_abs_deviation(scale="normal")
PLACES_IN_WINDOW = 15  # a baseline moves slowly, so it is taken at this many places of a window


def local_baseline(
    position_m: Floats, value: Floats, usable: Flags, at_m: Floats, window_m: float
) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """(median, robust deviation, count), each (k,), of the usable values within window_m of each place.

    position_m: (n,) rising. Robust deviation is 1.4826 times the median absolute deviation. Both are NaN
    where nothing is usable. A place's own value counts; with enough of them it moves nothing.
    """
    places, values = position_m[usable], value[usable]
    first = np.searchsorted(places, at_m - window_m, side="left")
    last = np.searchsorted(places, at_m + window_m, side="right")
    median, deviation = np.full(len(at_m), np.nan), np.full(len(at_m), np.nan)
    for i, (a, b) in enumerate(zip(first.tolist(), last.tolist(), strict=True)):
        if b > a:
            near = values[a:b]
            median[i] = np.median(near)
            deviation[i] = MAD_TO_SIGMA * np.median(np.abs(near - median[i]))
    return median, deviation, (last - first).astype(np.int64)


def places_along(position_m: Floats, window_m: float) -> tuple[Floats, NDArray[np.int64]]:
    """(places at which a baseline is taken (k,) [m], the place of each position (n,))."""
    pitch = window_m / PLACES_IN_WINDOW
    number = np.floor(position_m / pitch).astype(np.int64)
    distinct, which = np.unique(number, return_inverse=True)
    middles = np.asarray((distinct + 0.5) * pitch, np.float64)
    return middles, which.astype(np.int64)
