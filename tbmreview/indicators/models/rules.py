"""Rules of one line: orders of magnitude for penetration from disc load and strength."""

from tbmreview.indicators.models.inputs import BTS, DISC_LOAD, UCS
from tbmreview.indicators.models.quantities import PENETRATION
from tbmreview.indicators.models.record import MEMORY, Model
from tbmreview.indicators.record import Floats


def graham_mm_rev(disc_load_kN: Floats, ucs_MPa: Floats) -> Floats:
    """p = 3.94 Fn / UCS, (n,) [mm/rev]."""
    return 3.94 * disc_load_kN / ucs_MPa


def farmer_glossop_mm_rev(disc_load_kN: Floats, bts_MPa: Floats) -> Floats:
    """p = 0.624 Fn / BTS, (n,) [mm/rev]."""
    return 0.624 * disc_load_kN / bts_MPa


def gehring_mm_rev(disc_load_kN: Floats, ucs_MPa: Floats) -> Floats:
    """p = 4 Fn / UCS, (n,) [mm/rev], before its corrections."""
    return 4.0 * disc_load_kN / ucs_MPa


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
