"""Penetration rate in fractured hard rock: Yagiz 2008."""

import numpy as np

from tbmreview.indicators.models.inputs import ANGLE, UCS
from tbmreview.indicators.models.quantities import PENETRATION_RATE
from tbmreview.indicators.models.record import MEMORY, STATED, Input, Model
from tbmreview.indicators.record import Floats

BRITTLENESS = Input("peak_slope_kN_mm", "kN/mm", "peak slope of the punch test", STATED)
PLANES = Input("plane_spacing_m", "m", "distance between planes of weakness", STATED)


def penetration_rate_m_h(
    peak_slope_kN_mm: Floats, ucs_MPa: Floats, angle_deg: Floats, plane_spacing_m: Floats
) -> Floats:
    """1.093 + 0.029 PSI - 0.003 UCS + 0.437 log10(alpha) - 0.219 DPW, (n,) [m/h]; NaN for an angle not above 0."""
    return (
        1.093
        + 0.029 * peak_slope_kN_mm
        - 0.003 * ucs_MPa
        + 0.437 * np.log10(angle_deg)
        - 0.219 * plane_spacing_m
    )


YAGIZ_2008 = Model(
    "yagiz-2008",
    "Yagiz 2008",
    "yagiz",
    PENETRATION_RATE,
    (BRITTLENESS, UCS, ANGLE, PLANES),
    penetration_rate_m_h,
    "Yagiz 2008, TUST 23, 326-339",
    MEMORY,
    "one tunnel and one machine, so it knows no load",
)
