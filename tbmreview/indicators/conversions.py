"""Conversions between rock mass classifications: arrays in, arrays out; NaN is missing and stays so.

A converted value is no mapped one: regressions scatter by a class or more, and names differ. Each function names its
source; `CONVERSIONS` lists them.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from tbmreview.indicators.record import Floats, ratio

SECONDARY = "formula from a text that transcribes the source"
MEMORY = "formula from memory, unconfirmed"
RQD_FLOOR_PCT = 10.0  # of RQD in Q
GSI_LEAST_RMR = 23.0  # below it GSI is not taken from RMR'
RQD_OF_JV = {
    "115 - 3.3 Jv": (115.0, 3.3),
    "110 - 2.5 Jv": (110.0, 2.5),
}  # they disagree; neither is the default

# Ratings that RMR 1989 gives, best first (secondary).
RMR_RATINGS: Mapping[str, tuple[float, ...]] = {
    "strength": (15, 12, 7, 4, 2, 1, 0),
    "rqd": (20, 17, 13, 8, 3),
    "spacing": (20, 15, 10, 8, 5),
    "persistence": (6, 4, 2, 1, 0),
    "aperture": (6, 5, 4, 1, 0),
    "roughness": (6, 5, 3, 1, 0),
    "infilling": (6, 4, 2, 0),
    "weathering": (6, 5, 3, 1, 0),
    "water": (15, 10, 7, 4, 0),
}


def q_value(rqd_pct: Floats, joints: tuple[Floats, Floats, Floats], jw: Floats, srf: Floats) -> Floats:
    """Q = (RQD/Jn) (Jr/Ja) (Jw/SRF), (n,); RQD of less than 10 counts as 10. joints: Jn, Jr, Ja.
    Barton et al. 1974 (secondary)."""
    return q_prime(rqd_pct, *joints) * ratio(jw, srf)


def q_prime(rqd_pct: Floats, jn: Floats, jr: Floats, ja: Floats) -> Floats:
    """Q' = (RQD/Jn) (Jr/Ja), (n,): Q without water and stress. Secondary."""
    return ratio(np.maximum(rqd_pct, RQD_FLOOR_PCT), jn) * ratio(jr, ja)


def qc(q: Floats, ucs_MPa: Floats) -> Floats:
    """Qc = Q UCS/100, (n,). Secondary."""
    return q * ucs_MPa / 100


def rmr_of_q(q: Floats) -> Floats:
    """RMR = 9 ln Q + 44, (n,); NaN where Q is not above 0. Bieniawski (secondary)."""
    return 9 * np.log(np.where(q > 0, q, np.nan)) + 44


def rmr_sum(ratings: Mapping[str, Floats]) -> Floats:
    """RMR 1989 without adjustment for orientation, (n,): the sum of all nine RMR_RATINGS; NaN where one is missing.

    ValueError names a rating that is not given, or that RMR 1989 does not give. Secondary.
    """
    if ratings.keys() != RMR_RATINGS.keys():
        raise ValueError(f"expected the ratings {', '.join(RMR_RATINGS)}")
    for name, values in ratings.items():
        odd = values[~np.isnan(values) & ~np.isin(values, RMR_RATINGS[name])]
        if len(odd):
            raise ValueError(f"{name} {odd[0]:g} is no rating of RMR 1989; expected {RMR_RATINGS[name]}")
    return np.asarray(sum(ratings.values()), np.float64)


def gsi_of_rmr(rmr_dry: Floats) -> Floats:
    """GSI = RMR'89 - 5, (n,), of an RMR 1989 with water rated 15 and no adjustment for orientation; NaN below
    RMR' 23, where it does not hold. Singh & Goel 2011, Eq. 26.1 (secondary)."""
    return np.where(rmr_dry >= GSI_LEAST_RMR, rmr_dry - 5, np.nan)


def gsi_of_q_prime(q_prime: Floats) -> Floats:
    """GSI = 9 ln Q' + 44, (n,), the way where RMR' is below 23; NaN where Q' is not above 0. Singh & Goel 2011,
    Eq. 26.2 (secondary)."""
    return rmr_of_q(q_prime)


def gsi_of_joints(jcond_89: Floats, rqd_pct: Floats) -> Floats:
    """GSI = 1.5 JCond89 + RQD/2, (n,). Hoek, Carter & Diederichs 2013: from memory, unconfirmed."""
    return 1.5 * jcond_89 + rqd_pct / 2


def cai_of_saw_cut(cai_cut: Floats) -> Floats:
    """CAI of a broken surface from that of a saw-cut one, (n,): 0.99 CAI + 0.48. From memory, unconfirmed."""
    return 0.99 * cai_cut + 0.48


def rqd_of_jv(jv_per_m3: Floats, formula: str) -> Floats:
    """RQD [%] from the volumetric joint count, (n,), within 0 to 100. formula: a key of RQD_OF_JV, which
    disagree; KeyError for another. Secondary."""
    start, slope = RQD_OF_JV[formula]
    return np.clip(start - slope * jv_per_m3, 0.0, 100.0)


def modulus_of_rmr(rmr: Floats) -> Floats:
    """Deformation modulus of the rock mass [GPa], (n,): 10^((RMR - 10)/40). Serafim & Pereira 1983 (secondary)."""
    return 10 ** ((rmr - 10) / 40)


@dataclass(frozen=True, slots=True)
class Conversion:
    """One conversion. name: of a column. formula: as text. needs: its inputs, in order, where they are columns of
    a ground table (domain.ground), else (). function: the inputs, (n,) each -> (n,)."""

    name: str
    formula: str
    source: str
    label: str
    needs: tuple[str, ...]
    function: Callable[..., Floats]


CONVERSIONS: tuple[Conversion, ...] = (
    Conversion("rmr_from_q", "9 ln Q + 44", "Bieniawski", SECONDARY, ("q",), rmr_of_q),
    Conversion("qc", "Q UCS / 100", "Barton", SECONDARY, ("q", "ucs_MPa"), qc),
    Conversion(
        "modulus_from_rmr_GPa",
        "10^((RMR - 10) / 40)",
        "Serafim & Pereira 1983",
        SECONDARY,
        ("rmr",),
        modulus_of_rmr,
    ),
    Conversion("gsi_from_rmr", "RMR'89 - 5 from RMR' 23", "Singh & Goel 2011", SECONDARY, (), gsi_of_rmr),
    Conversion("gsi_from_q", "9 ln Q' + 44", "Singh & Goel 2011", SECONDARY, (), gsi_of_q_prime),
    Conversion(
        "gsi_from_joints", "1.5 JCond89 + RQD/2", "Hoek, Carter & Diederichs 2013", MEMORY, (), gsi_of_joints
    ),
    Conversion("cai_from_cut", "0.99 CAI(saw-cut) + 0.48", "not known", MEMORY, (), cai_of_saw_cut),
    *(
        Conversion(
            f"rqd_from_jv_{start:.0f}",
            formula,
            "a public collection of formulas",
            SECONDARY,
            ("jv_per_m3",),
            lambda jv, formula=formula: rqd_of_jv(jv, formula),
        )
        for formula, (start, _) in RQD_OF_JV.items()
    ),
)
OF_GROUND: Mapping[str, Conversion] = {one.name: one for one in CONVERSIONS if one.needs}
