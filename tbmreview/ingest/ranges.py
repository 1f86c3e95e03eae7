"""What a machine can read at all, channel by channel (common practice, no source)."""

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.channels import BY_NAME
from tbmreview.domain.setup import Machine

Values = NDArray[np.float64]

F, V, N, P, T, W, S, C, AF, AS, MP = (
    "main_thrust_kN",
    "advance_speed_mm_min",
    "head_speed_rpm",
    "penetration_mm_rev",
    "torque_kNm",
    "head_power_kW",
    "main_stroke_mm",
    "chainage_m",
    "aux_thrust_kN",
    "aux_stroke_mm",
    "main_pressure_bar",
)

# 95th percentile of the magnitude over a file in which the machine bores; canonical units.
TYPICAL: dict[str, tuple[float, float]] = {
    "main_thrust_kN": (400, 120_000),
    "aux_thrust_kN": (100, 150_000),
    "main_pressure_bar": (5, 600),
    "aux_pressure_bar": (2, 600),
    "torque_kNm": (50, 40_000),
    "head_speed_rpm": (0.5, 16),
    "penetration_mm_rev": (0.8, 60),
    "advance_speed_mm_min": (4, 300),
    "head_power_kW": (40, 15_000),
    "gripper_pressure_bar": (30, 600),
    "gripper_force_kN": (500, 150_000),
    "main_stroke_mm": (150, 4_000),
    "aux_stroke_mm": (150, 4_500),
    "belt_rate_t_h": (10, 8_000),
}


def range_fault(
    channel: str, values: Values, machine: Machine | None, *, in_use: bool, least_different: int = 5
) -> str:
    """Why these values, (n,) canonical, cannot be this channel; '' where they can.

    Values that are too small speak against a unit only where the file shows the part in use; a column with
    fewer than `least_different` values is not held against what is typical.
    """
    facts = BY_NAME[channel]
    finite = values[np.isfinite(values)]
    if len(finite) < 5:
        return ""
    outside = float(np.mean((finite < facts.low) | (finite > facts.high)))
    if outside > 0.2:
        return f"{outside:.0%} of its values lie outside {facts.low:g} to {facts.high:g} {facts.unit}"
    moving = np.abs(finite[finite != 0])
    if channel not in TYPICAL or len(moving) < 20 or len(np.unique(moving)) < least_different:
        return ""
    low, high = _typical(channel, machine)
    top = float(np.quantile(moving, 0.95))
    if top > high or (in_use and top < low):
        return (
            f"its greatest values are about {top:.4g} {facts.unit}; a machine reads {low:.4g} to {high:.4g}"
        )
    return ""


def _typical(channel: str, machine: Machine | None) -> tuple[float, float]:
    low, high = TYPICAL[channel]
    if machine is None:
        return low, high
    if channel == T:
        return 0.2 * machine.bore_diameter_m**3, 60 * machine.bore_diameter_m**3
    if channel == F:
        return 30.0 * machine.disc_count, 700.0 * machine.disc_count
    if channel == N:
        return low, min(high, 100 / machine.bore_diameter_m)
    return low, high
