"""A profile whose strokes are stated one by one, for detectors that hold each stroke against those before it."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.setup import DOUBLE_SHIELD, Machine
from tbmreview.domain.states import PushingSet, Reaction, State
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table
from tbmreview.findings.detector import Profile
from tbmreview.motion.stroke_table import STROKE_COLUMNS

HOUR_US, START_US, STROKE_M, ROWS = 3_600_000_000, 1_900_000_000_000_000, 1.5, 15
MACHINE = Machine(
    DOUBLE_SHIELD, 6.0, 40, main_thrust_installed_kN=16_000.0, aux_thrust_installed_kN=20_000.0, torque_installed_kNm=3000.0
)  # fmt: skip
USUAL: dict[str, float] = {
    "thrust_kN": 10_000.0, "penetration_rate_m_h": 2.4, "penetration_mm_rev": 7.0, "torque_kNm": 1400.0,
    "torque_ratio": 0.5, "head_speed_rpm": 6.0, "gripper_pressure_bar": 240.0, "torque_spread_kNm": 60.0,
}  # fmt: skip
OF_STROKES: dict[str, float] = {
    "drag_kN": 1200.0, "start_thrust_kN": 1300.0, "going_on_kN": 1200.0, "regrip_force_kN": 4000.0,
    "free_thrust_kN": float("nan"),
}  # fmt: skip


def profile_of_strokes(
    count: int,
    changes: Mapping[str, Mapping[int, float]],
    loaded_min: Mapping[int, float] | None = None,
    on_ring: tuple[int, ...] = (),
    machine: Machine = MACHINE,
    noise: float = 0.02,
) -> Profile:
    """count strokes of 1.5 m, two hours apart, at usual figures with noise; changes: column -> stroke -> its value
    (NaN: not known); loaded_min: minutes of turning loaded without advance after the boring of a stroke."""
    rng = np.random.default_rng(3)
    given = {
        name: usual * np.exp(rng.normal(0, noise, count)) for name, usual in {**USUAL, **OF_STROKES}.items()
    }
    for name, values in changes.items():
        for stroke, value in values.items():
            given[name][stroke] = value
    ring = np.isin(np.arange(count), on_ring)
    rows = _rows(given, ring, machine)
    periods = _periods(count, loaded_min or {})
    return Profile(
        rows,
        lambda mask: _over(rows, mask),
        Axis(4180.0, 1),
        machine=machine,
        strokes=_strokes(given, ring),
        periods=periods,
    )


def _strokes(given: dict[str, NDArray[np.float64]], ring: NDArray[np.bool_]) -> Table:
    n = len(ring)
    start = START_US + 2 * HOUR_US * np.arange(n)
    columns: dict[str, Any] = {
        name: np.full(n, "", object) if kind is object else np.zeros(n, kind) for name, kind, *_ in STROKE_COLUMNS
    }  # fmt: skip
    columns |= {name: given[name] for name in OF_STROKES}
    columns |= {
        "stroke_start_us": start, "stroke_end_us": start + HOUR_US,
        "position_from_m": STROKE_M * np.arange(n), "position_to_m": STROKE_M * np.arange(1, n + 1),
        "pushing_set": np.where(ring, PushingSet.AUX, PushingSet.MAIN).astype(np.int8),
        "reaction": np.where(ring, Reaction.RING, Reaction.GRIPPERS).astype(np.int8),
        "drag_source": np.where(np.isfinite(given["drag_kN"]), "stroke", "none").astype(object),
    }  # fmt: skip
    return Table(columns)


def _rows(given: dict[str, NDArray[np.float64]], ring: NDArray[np.bool_], machine: Machine) -> Table:
    stroke = np.repeat(np.arange(len(ring)), ROWS)
    at = STROKE_M * np.arange(len(stroke)) / ROWS
    time = START_US + 2 * HOUR_US * stroke
    columns: dict[str, Any] = {name: given[name][stroke] for name in USUAL}
    torque = columns["torque_kNm"]
    columns |= {
        "position_from_m": at, "position_to_m": at + STROKE_M / ROWS, "advance_m": np.full(len(stroke), STROKE_M / ROWS),
        "start_us": time, "end_us": time + HOUR_US, "reaction": np.where(ring, Reaction.RING, Reaction.GRIPPERS)[stroke],
        "torque_share_of_installed": torque / (machine.torque_installed_kNm or np.nan),
    }  # fmt: skip
    return Table(columns)


def _over(rows: Table, mask: NDArray[np.bool_]) -> dict[str, float]:
    names = (*USUAL, "torque_share_of_installed")
    return {name: float(np.mean(rows[name][mask])) if mask.any() else float("nan") for name in names}


def _periods(count: int, loaded_min: Mapping[int, float]) -> Table:
    starts = [START_US + 2 * HOUR_US * k for k in range(count)]
    rows = [(start, start + HOUR_US, State.BORING) for start in starts]
    rows += [
        (starts[k] + HOUR_US, starts[k] + HOUR_US + int(60e6 * minutes), State.TURNING_LOADED)
        for k, minutes in loaded_min.items()
    ]
    start_us, end_us, state = (np.array(column) for column in zip(*sorted(rows), strict=True))
    return Table({"start_us": start_us, "end_us": end_us, "state": state.astype(np.int8)})
