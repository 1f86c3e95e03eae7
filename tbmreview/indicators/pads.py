"""Forces of pads on a ring: their mean, their centre and its eccentricity. Arrays in, arrays out; NaN is missing."""

import numpy as np

from tbmreview.indicators.record import Floats, ratio

BAR_M2_KN = 100.0  # 1 bar on 1 m2, exact
NO_DIRECTION_MM = 1e-6  # nearer to the axis a centre lies in no direction


def pad_force_kN(pressure_bar: Floats, area_m2: float) -> Floats:
    """Force of a pad [kN] from the pressure of its cylinders [bar] and their area together [m2], (n,)."""
    return pressure_bar * (BAR_M2_KN * area_m2)


def centre_of_thrust_mm(forces: Floats, angles_deg: Floats, radius_m: float) -> tuple[Floats, Floats]:
    """Where the forces of pads act together, looking in the direction of driving: (to the right, up) of the axis [mm],
    (n,) each.

    forces: (n, pads), forces or their time integrals in any one unit, pushing positive. angles_deg: (pads,), from the
    crown clockwise. NaN where a pad is missing, and where the pads together do not push. Statics: the sum of F r over
    the sum of F.
    """
    turned, total = np.radians(angles_deg), forces.sum(axis=1)
    pushed = np.where(total > 0, total, np.nan)
    right, up = (ratio(forces @ of, pushed) * (1000 * radius_m) for of in (np.sin(turned), np.cos(turned)))
    return right, up


def eccentricity_mm(right_mm: Floats, up_mm: Floats) -> Floats:
    """Distance of a centre of thrust from the axis [mm], (n,)."""
    return np.hypot(right_mm, up_mm)


def direction_deg(right_mm: Floats, up_mm: Floats) -> Floats:
    """Direction of a centre of thrust [deg], 0 to below 360, (n,): from the crown clockwise; NaN on the axis."""
    off = eccentricity_mm(right_mm, up_mm) > NO_DIRECTION_MM
    turned = np.degrees(np.arctan2(right_mm, up_mm)) % 360
    return np.where(off, turned % 360, np.nan)  # -1e-15 % 360 rounds to 360


def of_limit(values: Floats, limit: float | None) -> Floats:
    """Values over a limit in their unit, any shape; NaN where none is given."""
    return values / (np.nan if limit is None else limit)
