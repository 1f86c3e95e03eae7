"""Boreability: field penetration index, torque penetration index, torque ratio."""

import numpy as np

from tbmreview.domain.setup import Machine
from tbmreview.indicators.load import disc_load_kN, net_disc_load_kN, thrust_kN, torque_kNm
from tbmreview.indicators.rates import penetration_mm_rev
from tbmreview.indicators.record import Floats, Indicator, Sums, ratio, shared


def fpi_kN_per_mm_rev(sums: Sums, machine: Machine) -> Floats:
    """Disc load over penetration, over all boring, (n,) [kN/(mm/rev)]. NaN without advance.

    Source: Nelson 1983; per disc and time-mean over recorded advance.
    """
    return ratio(disc_load_kN(sums, machine), penetration_mm_rev(sums, machine))


def net_fpi_kN_per_mm_rev(sums: Sums, machine: Machine) -> Floats:
    """Net disc load over penetration, (n,) [kN/(mm/rev)]. NaN without advance or where drag is unknown."""
    return ratio(net_disc_load_kN(sums, machine), penetration_mm_rev(sums, machine))


@shared
def tpi_kNm_per_mm_rev(sums: Sums, machine: Machine) -> Floats:
    """Torque of the whole head over penetration, gross, (n,) [kNm/(mm/rev)]. NaN without advance."""
    return ratio(torque_kNm(sums, machine), penetration_mm_rev(sums, machine))


def torque_ratio(sums: Sums, machine: Machine) -> Floats:
    """Measured torque over the torque that rolling discs would need at this thrust and penetration, (n,).

    The resultant of a disc of radius R points along the middle of its contact arc
    a = arccos((R - p) / R), so its rolling force is Fn tan(a / 2); with the mean lever arm l D of the
    discs, expected torque = l D N Fn tan(a / 2) + no-load torque. Thrust is gross. NaN where disc
    diameter or no-load torque is not given, or p > R. No advance: expected torque is the no-load torque.

    Source: companion material of Erharter et al., which attributes it to OENORM B 2203-2 (secondary).
    """
    if machine.disc_diameter_mm is None:
        return np.full(np.shape(sums["torque_s"]), np.nan)
    rolling = rolling_over_normal(penetration_mm_rev(sums, machine), machine.disc_diameter_mm)
    lever_m = machine.disc_lever_arm * machine.bore_diameter_m
    no_load = ratio(sums["no_load_kNm_s"], sums["torque_s"])
    expected = lever_m * thrust_kN(sums, machine) * rolling + no_load
    return ratio(torque_kNm(sums, machine), expected)


def rolling_over_normal(penetration_mm: Floats, disc_diameter_mm: float) -> Floats:
    """Rolling over normal force of a disc whose resultant halves its contact arc, (n,); NaN where the penetration
    is more than the radius. tan(a / 2) with a = arccos((R - p) / R), which is sqrt(p / (2 R - p))."""
    possible = np.where(penetration_mm <= disc_diameter_mm / 2, penetration_mm, np.nan)
    return np.sqrt(possible / (disc_diameter_mm - possible))


_PENETRATION = ("turned_advance_m", "revolutions")

FPI = Indicator(
    "fpi_kN_per_mm_rev",
    "Field penetration index",
    "FPI",
    "kN/(mm/rev)",
    "boreability",
    "disc load over penetration, gross",
    "Nelson 1983; Hassanpour et al. 2011",
    ("thrust_kN_s", "thrust_s", *_PENETRATION),
    1,
    fpi_kN_per_mm_rev,
)
NET_FPI = Indicator(
    "net_fpi_kN_per_mm_rev",
    "Net field penetration index",
    "FPI net",
    "kN/(mm/rev)",
    "boreability",
    "net disc load over penetration",
    "Nelson 1983; Hassanpour et al. 2011",
    ("thrust_kN_s", "thrust_s", "drag_kN_s", *_PENETRATION),
    1,
    net_fpi_kN_per_mm_rev,
)
TPI = Indicator(
    "tpi_kNm_per_mm_rev",
    "Torque penetration index",
    "TPI",
    "kNm/(mm/rev)",
    "boreability",
    "torque of the whole head over penetration, gross",
    "definition (a) of three in use, from memory",
    ("torque_kNm_s", "torque_s", *_PENETRATION),
    1,
    tpi_kNm_per_mm_rev,
)
TORQUE_RATIO = Indicator(
    "torque_ratio",
    "Torque ratio",
    "TR",
    "",
    "boreability",
    "measured torque over the torque of rolling discs at this thrust and penetration",
    "attributed to OENORM B 2203-2 (secondary)",
    ("torque_kNm_s", "torque_s", "no_load_kNm_s", "thrust_kN_s", "thrust_s", *_PENETRATION),
    2,
    torque_ratio,
)
