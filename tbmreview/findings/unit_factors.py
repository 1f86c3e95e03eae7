"""Factors by which a reading jumps where its unit is changed, and what each of them is between."""

import numpy as np

# Exact by definition of the units (SI brochure; international yard and pound 1959, standard gravity 1901).
MEANING: dict[float, str] = {
    3.28084: "as between metres and feet",
    3.6: "as between m/s and km/h, or kWh and MJ",
    4.44822: "as between newtons and pounds-force",
    9.80665: "as between newtons and kilograms-force, or kilonewtons and tonnes-force",
    10.0: "as of a decimal point, or between bar and MPa",
    14.5038: "as between bar and psi",
    1000 / 60: "as between m/h and mm/min",
    25.4: "as between inches and millimetres",
    60.0: "as between seconds and minutes, or minutes and hours",
    100.0: "as between bar and kPa, or a share and per cent",
    1000.0: "as of a prefix: N and kN, Nm and kNm, mm and m",
    3600.0: "as between seconds and hours",
    60_000.0: "as of a prefix and of minutes",
}
NEAR = 0.04  # a law shows a factor to some per cent


def telltale(factor: float, near: float = NEAR) -> float:
    """The factor of units, 1 or more, that this one is within `near` of, else 0."""
    known = np.array(list(MEANING))
    off = np.abs(np.log(known / factor))
    best = int(np.argmin(off))
    return float(known[best]) if off[best] <= near else 0.0
