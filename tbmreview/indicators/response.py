"""Penetration against disc load within an interval: slope in log-log space and critical load, robustly.

p = (Fn / F1)^b: b is the slope of log p on log Fn, F1 the critical load, at which penetration is 1 mm/rev (form of
the NTNU model, Bruland 1998, from memory). The slope is the median of the slopes between all pairs of points
(Theil 1950, Sen 1968), which a quarter of wild points does not move far; its interval comes from the rank
statistic of Kendall and takes no distribution for granted.
"""

from dataclasses import dataclass

import numpy as np

from tbmreview.indicators.record import Floats

NORMAL_95 = 1.959963984540054  # to the digits, since ranks are rounded from it
LEAST_POINTS = 8  # fewer leave the interval of the slope without meaning
LEAST_RATIO = 1.15  # ninth over first decile of load: below it a slope is mostly scatter
MOST_POINTS = 1000  # half a million pairs; of more points every second, third, … is taken
UNCONTROLLED = "uncontrolled"  # what normal boring tells: load, head speed and ground changed as they did
FEW, NARROW, FLAT = "few points", "load hardly varies", "no sure rise of penetration with load"


@dataclass(frozen=True, slots=True)
class Response:
    """slope b [-] with its 95 % interval; critical load F1 [kN] and what it is at the ends of the slope's
    interval, NaN where that reaches down to 0; number of points; refused: why there is no slope (or no critical
    load), '' where there is."""

    slope: float
    slope_low: float
    slope_high: float
    critical_load_kN: float
    critical_load_low_kN: float
    critical_load_high_kN: float
    points: int
    refused: str


def response(load_kN: Floats, penetration_mm_rev: Floats) -> Response:
    """The response of points (n,) each; points without a load and penetration above 0 are left out.

    Refused below LEAST_POINTS, and where the load's deciles are closer than LEAST_RATIO.
    """
    known = (load_kN > 0) & (penetration_mm_rev > 0)
    load, penetration = load_kN[known], penetration_mm_rev[known]
    every = -(-len(load) // MOST_POINTS) or 1
    load, penetration = load[::every], penetration[::every]
    if len(load) < LEAST_POINTS:
        return _refused(FEW, len(load))
    low, high = np.quantile(load, (0.1, 0.9))
    if high < LEAST_RATIO * low:
        return _refused(NARROW, len(load))
    x, y = np.log(load), np.log(penetration)
    slopes = theil_sen(x, y)
    if not slopes[1] > 0:
        return Response(*slopes, np.nan, np.nan, np.nan, len(load), FLAT)
    critical, *ends = (_critical_load(x, y, slope) for slope in slopes)
    return Response(*slopes, critical, min(ends), max(ends), len(load), "")


def _critical_load(x: Floats, y: Floats, slope: float) -> float:
    """Load at which the line of a slope through the medians has a penetration of 1 mm/rev [kN]."""
    return float(np.exp(np.median(x) - np.median(y) / slope))


def _refused(why: str, points: int) -> Response:
    nothing = np.nan
    return Response(nothing, nothing, nothing, nothing, nothing, nothing, points, why)


def theil_sen(x: Floats, y: Floats) -> tuple[float, float, float]:
    """(slope, lower and upper end of its 95 % interval) of y on x, (n,) each with n >= 2, not all x alike.

    The interval is that of Sen 1968 with ties in x and in y.
    """
    first, second = np.triu_indices(len(x), 1)
    run = x[second] - x[first]
    slopes = np.sort((y[second] - y[first])[run != 0] / run[run != 0])
    n, pairs = len(x), len(slopes)
    variance = (n * (n - 1) * (2 * n + 5) - _tied(x) - _tied(y)) / 18
    reach = NORMAL_95 * np.sqrt(variance)
    upper = min(int(np.round((pairs + reach) / 2)), pairs - 1)
    lower = max(int(np.round((pairs - reach) / 2)) - 1, 0)
    return float(np.median(slopes)), float(slopes[lower]), float(slopes[upper])


def _tied(values: Floats) -> float:
    _, count = np.unique(values, return_counts=True)
    return float(np.sum(count * (count - 1) * (2 * count + 5)))
