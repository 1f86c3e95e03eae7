"""Force of a disc in intact rock from strength and geometry: the CSM model (Rostami and Ozdemir 1993; Rostami 1997)."""

from dataclasses import dataclass

import numpy as np

from tbmreview.domain.setup import Machine
from tbmreview.indicators.models.inputs import (
    BORE,
    BTS,
    DISC_COUNT,
    DISC_DIAMETER,
    LEVER_ARM,
    PENETRATION,
    SPACING,
    TIP_WIDTH,
    UCS,
)
from tbmreview.indicators.models.quantities import DISC_LOAD, TORQUE
from tbmreview.indicators.models.record import MEMORY, STATED, Input, Model
from tbmreview.indicators.record import Floats

PSI = Input(
    "pressure_exponent", "", "psi of the pressure under the tip; 0: constant section", STATED, -0.2, 0.2
)
_C = 2.12


@dataclass(frozen=True, slots=True)
class Disc:
    """A disc: diameter, width of its tip and spacing of the tracks [mm], exponent psi; numbers or (n,)."""

    diameter_mm: Floats | float
    tip_mm: Floats | float
    spacing_mm: Floats | float
    pressure_exponent: Floats | float

    def arc_rad(self, penetration_mm_rev: Floats) -> Floats:
        """Contact arc, phi = arccos((R - p) / R), (n,) [rad]; NaN for p below 0 or above the diameter."""
        radius = np.asarray(self.diameter_mm, np.float64) / 2
        return np.asarray(np.arccos((radius - penetration_mm_rev) / radius))


def track_spacing_mm(machine: Machine) -> float:
    """Mean spacing of the disc tracks where none is stated: D / (2 N) [mm]."""
    return 1000 * machine.bore_diameter_m / (2 * machine.disc_count)


def disc_forces_kN(
    ucs_MPa: Floats, bts_MPa: Floats, penetration_mm_rev: Floats, disc: Disc
) -> tuple[Floats, Floats]:
    """(normal, rolling) force of a disc at a penetration, each (n,) [kN]. Intact rock; NaN without penetration."""
    arc = disc.arc_rad(penetration_mm_rev)
    radius = np.asarray(disc.diameter_mm, np.float64) / 2
    crushed = arc * np.sqrt(radius * disc.tip_mm)
    pressure_MPa = _C * np.cbrt(disc.spacing_mm * ucs_MPa**2 * bts_MPa / crushed)
    total_kN = pressure_MPa * radius * disc.tip_mm * arc / (1 + disc.pressure_exponent) / 1000
    return total_kN * np.cos(arc / 2), total_kN * np.sin(arc / 2)


def _force(ucs_MPa: Floats, bts_MPa: Floats, penetration_mm_rev: Floats, *of_disc: Floats) -> Floats:
    return disc_forces_kN(ucs_MPa, bts_MPa, penetration_mm_rev, Disc(*of_disc))[0]


def _torque(bore_diameter_m: Floats, disc_count: Floats, disc_lever_arm: Floats, *of_force: Floats) -> Floats:
    """N Fr l D, (n,) [kNm]."""
    ucs, bts, penetration, *of_disc = of_force
    rolling = disc_forces_kN(ucs, bts, penetration, Disc(*of_disc))[1]
    return disc_count * rolling * disc_lever_arm * bore_diameter_m


_OF_FORCE = (UCS, BTS, PENETRATION, DISC_DIAMETER, TIP_WIDTH, SPACING, PSI)
_SOURCE = "Rostami and Ozdemir 1993; Rostami 1997"
_BASIS = "intact rock: jointed ground needs less; exponent and tip are the disc's, and weigh much"

CSM_FORCE = Model(
    "csm-force",
    "CSM model, disc load at the penetration bored",
    "csm",
    DISC_LOAD,
    _OF_FORCE,
    _force,
    _SOURCE,
    MEMORY,
    _BASIS,
)
CSM_TORQUE = Model(
    "csm-torque",
    "CSM model, torque at the penetration bored",
    "csm",
    TORQUE,
    (BORE, DISC_COUNT, LEVER_ARM, *_OF_FORCE),
    _torque,
    _SOURCE,
    MEMORY,
    f"{_BASIS}; sources disagree on the lever arm (0.22 D to 0.3 D)",
)
