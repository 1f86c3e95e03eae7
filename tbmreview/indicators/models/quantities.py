"""What models expect and machines show: each quantity with its function of sums, net and gross."""

from collections.abc import Callable
from dataclasses import dataclass

from tbmreview.domain.setup import Machine
from tbmreview.indicators.boreability import fpi_kN_per_mm_rev, net_fpi_kN_per_mm_rev
from tbmreview.indicators.load import (
    disc_load_kN,
    net_disc_load_kN,
    net_thrust_kN,
    net_torque_kNm,
    thrust_kN,
    torque_kNm,
)
from tbmreview.indicators.rates import penetration_mm_rev, penetration_rate_m_h
from tbmreview.indicators.record import Floats, Sums, ratio

Function = Callable[[Sums, Machine], Floats]


@dataclass(frozen=True, slots=True)
class Quantity:
    """net, gross: column names; the same where the quantity knows no difference. net_of, gross_of: their
    functions of sums, as those of indicators."""

    net: str
    gross: str
    unit: str
    net_of: Function
    gross_of: Function

    def name(self, gross: bool) -> str:
        return self.gross if gross else self.net

    def observed(self, sums: Sums, machine: Machine, gross: bool) -> Floats:
        """What was bored, (n,) in the unit; NaN without advance, and net where drag is not known."""
        return (self.gross_of if gross else self.net_of)(sums, machine)


def net_thrust_index(sums: Sums, machine: Machine) -> Floats:
    """Net thrust per metre of bore diameter over penetration, (n,) [kN/m/(mm/rev)]."""
    return ratio(net_thrust_kN(sums, machine), penetration_mm_rev(sums, machine)) / machine.bore_diameter_m


def thrust_index(sums: Sums, machine: Machine) -> Floats:
    """Thrust per metre of bore diameter over penetration, gross, (n,) [kN/m/(mm/rev)]."""
    return ratio(thrust_kN(sums, machine), penetration_mm_rev(sums, machine)) / machine.bore_diameter_m


def penetration_rate_mm_min(sums: Sums, machine: Machine) -> Floats:
    """Recorded advance over boring time, (n,) [mm/min]."""
    return penetration_rate_m_h(sums, machine) * (1000 / 60)


FPI = Quantity(
    "net_fpi_kN_per_mm_rev",
    "fpi_kN_per_mm_rev",
    "kN/(mm/rev)",
    net_fpi_kN_per_mm_rev,
    fpi_kN_per_mm_rev,
)
THRUST_INDEX = Quantity(
    "net_thrust_index_kN_per_m_mm_rev",
    "thrust_index_kN_per_m_mm_rev",
    "kN/m/(mm/rev)",
    net_thrust_index,
    thrust_index,
)
DISC_LOAD = Quantity("net_disc_load_kN", "disc_load_kN", "kN", net_disc_load_kN, disc_load_kN)
TORQUE = Quantity("net_torque_kNm", "torque_kNm", "kNm", net_torque_kNm, torque_kNm)
PENETRATION = Quantity(
    "penetration_mm_rev", "penetration_mm_rev", "mm/rev", penetration_mm_rev, penetration_mm_rev
)
PENETRATION_RATE = Quantity(
    "penetration_rate_m_h", "penetration_rate_m_h", "m/h", penetration_rate_m_h, penetration_rate_m_h
)
PENETRATION_RATE_MM_MIN = Quantity(
    "penetration_rate_mm_min",
    "penetration_rate_mm_min",
    "mm/min",
    penetration_rate_mm_min,
    penetration_rate_mm_min,
)
