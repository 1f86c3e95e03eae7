"""Load: boring thrust, torque and the load of a disc, gross and net.

Gross is what the cylinders and the drive gave. Net is gross less what would have been needed without
contact: drag of the shield for thrust, no-load torque for torque. Net is never clipped: a negative net
load says that the drag figure does not fit there.

The interval of net thrust holds what is not known of drag and what lies between samples, not the accuracy
of sensors. Drag is off alike all along a stroke, and may be off alike in strokes that took it from the
same place, so its deviations are added; those of sampling are independent, so their variances are.
"""

import numpy as np

from tbmreview.domain.setup import Machine
from tbmreview.indicators.record import Floats, Indicator, Sums, ratio, shared


@shared
def thrust_kN(sums: Sums, machine: Machine) -> Floats:
    """Time-mean of boring thrust (force of the pushing set), (n,) [kN]."""
    return ratio(sums["thrust_kN_s"], sums["thrust_s"])


@shared
def net_thrust_kN(sums: Sums, machine: Machine) -> Floats:
    """Time-mean of boring thrust less drag, (n,) [kN]. NaN where drag is not known."""
    return ratio(sums["thrust_kN_s"] - sums["drag_kN_s"], sums["thrust_s"])


def net_thrust_low_kN(sums: Sums, machine: Machine) -> Floats:
    """Lower end of the 95 % interval of net thrust, (n,) [kN]. NaN where drag is not known."""
    return net_thrust_kN(sums, machine) - _half_width_kN(sums, machine)


def net_thrust_high_kN(sums: Sums, machine: Machine) -> Floats:
    """Upper end of the 95 % interval of net thrust, (n,) [kN]. NaN where drag is not known."""
    return net_thrust_kN(sums, machine) + _half_width_kN(sums, machine)


@shared
def _half_width_kN(sums: Sums, machine: Machine) -> Floats:
    seconds = sums["thrust_s"]
    variance = ratio(sums["drag_sd_kN_s"], seconds) ** 2 + ratio(sums["thrust_var_kN2_s2"], seconds**2)
    return NORMAL_95 * np.sqrt(variance)


@shared
def torque_kNm(sums: Sums, machine: Machine) -> Floats:
    """Time-mean of the magnitude of torque, (n,) [kNm]."""
    return ratio(sums["torque_kNm_s"], sums["torque_s"])


@shared
def net_torque_kNm(sums: Sums, machine: Machine) -> Floats:
    """Time-mean of torque less no-load torque, (n,) [kNm]. NaN where no-load torque is not known."""
    return ratio(sums["torque_kNm_s"] - sums["no_load_kNm_s"], sums["torque_s"])


def disc_load_kN(sums: Sums, machine: Machine) -> Floats:
    """Boring thrust over installed disc rings, (n,) [kN]; a twin centre disc counts as two."""
    return thrust_kN(sums, machine) / machine.disc_count


def net_disc_load_kN(sums: Sums, machine: Machine) -> Floats:
    """Net boring thrust over installed disc rings, (n,) [kN]."""
    return net_thrust_kN(sums, machine) / machine.disc_count


NORMAL_95 = 1.96  # standard deviations on either side that hold 95 % of a normal distribution
_NORMAL = "normal distribution"
_THRUST = ("thrust_kN_s", "thrust_s")
_NET_THRUST = (*_THRUST, "drag_kN_s")
_INTERVAL = (*_NET_THRUST, "drag_sd_kN_s", "thrust_var_kN2_s2")
_TORQUE = ("torque_kNm_s", "torque_s")
_NET_TORQUE = (*_TORQUE, "no_load_kNm_s")

THRUST = Indicator(
    "thrust_kN",
    "Thrust",
    "F",
    "kN",
    "load",
    "time-mean of boring thrust, gross",
    "definition",
    _THRUST,
    0,
    thrust_kN,
)
NET_THRUST = Indicator(
    "net_thrust_kN",
    "Net thrust",
    "F net",
    "kN",
    "load",
    "time-mean of boring thrust less drag",
    "definition",
    _NET_THRUST,
    0,
    net_thrust_kN,
)
NET_THRUST_LOW = Indicator(
    "net_thrust_low_kN",
    "Net thrust, lower end of its 95 % interval",
    "F net from",
    "kN",
    "load",
    "net thrust less 1.96 standard deviations of drag and of sampling",
    _NORMAL,
    _INTERVAL,
    0,
    net_thrust_low_kN,
)
NET_THRUST_HIGH = Indicator(
    "net_thrust_high_kN",
    "Net thrust, upper end of its 95 % interval",
    "F net to",
    "kN",
    "load",
    "net thrust and 1.96 standard deviations of drag and of sampling",
    _NORMAL,
    _INTERVAL,
    0,
    net_thrust_high_kN,
)
TORQUE = Indicator(
    "torque_kNm",
    "Torque",
    "T",
    "kNm",
    "load",
    "time-mean of torque, gross",
    "definition",
    _TORQUE,
    0,
    torque_kNm,
)
NET_TORQUE = Indicator(
    "net_torque_kNm",
    "Net torque",
    "T net",
    "kNm",
    "load",
    "time-mean of torque less no-load torque",
    "definition",
    _NET_TORQUE,
    0,
    net_torque_kNm,
)
DISC_LOAD = Indicator(
    "disc_load_kN",
    "Disc load",
    "Fn",
    "kN",
    "load",
    "boring thrust over installed disc rings, gross",
    "definition",
    _THRUST,
    1,
    disc_load_kN,
)
NET_DISC_LOAD = Indicator(
    "net_disc_load_kN",
    "Net disc load",
    "Fn net",
    "kN",
    "load",
    "net boring thrust over installed disc rings",
    "definition",
    _NET_THRUST,
    1,
    net_disc_load_kN,
)
