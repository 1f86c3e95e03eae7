"""Specific rock mass boreability index: Gong and Zhao 2009.

The boreability index BI is the field penetration index; Bi is brittleness, UCS / BTS.
"""

import numpy as np

from tbmreview.indicators.models.inputs import ANGLE, DISC_LOAD, JV, PENETRATION, UCS
from tbmreview.indicators.models.quantities import FPI
from tbmreview.indicators.models.quantities import PENETRATION as PENETRATION_OUT
from tbmreview.indicators.models.record import GROUND, MEMORY, Input, Model
from tbmreview.indicators.record import Floats

# The abstract gives "below 10 to above 25": between the two is surely within.
BRITTLENESS = Input("brittleness", "", "UCS over Brazilian tensile strength", GROUND, 10.0, 25.0)


def srmbi(ucs_MPa: Floats, brittleness: Floats, jv_per_m3: Floats, angle_deg: Floats) -> Floats:
    """Specific rock mass boreability index, (n,) [kN/(mm/rev)]: the index at 1 mm/rev."""
    joints = 0.84 * np.exp(-0.05 * jv_per_m3) + np.exp(-0.09 * np.sin(np.radians(angle_deg + 30.0)))
    return 37.06 * ucs_MPa**0.26 * brittleness**-0.10 * joints


def fpi_kN_per_mm_rev(
    ucs_MPa: Floats, brittleness: Floats, jv_per_m3: Floats, angle_deg: Floats, penetration_mm_rev: Floats
) -> Floats:
    """BI = SRMBI p^-0.75 at the penetration bored, (n,) [kN/(mm/rev)]."""
    return srmbi(ucs_MPa, brittleness, jv_per_m3, angle_deg) * penetration_mm_rev**-0.75


def penetration_mm_rev(
    ucs_MPa: Floats, brittleness: Floats, jv_per_m3: Floats, angle_deg: Floats, disc_load_kN: Floats
) -> Floats:
    """p = (Fn / SRMBI)^4 at the disc load bored, (n,) [mm/rev]; NaN for a load below 0. Follows from BI (derived)."""
    load = np.where(disc_load_kN >= 0, disc_load_kN, np.nan)
    return (load / srmbi(ucs_MPa, brittleness, jv_per_m3, angle_deg)) ** 4


_GROUND = (UCS, BRITTLENESS, JV, ANGLE)
_SOURCE = "Gong and Zhao 2009, IJRMMS 46, 8-18"
_BASIS = "two tunnels in one granite; brittleness below 10 to above 25"

GONG_ZHAO_2009 = Model(
    "gong-zhao-2009",
    "Gong and Zhao 2009, index at the penetration bored",
    "gong_zhao",
    FPI,
    (*_GROUND, PENETRATION),
    fpi_kN_per_mm_rev,
    _SOURCE,
    MEMORY,
    _BASIS,
)
GONG_ZHAO_2009_PENETRATION = Model(
    "gong-zhao-2009-penetration",
    "Gong and Zhao 2009, penetration at the disc load bored",
    "gong_zhao",
    PENETRATION_OUT,
    (*_GROUND, DISC_LOAD),
    penetration_mm_rev,
    _SOURCE,
    MEMORY,
    f"{_BASIS}; it goes with the fourth power of the load, so small errors of load weigh much",
)
