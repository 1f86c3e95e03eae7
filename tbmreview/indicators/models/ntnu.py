"""Penetration and torque in the form of the NTNU model (Bruland 1998).

Its charts, which give critical load and exponent from fracturing and drillability, were not read: both are stated by
the user, from the charts, from a penetration test or from another drive's response.
"""

from tbmreview.indicators.models.inputs import BORE, DISC_COUNT, DISC_LOAD
from tbmreview.indicators.models.inputs import PENETRATION as AS_BORED
from tbmreview.indicators.models.quantities import PENETRATION, TORQUE
from tbmreview.indicators.models.record import MEMORY, STATED, Input, Model
from tbmreview.indicators.record import Floats

CRITICAL_LOAD = Input("critical_load_kN", "kN", "M1: disc load that bores 1 mm/rev", STATED)
EXPONENT = Input("load_exponent", "", "b: exponent of the load", STATED)
DIAMETER_FACTOR = Input("disc_diameter_factor", "", "k_d: correction for the disc; 1 at 483 mm", STATED)
SPACING_FACTOR = Input("disc_spacing_factor", "", "k_a: correction for the spacing; 1 at 70 mm", STATED)
CUTTING_CONSTANT = Input(
    "cutting_constant", "", "c_c of the cutting coefficient; about 0.034 for discs of 483 mm", STATED
)
LEVER_ARM = 0.295  # of the bore diameter: 0.59 of its half, as the source has it


def penetration_mm_rev(
    disc_load_kN: Floats,
    critical_load_kN: Floats,
    load_exponent: Floats,
    disc_diameter_factor: Floats,
    disc_spacing_factor: Floats,
) -> Floats:
    """i0 = (M k_d k_a / M1)^b, (n,) [mm/rev]; NaN for a load below 0 with an exponent that is not whole."""
    return (disc_load_kN * disc_diameter_factor * disc_spacing_factor / critical_load_kN) ** load_exponent


def torque_kNm(
    bore_diameter_m: Floats,
    disc_count: Floats,
    disc_load_kN: Floats,
    penetration_mm_rev: Floats,
    cutting_constant: Floats,
) -> Floats:
    """T = 0.295 D N M k_c with k_c = c_c sqrt(i0), (n,) [kNm]; NaN for penetration below 0."""
    coefficient = cutting_constant * penetration_mm_rev**0.5
    return LEVER_ARM * bore_diameter_m * disc_count * disc_load_kN * coefficient


_SOURCE = "Bruland 1998, Hard rock tunnel boring, NTNU Trondheim"

BRULAND_1998 = Model(
    "bruland-1998",
    "NTNU model, penetration at the disc load bored",
    "ntnu",
    PENETRATION,
    (DISC_LOAD, CRITICAL_LOAD, EXPONENT, DIAMETER_FACTOR, SPACING_FACTOR),
    penetration_mm_rev,
    _SOURCE,
    MEMORY,
    "form only: critical load and exponent are the user's; its load is gross, as bored by open machines",
)
BRULAND_1998_TORQUE = Model(
    "bruland-1998-torque",
    "NTNU model, torque at the load and penetration bored",
    "ntnu",
    TORQUE,
    (BORE, DISC_COUNT, DISC_LOAD, AS_BORED, CUTTING_CONSTANT),
    torque_kNm,
    _SOURCE,
    MEMORY,
    "lever arm 0.295 D; by the direction of the resultant force the same discs ask for a third more",
)
