"""Advance speed in metamorphic rock: Gokceoglu 2022, two regressions."""

from dataclasses import replace

from tbmreview.indicators.models.inputs import ANGLE, CAI, UCS
from tbmreview.indicators.models.quantities import PENETRATION_RATE_MM_MIN
from tbmreview.indicators.models.record import READ, STATED, Input, Model
from tbmreview.indicators.record import Floats

_UCS = replace(UCS, low=10.7, high=191.4)
_CAI = replace(CAI, low=0.2, high=3.83)
_ANGLE = replace(ANGLE, low=31.6, high=72.0)
WEATHERING = Input(
    "weathering_grade", "", "weathering, 1 fresh to 5, as the source grades it", STATED, 1.0, 5.0
)
WATER = Input("inflow_l_s", "l/s", "water inflow", STATED, 0.0, 50.0)


def rate_by_strength_mm_min(
    ucs_MPa: Floats, angle_deg: Floats, weathering_grade: Floats, inflow_l_s: Floats
) -> Floats:
    """Equation 1: 0.011 UCS + 0.164 alpha - 7.2 W + 0.56 Wat + 53.5, (n,) [mm/min]."""
    return 0.011 * ucs_MPa + 0.164 * angle_deg - 7.2 * weathering_grade + 0.56 * inflow_l_s + 53.5


def rate_by_abrasivity_mm_min(
    cai: Floats, angle_deg: Floats, weathering_grade: Floats, inflow_l_s: Floats
) -> Floats:
    """Equation 2: 0.093 CAI + 0.166 alpha - 7.3 W + 0.57 Wat + 54.5, (n,) [mm/min]."""
    return 0.093 * cai + 0.166 * angle_deg - 7.3 * weathering_grade + 0.57 * inflow_l_s + 54.5


_BASIS = "one single shield of 8 m in metamorphic rock, 5 334 cases, R 0.56 to 0.59"

GOKCEOGLU_2022_STRENGTH = Model(
    "gokceoglu-2022-strength",
    "Gokceoglu 2022, equation 1",
    "gokceoglu",
    PENETRATION_RATE_MM_MIN,
    (_UCS, _ANGLE, WEATHERING, WATER),
    rate_by_strength_mm_min,
    "Gokceoglu 2022, equation 1",
    READ,
    _BASIS,
)
GOKCEOGLU_2022_ABRASIVITY = Model(
    "gokceoglu-2022-abrasivity",
    "Gokceoglu 2022, equation 2",
    "gokceoglu",
    PENETRATION_RATE_MM_MIN,
    (_CAI, _ANGLE, WEATHERING, WATER),
    rate_by_abrasivity_mm_min,
    "Gokceoglu 2022, equation 2",
    READ,
    _BASIS,
)
