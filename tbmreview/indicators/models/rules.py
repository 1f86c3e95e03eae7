"""Rules of one line: orders of magnitude for penetration from disc load and strength."""

from tbmreview.indicators.models.inputs import BTS, DISC_DIAMETER, DISC_LOAD, UCS
from tbmreview.indicators.models.quantities import PENETRATION, PENETRATION_RATE
from tbmreview.indicators.models.record import MEMORY, STATED, Input, Model
from tbmreview.indicators.record import Floats

RSR = Input("rsr", "", "rock structure rating", STATED)


def graham_mm_rev(disc_load_kN: Floats, ucs_MPa: Floats) -> Floats:
    """p = 3.94 Fn / UCS, (n,) [mm/rev]."""
    return 3.94 * disc_load_kN / ucs_MPa


def farmer_glossop_mm_rev(disc_load_kN: Floats, bts_MPa: Floats) -> Floats:
    """p = 0.624 Fn / BTS, (n,) [mm/rev]."""
    return 0.624 * disc_load_kN / bts_MPa


def gehring_mm_rev(disc_load_kN: Floats, ucs_MPa: Floats) -> Floats:
    """p = 4 Fn / UCS, (n,) [mm/rev], before its corrections."""
    return 4.0 * disc_load_kN / ucs_MPa


def hughes_mm_rev(disc_load_kN: Floats, ucs_MPa: Floats, disc_diameter_mm: Floats) -> Floats:
    """p = 1.667 (Fn / UCS)^1.2 (2 / d)^0.6, d in m, (n,) [mm/rev]; NaN for a load below 0."""
    return 1.667 * (disc_load_kN / ucs_MPa) ** 1.2 * (2000 / disc_diameter_mm) ** 0.6


def innaurato_mm_rev(ucs_MPa: Floats, rsr: Floats) -> Floats:
    """p = 40.41 UCS^-0.44 + 0.047 RSR + 3.15, (n,) [mm/rev]."""
    return 40.41 * ucs_MPa**-0.44 + 0.047 * rsr + 3.15


def cassinelli_m_h(rsr: Floats) -> Floats:
    """PR = -0.0059 RSR + 1.59, (n,) [m/h]."""
    return -0.0059 * rsr + 1.59


_BASIS = "order of magnitude only: intact strength and load, no joints"

GRAHAM_1976 = Model(
    "graham-1976",
    "Graham 1976",
    "rules",
    PENETRATION,
    (DISC_LOAD, UCS),
    graham_mm_rev,
    "Graham 1976",
    MEMORY,
    _BASIS,
)
FARMER_GLOSSOP_1980 = Model(
    "farmer-glossop-1980",
    "Farmer and Glossop 1980",
    "rules",
    PENETRATION,
    (DISC_LOAD, BTS),
    farmer_glossop_mm_rev,
    "Farmer and Glossop 1980",
    MEMORY,
    _BASIS,
)
GEHRING_1995 = Model(
    "gehring-1995",
    "Gehring 1995, before corrections",
    "rules",
    PENETRATION,
    (DISC_LOAD, UCS),
    gehring_mm_rev,
    "Gehring 1995",
    MEMORY,
    _BASIS,
)
HUGHES_1986 = Model(
    "hughes-1986",
    "Hughes 1986",
    "rules",
    PENETRATION,
    (DISC_LOAD, UCS, DISC_DIAMETER),
    hughes_mm_rev,
    "Hughes 1986",
    MEMORY,
    f"{_BASIS}; weakly remembered",
)
INNAURATO_1991 = Model(
    "innaurato-1991",
    "Innaurato et al. 1991",
    "rules",
    PENETRATION,
    (UCS, RSR),
    innaurato_mm_rev,
    "Innaurato et al. 1991",
    MEMORY,
    "order of magnitude only: it knows no load",
)
CASSINELLI_1982 = Model(
    "cassinelli-1982",
    "Cassinelli et al. 1982",
    "rules",
    PENETRATION_RATE,
    (RSR,),
    cassinelli_m_h,
    "Cassinelli et al. 1982",
    MEMORY,
    "order of magnitude only: it knows neither load nor strength, and machines of its time",
)
