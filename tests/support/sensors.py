"""Days of a small invented machine's samples, for what detectors make of faults of sensors."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table
from tbmreview.findings.detector import Profile
from tbmreview.findings.health import by_series, health_of, stamps_of

Values = dict[str, NDArray[np.float64]]
START_US, STEP_S = 1_900_000_800_000_000, 10  # a full hour
HOUR = 3600 // STEP_S  # samples
LIMITS = {"main_thrust_kN": (0.0, 20_000.0), "torque_kNm": (0.0, 4000.0)}


def hours_of(count: int = 24, seed: int = 1) -> Values:
    """Boring 40 minutes of each hour, a stroke an hour; v = n p, P = 2 pi n T / 60, thrust is 45 times the pressure."""
    rng, n = np.random.default_rng(seed), count * HOUR
    bores = np.arange(n) % HOUR < HOUR * 2 // 3

    def reads(level: float, noise: float, rest: float = 0.0) -> NDArray[np.float64]:
        return np.where(bores, level * (1 + noise * rng.standard_normal(n)), rest)

    rpm, torque, penetration = reads(6.5, 0.004), reads(1500, 0.03), reads(7, 0.03)
    speed = rpm * penetration
    stroke = 100 + np.cumsum(speed * STEP_S / 60)
    stroke -= (stroke[::HOUR].repeat(HOUR)) - 100
    pressure = reads(240, 0.02, 20.0)
    return {
        "head_speed_rpm": rpm,
        "torque_kNm": torque,
        "penetration_mm_rev": penetration,
        "advance_speed_mm_min": speed,
        "head_power_kW": 2 * np.pi * rpm * torque / 60,
        "main_stroke_mm": stroke + 0.3 * rng.standard_normal(n),
        "main_thrust_kN": 45 * pressure,
        "main_pressure_bar": pressure,
        "belt_rate_t_h": reads(240, 0.05),
        "water_l_min": 90 + 4 * rng.standard_normal(n),
        "gripper_pressure_bar": 240 + rng.standard_normal(n),
        "chainage_m": 4180 + np.cumsum(np.r_[0.0, speed[:-1]]) * STEP_S / 60_000,
    }


def stamps(values: Mapping[str, NDArray[np.float64]]) -> NDArray[np.int64]:
    """Every ten seconds."""
    n = len(next(iter(values.values())))
    return START_US + np.arange(n) * STEP_S * 1_000_000


def profile_of_samples(
    values: Mapping[str, NDArray[np.float64]],
    time_us: NDArray[np.int64] | None = None,
    step_s: int = STEP_S,
    **more: object,
) -> Profile:
    """What detectors see of samples alone."""
    at = stamps(values) if time_us is None else time_us
    table = health_of(stamps_of(at, step_s * 1_000_000, 3.0), values, LIMITS, alone=True)
    return Profile(Table({}), lambda _: {}, Axis(4180.0, 1), health=by_series(table), **more)  # type: ignore[arg-type]
