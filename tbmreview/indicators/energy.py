"""Specific energy and its two parts, gross and net.

Energy of a stretch over its volume, never a mean of instantaneous values. Each part is divided by the
recorded advance over which it was measured. kJ / (m2 m) is kPa, so MJ/m3 is a thousandth of it.
"""

import numpy as np

from tbmreview.domain.setup import Machine
from tbmreview.indicators.record import Floats, Indicator, Sums, ratio, shared


def face_area_m2(machine: Machine) -> float:
    """Area of the bored face [m2]."""
    return np.pi * machine.bore_diameter_m**2 / 4


@shared
def thrust_energy_MJ_m3(sums: Sums, machine: Machine) -> Floats:
    """Work of boring thrust per volume, gross, (n,) [MJ/m3]. NaN without advance."""
    return ratio(sums["thrust_work_kJ"], sums["thrust_advance_m"]) / (1000 * face_area_m2(machine))


@shared
def rotary_energy_MJ_m3(sums: Sums, machine: Machine) -> Floats:
    """Work of torque per volume, gross, (n,) [MJ/m3]. NaN without advance."""
    return ratio(sums["torque_work_kJ"], sums["torque_advance_m"]) / (1000 * face_area_m2(machine))


@shared
def specific_energy_MJ_m3(sums: Sums, machine: Machine) -> Floats:
    """Thrust and rotary part together, gross, (n,) [MJ/m3]. Source: Teale 1965."""
    return thrust_energy_MJ_m3(sums, machine) + rotary_energy_MJ_m3(sums, machine)


@shared
def net_specific_energy_MJ_m3(sums: Sums, machine: Machine) -> Floats:
    """Specific energy less the work of drag and of no-load torque, (n,) [MJ/m3]; NaN where either is unknown."""
    thrust = ratio(sums["thrust_work_kJ"] - sums["drag_work_kJ"], sums["thrust_advance_m"])
    torque = ratio(sums["torque_work_kJ"] - sums["no_load_work_kJ"], sums["torque_advance_m"])
    return (thrust + torque) / (1000 * face_area_m2(machine))


def specific_energy_kWh_m3(sums: Sums, machine: Machine) -> Floats:
    """Specific energy in the other unit of the trade, gross, (n,) [kWh/m3]."""
    return specific_energy_MJ_m3(sums, machine) / MJ_PER_KWH


def net_specific_energy_kWh_m3(sums: Sums, machine: Machine) -> Floats:
    """Net specific energy in the other unit of the trade, (n,) [kWh/m3]; NaN as that."""
    return net_specific_energy_MJ_m3(sums, machine) / MJ_PER_KWH


def energy_per_metre_MJ_m(sums: Sums, machine: Machine) -> Floats:
    """Work of thrust and torque per metre bored, gross, (n,) [MJ/m]. NaN without advance."""
    thrust = ratio(sums["thrust_work_kJ"], sums["thrust_advance_m"])
    return (thrust + ratio(sums["torque_work_kJ"], sums["torque_advance_m"])) / 1000


def head_power_kW(sums: Sums, machine: Machine) -> Floats:
    """Time-mean of the mechanical power of the head, 2 pi n T, gross, (n,) [kW]. NaN where torque and head
    speed were not both measured."""
    return ratio(sums["torque_work_kJ"], sums["torque_turned_s"])


MJ_PER_KWH = 3.6
_THRUST = ("thrust_work_kJ", "thrust_advance_m")
_TORQUE = ("torque_work_kJ", "torque_advance_m")
_TEALE = "Teale 1965, from memory"

SPECIFIC_ENERGY = Indicator(
    "specific_energy_MJ_m3",
    "Specific energy",
    "SE",
    "MJ/m³",
    "energy",
    "work of thrust and torque per volume bored, gross",
    _TEALE,
    (*_THRUST, *_TORQUE),
    1,
    specific_energy_MJ_m3,
)
THRUST_ENERGY = Indicator(
    "thrust_energy_MJ_m3",
    "Specific energy, thrust part",
    "SE thrust",
    "MJ/m³",
    "energy",
    "work of thrust per volume bored, gross",
    _TEALE,
    _THRUST,
    2,
    thrust_energy_MJ_m3,
)
ROTARY_ENERGY = Indicator(
    "rotary_energy_MJ_m3",
    "Specific energy, rotary part",
    "SE rotary",
    "MJ/m³",
    "energy",
    "work of torque per volume bored, gross",
    _TEALE,
    _TORQUE,
    1,
    rotary_energy_MJ_m3,
)
NET_SPECIFIC_ENERGY = Indicator(
    "net_specific_energy_MJ_m3",
    "Net specific energy",
    "SE net",
    "MJ/m³",
    "energy",
    "specific energy less the work of drag and no-load torque",
    _TEALE,
    (*_THRUST, "drag_work_kJ", *_TORQUE, "no_load_work_kJ"),
    1,
    net_specific_energy_MJ_m3,
)
SPECIFIC_ENERGY_KWH = Indicator(
    "specific_energy_kWh_m3",
    "Specific energy",
    "SE",
    "kWh/m³",
    "energy",
    "work of thrust and torque per volume bored, gross",
    _TEALE,
    (*_THRUST, *_TORQUE),
    2,
    specific_energy_kWh_m3,
)
NET_SPECIFIC_ENERGY_KWH = Indicator(
    "net_specific_energy_kWh_m3",
    "Net specific energy",
    "SE net",
    "kWh/m³",
    "energy",
    "specific energy less the work of drag and no-load torque",
    _TEALE,
    (*_THRUST, "drag_work_kJ", *_TORQUE, "no_load_work_kJ"),
    2,
    net_specific_energy_kWh_m3,
)
ENERGY_PER_METRE = Indicator(
    "energy_per_metre_MJ_m",
    "Energy per metre",
    "E",
    "MJ/m",
    "energy",
    "work of thrust and torque per metre bored, gross",
    "definition",
    (*_THRUST, *_TORQUE),
    0,
    energy_per_metre_MJ_m,
)
HEAD_POWER = Indicator(
    "head_power_kW",
    "Head power",
    "P",
    "kW",
    "energy",
    "mechanical power of the head, mean over boring time, gross",
    "definition",
    ("torque_work_kJ", "torque_turned_s"),
    0,
    head_power_kW,
)
