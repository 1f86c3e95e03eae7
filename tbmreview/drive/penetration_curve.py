"""The curve of a penetration test: penetration on load, in the form p = (F / F1)^b.

b is the slope of ln p on ln F, F1 the critical load, at which penetration is 1 mm/rev (form of the NTNU model,
Bruland 1998, from memory; its b and M1).
"""

from dataclasses import dataclass

import numpy as np

from tbmreview.domain.errors import FitError
from tbmreview.drive.reading import Floats
from tbmreview.drive.regression import Regression, regress
from tbmreview.indicators.held_loads import LEAST_LOADS, SPEED_HOLDS, distinct, speed_spread

LEAST_RATIO = (
    1.2  # of the greatest load to the least; below it a slope is mostly scatter (professional judgement)
)
NO_RISE = "no sure rise of penetration with load, so no critical load"


@dataclass(frozen=True, slots=True)
class PenetrationCurve:
    """slope b [-] and critical load F1 [kN], each with its 95 % interval (Student's t, points - 2 degrees of
    freedom; that of F1 by Fieller's theorem, NaN where the slope is not surely above 0); points: number of loads;
    residual_sd: of ln p about the line; robust: Huber's regression; said: '' or why there is no critical load."""

    slope: float
    slope_low: float
    slope_high: float
    critical_load_kN: float
    critical_load_low_kN: float
    critical_load_high_kN: float
    points: int
    residual_sd: float
    robust: bool = False
    said: str = ""

    def penetration(self, load_kN: Floats) -> Floats:
        """Penetration at these loads, (n,) [mm/rev]; NaN without a critical load."""
        told: Floats = (load_kN / self.critical_load_kN) ** self.slope
        return told


def penetration_curve(load_kN: Floats, penetration_mm_rev: Floats, robust: bool = False) -> PenetrationCurve:
    """The curve through the loads of a test, (n,) each. FitError with fewer than LEAST_LOADS different loads, where
    they hardly vary, and where a robust fit has no scale."""
    known = (load_kN > 0) & (penetration_mm_rev > 0)
    load, penetration = load_kN[known], penetration_mm_rev[known]
    count = distinct(load)
    if count < LEAST_LOADS:
        held = "one load was held" if count == 1 else f"{count} different loads were held"
        raise FitError(f"{held}; a penetration test has {LEAST_LOADS} or more, for two or three minutes each")
    if load.max() < LEAST_RATIO * load.min():
        raise FitError(
            f"the load hardly varies, {load.min():.0f} to {load.max():.0f} kN: its greatest must be {LEAST_RATIO:g} "
            "times its least or more"
        )
    line = regress(np.log(load)[:, None], np.log(penetration), robust)
    slope, low, high = (float(of[1]) for of in (line.values, line.low, line.high))
    if not low > 0:
        none = np.nan
        ends = (none, none, none)
        return PenetrationCurve(slope, low, high, *ends, len(load), line.residual_sd, robust, NO_RISE)
    at = (-line.values[0] / slope, *_crossing(line, float(np.log(load).mean())))
    critical, least, most = (float(np.exp(one)) for one in at)
    return PenetrationCurve(slope, low, high, critical, least, most, len(load), line.residual_sd, robust)


def _crossing(line: Regression, centre: float) -> tuple[float, float]:
    """Between what x the band of the line holds y = 0 (Fieller 1940): (c0 + c1 x)^2 <= t^2 var(c0 + c1 x). centre:
    mean of x, at which the mean of y and the slope are independent."""
    (c0, c1), (_, error) = line.values, line.standard_errors
    t = (line.high[1] - line.low[1]) / 2 / error if error > 0 else 0.0
    mean, var = c0 + c1 * centre, float(error**2)
    of_mean = max(float(line.standard_errors[0] ** 2) - centre**2 * var, 0.0)
    # a z^2 + 2 b z + c <= 0 in z = x - centre
    a, b, c = c1**2 - t**2 * var, c1 * mean, mean**2 - t**2 * of_mean
    reach = np.sqrt(max(b**2 - a * c, 0.0))
    return centre + (-b - reach) / a, centre + (-b + reach) / a


def holds_speed(speeds_rpm: Floats) -> None:
    """FitError where the head speed did not hold from load to load."""
    if speed_spread(speeds_rpm) > SPEED_HOLDS:
        raise FitError(
            f"the head speed did not hold, {speeds_rpm.min():.2f} to {speeds_rpm.max():.2f} rpm: a penetration test "
            f"keeps it within {SPEED_HOLDS:.0%}"
        )
