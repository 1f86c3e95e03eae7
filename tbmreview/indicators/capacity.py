"""Against what is installed: thrust, torque, load of a disc; each missing where the setup does not give the limit.

A share says what was used, gross of thrust and torque as the maker's figure is, net of a disc's load as its
bearing feels it. It is no advice to use more.
"""

import numpy as np

from tbmreview.domain.setup import Machine
from tbmreview.indicators.load import net_disc_load_kN, torque_kNm
from tbmreview.indicators.record import Floats, Indicator, Sums, ratio


def thrust_share_of_installed(sums: Sums, machine: Machine) -> Floats:
    """Boring thrust over what the set that pushes has installed, both as means over time, (n,).

    Where both sets pushed, each counts against its own. NaN where the figure of a set that pushed is not given.
    """
    return ratio(sums["thrust_kN_s"], sums["thrust_installed_kN_s"])


def torque_share_of_installed(sums: Sums, machine: Machine) -> Floats:
    """Time-mean of torque over installed torque, (n,); NaN where that is not given."""
    return torque_kNm(sums, machine) / _limit(machine.torque_installed_kNm)


def net_disc_load_share_of_limit(sums: Sums, machine: Machine) -> Floats:
    """Net disc load over the load that a disc may carry, (n,); NaN where drag or that limit is not known."""
    return net_disc_load_kN(sums, machine) / _limit(machine.disc_load_limit_kN)


def _limit(given: float | None) -> float:
    return np.nan if given is None else given


_MAKER = "definition; the limit from the maker, in drive.toml"

THRUST_SHARE = Indicator(
    "thrust_share_of_installed",
    "Thrust, share of installed",
    "F of inst.",
    "",
    "load",
    "boring thrust over what the pushing set has installed, gross",
    _MAKER,
    ("thrust_kN_s", "thrust_installed_kN_s"),
    3,
    thrust_share_of_installed,
)
TORQUE_SHARE = Indicator(
    "torque_share_of_installed",
    "Torque, share of installed",
    "T of inst.",
    "",
    "load",
    "torque over installed torque, gross",
    _MAKER,
    ("torque_kNm_s", "torque_s"),
    3,
    torque_share_of_installed,
)
DISC_LOAD_SHARE = Indicator(
    "net_disc_load_share_of_limit",
    "Net disc load, share of its limit",
    "Fn of limit",
    "",
    "load",
    "net disc load over the load that a disc may carry",
    _MAKER,
    ("thrust_kN_s", "thrust_s", "drag_kN_s"),
    3,
    net_disc_load_share_of_limit,
)
