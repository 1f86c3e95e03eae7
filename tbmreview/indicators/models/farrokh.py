"""Penetration from diameter, rock type, strength, RQD and disc load: Farrokh, Rostami and Laughton 2012."""

import numpy as np

from tbmreview.indicators.models.inputs import BORE, DISC_LOAD, UCS
from tbmreview.indicators.models.quantities import PENETRATION
from tbmreview.indicators.models.record import MEMORY, STATED, Input, Model
from tbmreview.indicators.record import Floats

ROCK_CODE = Input("rock_type_code", "", "RTc: number of the rock type in the source's own table", STATED)
RQD_CODE = Input("rqd_code", "", "RQDc: number of the RQD class in the source's own table", STATED)


def penetration_mm_rev(
    bore_diameter_m: Floats,
    rock_type_code: Floats,
    ucs_MPa: Floats,
    rqd_code: Floats,
    disc_load_kN: Floats,
) -> Floats:
    """exp(0.41 + 0.404 D - 0.027 D^2 + 0.0691 RTc - 0.00431 UCS + 0.0902 RQDc + 0.000893 Fn), (n,) [mm/rev]."""
    return np.exp(
        0.41
        + 0.404 * bore_diameter_m
        - 0.027 * bore_diameter_m**2
        + 0.0691 * rock_type_code
        - 0.00431 * ucs_MPa
        + 0.0902 * rqd_code
        + 0.000893 * disc_load_kN
    )


FARROKH_2012 = Model(
    "farrokh-2012",
    "Farrokh, Rostami and Laughton 2012",
    "farrokh",
    PENETRATION,
    (BORE, ROCK_CODE, UCS, RQD_CODE, DISC_LOAD),
    penetration_mm_rev,
    "Farrokh, Rostami and Laughton 2012, TUST 30, 110-123",
    MEMORY,
    "take both codes from the paper's tables, which were not seen here",
)
