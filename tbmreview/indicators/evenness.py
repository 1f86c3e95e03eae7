"""Evenness within an interval: share of steady boring, spread and roughness of torque and penetration.

Spread is the standard deviation over time about the interval's own mean. Roughness is the part of it that
changes from one sample to the next: the square root of half the mean squared change (the two-sample deviation
of David Allan). Samples that are independent have the same spread and roughness; a slow drift has spread alone.
"""

import numpy as np

from tbmreview.domain.setup import Machine
from tbmreview.indicators.record import Floats, Indicator, Sums, ratio

# A variance below this share of the squared mean is rounding of the sums: a spread below a millionth.
ROUNDING = 1e-12


def steady_share(sums: Sums, machine: Machine) -> Floats:
    """Share of recorded advance bored without loading and unloading, (n,). NaN where logs were too slow to tell."""
    return ratio(sums["steady_advance_m"], sums["phased_advance_m"])


def steady_time_share(sums: Sums, machine: Machine) -> Floats:
    """Share of boring time without loading and unloading, (n,). NaN where logs were too slow to tell."""
    return ratio(sums["steady_s"], sums["phased_s"])


def torque_spread_kNm(sums: Sums, machine: Machine) -> Floats:
    """Standard deviation of torque over time, (n,) [kNm]."""
    return _spread(sums["torque_kNm2_s"], sums["torque_kNm_s"], sums["torque_s"])


def torque_roughness_kNm(sums: Sums, machine: Machine) -> Floats:
    """Deviation of torque from one sample to the next, (n,) [kNm]."""
    return np.sqrt(ratio(sums["torque_step_kNm2_s"], sums["torque_step_s"]))


def penetration_spread_mm_rev(sums: Sums, machine: Machine) -> Floats:
    """Standard deviation over time of logged penetration, (n,) [mm/rev]."""
    return _spread(sums["penetration_mm2_rev2_s"], sums["penetration_mm_rev_s"], sums["penetration_s"])


def penetration_roughness_mm_rev(sums: Sums, machine: Machine) -> Floats:
    """Deviation of logged penetration from one sample to the next, (n,) [mm/rev]."""
    return np.sqrt(ratio(sums["penetration_step_mm2_rev2_s"], sums["penetration_step_s"]))


def _spread(squares: Floats, values: Floats, seconds: Floats) -> Floats:
    square, mean_square = ratio(squares, seconds), ratio(values, seconds) ** 2
    variance = square - mean_square
    return np.sqrt(np.where(variance < ROUNDING * mean_square, 0.0, variance))


_STEADY = "definition"
_ALLAN = "two-sample deviation, Allan 1966 (from memory)"

STEADY_SHARE = Indicator(
    "steady_share",
    "Steady boring, share of advance",
    "steady",
    "",
    "evenness",
    "advance without loading and unloading over advance with these told apart",
    _STEADY,
    ("steady_advance_m", "phased_advance_m"),
    2,
    steady_share,
)
STEADY_TIME_SHARE = Indicator(
    "steady_time_share",
    "Steady boring, share of time",
    "steady time",
    "",
    "evenness",
    "boring time without loading and unloading over boring time with these told apart",
    _STEADY,
    ("steady_s", "phased_s"),
    2,
    steady_time_share,
)
TORQUE_SPREAD = Indicator(
    "torque_spread_kNm",
    "Torque, spread",
    "T spread",
    "kNm",
    "evenness",
    "standard deviation of torque over time",
    "definition",
    ("torque_kNm2_s", "torque_kNm_s", "torque_s"),
    0,
    torque_spread_kNm,
)
TORQUE_ROUGHNESS = Indicator(
    "torque_roughness_kNm",
    "Torque, roughness",
    "T rough",
    "kNm",
    "evenness",
    "root of half the mean squared change of torque from sample to sample",
    _ALLAN,
    ("torque_step_kNm2_s", "torque_step_s"),
    0,
    torque_roughness_kNm,
)
PENETRATION_SPREAD = Indicator(
    "penetration_spread_mm_rev",
    "Penetration, spread",
    "p spread",
    "mm/rev",
    "evenness",
    "standard deviation of logged penetration over time",
    "definition",
    ("penetration_mm2_rev2_s", "penetration_mm_rev_s", "penetration_s"),
    2,
    penetration_spread_mm_rev,
)
PENETRATION_ROUGHNESS = Indicator(
    "penetration_roughness_mm_rev",
    "Penetration, roughness",
    "p rough",
    "mm/rev",
    "evenness",
    "root of half the mean squared change of logged penetration from sample to sample",
    _ALLAN,
    ("penetration_step_mm2_rev2_s", "penetration_step_s"),
    2,
    penetration_roughness_mm_rev,
)
