"""Cutting: torque indices by other definitions, rolling coefficient, boreability index at 1 mm/rev."""

import numpy as np

from tbmreview.domain.setup import Machine
from tbmreview.indicators.boreability import tpi_kNm_per_mm_rev
from tbmreview.indicators.load import (
    disc_load_kN,
    net_disc_load_kN,
    net_thrust_kN,
    net_torque_kNm,
    thrust_kN,
    torque_kNm,
)
from tbmreview.indicators.rates import penetration_mm_rev
from tbmreview.indicators.record import Floats, Indicator, Sums, ratio, shared


def tpi_per_disc_kNm_per_mm_rev(sums: Sums, machine: Machine) -> Floats:
    """Torque per installed disc ring over penetration, T/(N p), gross, (n,) [kNm/(mm/rev)]. NaN without advance."""
    return tpi_kNm_per_mm_rev(sums, machine) / machine.disc_count


def torque_coefficient_kN_m2(sums: Sums, machine: Machine) -> Floats:
    """Torque over the cube of the bore diameter, T/D3, gross, (n,) [kN/m2]: no index of penetration."""
    return torque_kNm(sums, machine) / machine.bore_diameter_m**3


def rolling_coefficient(sums: Sums, machine: Machine) -> Floats:
    """Rolling over normal force of the discs by torque and thrust, T/(l D F), gross, (n,). NaN without thrust.

    l: mean lever arm of the discs as a share of the bore diameter D (machine.disc_lever_arm). Source: derived
    from the torque ratio.
    """
    return _rolling(torque_kNm(sums, machine), thrust_kN(sums, machine), machine)


def net_rolling_coefficient(sums: Sums, machine: Machine) -> Floats:
    """The same of net torque and net thrust, (n,). NaN where drag or no-load torque is not known, or no net
    thrust is left."""
    return _rolling(net_torque_kNm(sums, machine), net_thrust_kN(sums, machine), machine)


def boreability_index_1mm_kN_per_mm_rev(sums: Sums, machine: Machine) -> Floats:
    """Disc load over penetration brought to 1 mm/rev, Fn/p p^0.75, gross, (n,) [kN/(mm/rev)]. NaN without advance.

    Source: Gong & Zhao 2009 (from memory, sure), fitted to two tunnels in one granite.
    """
    return _at_1mm(disc_load_kN(sums, machine), sums, machine)


def net_boreability_index_1mm_kN_per_mm_rev(sums: Sums, machine: Machine) -> Floats:
    """The same of net disc load, (n,) [kN/(mm/rev)]. NaN without advance or where drag is not known."""
    return _at_1mm(net_disc_load_kN(sums, machine), sums, machine)


def _rolling(torque: Floats, thrust: Floats, machine: Machine) -> Floats:
    normal = machine.disc_lever_arm * machine.bore_diameter_m * thrust
    return ratio(torque, np.where(normal > 0, normal, np.nan))


def _at_1mm(load_kN: Floats, sums: Sums, machine: Machine) -> Floats:
    return ratio(load_kN, _root_of_penetration(sums, machine))


@shared
def _root_of_penetration(sums: Sums, machine: Machine) -> Floats:
    return np.sqrt(np.sqrt(penetration_mm_rev(sums, machine)))


_PENETRATION = ("turned_advance_m", "revolutions")
_THRUST, _TORQUE = ("thrust_kN_s", "thrust_s"), ("torque_kNm_s", "torque_s")
_GONG_ZHAO = "Gong & Zhao 2009, coefficients from memory, unconfirmed"

TPI_PER_DISC = Indicator(
    "tpi_per_disc_kNm_per_mm_rev",
    "Torque penetration index per disc",
    "TPI disc",
    "kNm/(mm/rev)",
    "boreability",
    "torque per installed disc ring over penetration, gross",
    "definition (b) of three in use, from memory",
    (*_TORQUE, *_PENETRATION),
    3,
    tpi_per_disc_kNm_per_mm_rev,
)
TORQUE_COEFFICIENT = Indicator(
    "torque_coefficient_kN_m2",
    "Torque coefficient",
    "T/D³",
    "kN/m²",
    "boreability",
    "torque over the cube of the bore diameter, gross",
    "definition (c) of three in use, from memory",
    _TORQUE,
    2,
    torque_coefficient_kN_m2,
)
ROLLING = Indicator(
    "rolling_coefficient",
    "Rolling coefficient",
    "RC",
    "",
    "boreability",
    "torque over lever arm, bore diameter and thrust, gross",
    "derived from the torque ratio",
    (*_TORQUE, *_THRUST),
    4,
    rolling_coefficient,
)
NET_ROLLING = Indicator(
    "net_rolling_coefficient",
    "Net rolling coefficient",
    "RC net",
    "",
    "boreability",
    "net torque over lever arm, bore diameter and net thrust",
    "derived from the torque ratio",
    (*_TORQUE, "no_load_kNm_s", *_THRUST, "drag_kN_s"),
    4,
    net_rolling_coefficient,
)
INDEX_1MM = Indicator(
    "boreability_index_1mm_kN_per_mm_rev",
    "Boreability index at 1 mm/rev",
    "BI 1 mm",
    "kN/(mm/rev)",
    "boreability",
    "disc load over penetration brought to 1 mm/rev, gross",
    _GONG_ZHAO,
    (*_THRUST, *_PENETRATION),
    1,
    boreability_index_1mm_kN_per_mm_rev,
)
NET_INDEX_1MM = Indicator(
    "net_boreability_index_1mm_kN_per_mm_rev",
    "Net boreability index at 1 mm/rev",
    "BI 1 mm net",
    "kN/(mm/rev)",
    "boreability",
    "net disc load over penetration brought to 1 mm/rev",
    _GONG_ZHAO,
    (*_THRUST, "drag_kN_s", *_PENETRATION),
    1,
    net_boreability_index_1mm_kN_per_mm_rev,
)
