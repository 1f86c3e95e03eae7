"""Sensors and recorders that go wrong in an invented drive's log: stuck, dead, out of range, other units, clocks, gaps."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tests.support.invented_ground import (
    CREW,
    MUCK,
    SINGLE,
    WATER,
    Floats,
)  # fmt: skip
from tests.support.invented_log import Log

STUCK, DEAD, RANGE, UNIT = "stuck", "dead", "out of range", "unit jump"
CLOCK, GAP, DRIFT = "clock step", "gap", "calibration drift"
HOUR_US = 3_600_000_000
TORQUE, THRUST, RPM, PENETRATION, SPEED = (
    "Torque [kNm]", "Main thrust [kN]", "Head speed [rpm]", "Penetration [mm/rev]", "Advance speed [mm/min]",
)  # fmt: skip
GRIPPER, WATERS, BELT, POWER = (
    "Gripper pressure [bar]",
    "Water inflow [l/min]",
    "Belt rate [t/h]",
    "Head power [kW]",
)
# A reading of a channel in another unit or by another scale: the tell-tale factors.
UNITS = (
    (TORQUE, 1e-3), (TORQUE, 10.0), (THRUST, 1 / 9.81), (THRUST, 1e-3), (THRUST, 10.0), (SPEED, 1 / 60),
    (SPEED, 60.0), (PENETRATION, 10.0), (PENETRATION, 0.1), (BELT, 10.0), (RPM, 60.0), (TORQUE, 9.81),
)  # fmt: skip
RAILS = {
    TORQUE: (65_535.0, -55_000.0),
    THRUST: (250_000.0, -9_999.0),
    WATERS: (-500.0, 2e6),
    BELT: (30_000.0, -400.0),
}


class SensorFault(NamedTuple):
    """kind, header of the channel ('' the recorder), from .. to [us UTC of the true clock], by how much."""

    kind: str
    channel: str
    start_us: int
    end_us: int
    amount: float


def with_faults(log: Log) -> tuple[NDArray[np.int64], dict[str, Floats], list[SensorFault]]:
    """(stamps, rows, faults): the log with a few sensors gone wrong, where the ground is even."""
    plan = log.plan
    rng = np.random.default_rng([plan.seed, 8])
    time_us, rows = log.time_us.copy(), {name: values.copy() for name, values in log.rows.items()}
    kinds = [STUCK, DEAD, RANGE, UNIT, UNIT, DRIFT, GAP, CLOCK]
    wanted = [str(kind) for kind in rng.permutation(kinds)[:4]]
    wanted = sorted(wanted, key=lambda kind: (kind in (CLOCK,), kind == DRIFT))  # these last to the end
    faults: list[SensorFault] = []
    for kind, (start, end) in zip(wanted, _even(rng, log), strict=False):
        faults.append(_one(rng, kind, log, (start, end)))
    keep = np.ones(len(time_us), bool)
    for fault in faults:
        _apply(rng, fault, (log.time_us, time_us), rows, keep)
    return time_us[keep], {name: values[keep] for name, values in rows.items()}, faults


def _even(rng: np.random.Generator, log: Log) -> list[tuple[int, int]]:
    """Stretches of time, in order, in which the face is 5 m or more from anything in the ground, 6 h or longer."""
    free = np.ones(len(log.head_m), bool)
    for event in log.plan.events:
        if event.kind not in (*CREW, WATER, MUCK):
            free &= (log.head_m < event.from_m - 5) | (log.head_m > event.to_m + 5)
    edges = np.flatnonzero(np.diff(np.r_[0, free, 0]))
    out = []
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        start, end = int(log.time_us[a]), int(log.time_us[b - 1])
        while end - start > 6 * HOUR_US:
            stop = min(end, start + int(rng.uniform(6, 14) * HOUR_US))
            out.append((start, stop))
            start = stop + int(rng.uniform(8, 16) * HOUR_US)
    chosen = sorted(rng.permutation(len(out))[:4].tolist())
    return [out[i] for i in chosen]


def _one(rng: np.random.Generator, kind: str, log: Log, span: tuple[int, int]) -> SensorFault:
    start, end = span
    live = [TORQUE, RPM, PENETRATION, SPEED, WATERS, BELT, *([] if log.plan.kind == SINGLE else [GRIPPER])]
    if kind == GAP:
        return SensorFault(kind, "", start, min(end, start + int(rng.uniform(0.7, 5) * HOUR_US)), 0.0)
    last = int(log.time_us[-1])
    if kind == CLOCK:
        return SensorFault(kind, "", start, last, float(rng.choice([3600, -3600, 900, -420, 7200])))
    if kind == DRIFT:
        channel = str(rng.choice([TORQUE, PENETRATION, SPEED]))
        return SensorFault(kind, channel, start, last, float(rng.choice([0.8, 0.85, 1.15, 1.25])))
    if kind == UNIT:
        channel, factor = UNITS[int(rng.integers(len(UNITS)))]
        return SensorFault(kind, channel, start, end, factor)
    if kind == RANGE:
        return SensorFault(kind, str(rng.choice(list(RAILS))), start, min(end, start + 4 * HOUR_US), 0.0)
    channels = [*live, THRUST] if kind == DEAD else live
    return SensorFault(kind, str(rng.choice(channels)), start, end, 0.0)


def _apply(
    rng: np.random.Generator,
    fault: SensorFault,
    times: tuple[NDArray[np.int64], NDArray[np.int64]],
    rows: dict[str, Floats],
    keep: NDArray[np.bool_],
) -> None:
    true_us, stamp_us = times
    at = np.flatnonzero((true_us >= fault.start_us) & (true_us <= fault.end_us))
    if fault.kind == GAP:
        keep[at] = False
        return
    if fault.kind == CLOCK:
        stamp_us[at] += int(1e6 * fault.amount)
        return
    values = rows[fault.channel]
    if fault.kind == STUCK:
        moving = at[np.abs(values[at]) > 0]
        values[at] = values[moving[0]] if len(moving) else 0.0
    elif fault.kind == DEAD:
        values[at] = np.nan if rng.random() < 0.5 else 0.0
    elif fault.kind == RANGE:
        hit = at[rng.random(len(at)) < 0.4]
        values[hit] = rng.choice(RAILS[fault.channel], len(hit))
    elif fault.kind == UNIT:
        values[at] = np.round(values[at] * fault.amount, 3)
    else:  # a calibration that runs away over half a day and stays there
        share = np.clip((true_us[at] - fault.start_us) / (12 * HOUR_US), 0, 1)
        values[at] = np.round(values[at] * (1 + (fault.amount - 1) * share), 2)
