"""Rows of an invented drive's log, from the segments of its tape."""

from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from tests.support.invented_ground import DOUBLE, GRID_M, SINGLE, Floats, Ground, Plan
from tests.support.invented_log import BELT_LAG_S, DENSITY, START_US, Cut, Log

RESTING_KN, HOLDING_KN = 300.0, 1100.0


class Tape(Protocol):
    plan: Plan
    ground: Ground
    cut: Cut
    segments: list[tuple[float, float, dict[str, Any]]]
    t: float


def rows_of(tape: Tape) -> Log:
    """What a recorder shows of the segments, with noise of its sensors."""
    plan = tape.plan
    rng = np.random.default_rng([plan.seed, 7])
    seconds = np.arange(0, tape.t - 1, plan.interval_s, dtype=np.float64)
    n = len(seconds)
    out = {
        name: np.zeros(n) for name in ("rpm", "torque", "speed", "mm_rev", "gripper", "ring", "main", "aux")
    }
    out |= {"main_kN": np.full(n, RESTING_KN), "aux_kN": np.full(n, HOLDING_KN), "head": np.zeros(n)}
    out |= {"muck": np.ones(n), "water": np.zeros(n), "face": np.zeros(n)}
    head = 0.0
    starts = np.searchsorted(seconds, [start for start, _, _ in tape.segments])
    for (begin, end, values), a, b in zip(tape.segments, starts, [*starts[1:], n], strict=True):
        share = (seconds[a:b] - begin) / (end - begin)
        _fill(out, slice(a, b), share, values)
        if "steps" in values:
            head = _bore(tape, out, slice(a, b), (seconds[a:b] - begin, share), values)
        else:
            moved = values.get("head", 0.0) / 1000
            out["head"][a:b] = head + share * moved
            head += moved
    out["face"] = np.maximum.accumulate(out["head"])
    return Log(
        plan,
        tape.ground,
        tape.cut,
        START_US + (seconds * 1e6).astype(np.int64),
        _channels(tape, out, rng),
        out["face"],
    )


def _fill(out: dict[str, Floats], part: slice, share: Floats, values: dict[str, Any]) -> None:
    for name in ("main", "aux"):
        low, high = values[name]
        out[name][part] = low + share * (high - low)
    for name in ("rpm", "torque", "gripper", "ring"):
        out[name][part] = values.get(name, 0.0)
    if "push" in values:
        by_aux, kN = values["push"]
        force = np.full(len(share), kN)
        if "starts" in values and len(force):
            force[:1] = values["starts"]
        out["aux_kN" if by_aux else "main_kN"][part] = force
    if "drawn" in values:
        out["main_kN"][part], out["aux_kN"][part] = -150.0, values["drawn"]
    out["speed"][part] = values.get("forward", 0.0)
    out["mm_rev"][part] = values.get("forward", 0.0) / max(values.get("rpm", 0.0), 0.1)


def _bore(
    tape: Tape, out: dict[str, Floats], part: slice, when: tuple[Floats, Floats], values: dict[str, Any]
) -> float:
    """Rows while boring; returns where the head ends up [m]."""
    cut, (a, b), k = tape.cut, values["steps"], values["k"]
    since, _ = when
    begin = float(cut.after_s[a - 1]) if a else 0.0
    done = cut.after_s[a:b] - begin
    step = np.minimum(a + np.searchsorted(done, since), b - 1)
    way = np.interp(since, np.r_[0.0, done], np.arange(b - a + 1) * GRID_M)
    by_aux = values["by_aux"]
    name = "aux" if by_aux else "main"
    out[name][part] = values[name][0] + 1000 * way
    if not by_aux:
        to_go, before_s, whole_s = values["beside"]
        out["aux"][part] -= _beside(to_go, before_s + since, whole_s)
    kN = cut.drag_kN[k] + tape.plan.machine["discs"] * cut.load_kN[step]
    out["aux_kN" if by_aux else "main_kN"][part] = kN
    if by_aux:
        out["main_kN"][part] = 900.0
    out["rpm"][part], out["torque"][part] = cut.rpm[step], cut.torque_kNm[step]
    out["mm_rev"][part] = cut.mm_rev[step]
    out["speed"][part] = cut.mm_rev[step] * cut.rpm[step]
    out["muck"][part] = tape.ground.muck[step]
    out["head"][part] = a * GRID_M + way
    return float(b * GRID_M)


def _beside(to_go: float, t: Floats, whole_s: float) -> Floats:
    """How far the pads have come in while a ring is built beside boring [mm]."""
    gone = np.zeros(len(t))
    for g in range(6):
        at = 60 + g * max(40.0, (whole_s - 120) / 6)
        gone += (to_go / 6 + 12) * np.clip((t - at) / 20, 0, 1) - 12 * np.clip((t - at - 30) / 6, 0, 1)
    return gone


def _channels(tape: Tape, out: dict[str, Floats], rng: np.random.Generator) -> dict[str, Floats]:
    plan, n = tape.plan, len(out["rpm"])
    turning = out["rpm"] > 0

    def noisy(x: Floats, share: float, fixed: float, decimals: int) -> Floats:
        return np.round(x * (1 + share * rng.standard_normal(n)) + fixed * rng.standard_normal(n), decimals)

    rpm = np.where(turning, noisy(out["rpm"], 0.004, 0.0, 2), 0.0)
    torque = np.where(turning, noisy(out["torque"], 0.015, 3.0, 0), np.round(rng.normal(-5, 2, n)))
    place = np.minimum((out["face"] / GRID_M).astype(np.int64), len(tape.ground.place_m) - 1)
    area = np.pi / 4 * plan.machine["bore_m"] ** 2
    lag = BELT_LAG_S // plan.interval_s
    belt = DENSITY * area * out["speed"] / 1000 * 60 * out["muck"] * (out["mm_rev"] > 0)
    belt = np.r_[np.zeros(lag), belt[:-lag]]
    rows = {
        "Main thrust [kN]": noisy(out["main_kN"], 0.004, 8.0, 0),
        "Main stroke [mm]": noisy(out["main"], 0.0, 0.6, 0),
        "Torque [kNm]": torque,
        "Head speed [rpm]": rpm,
        "Penetration [mm/rev]": np.where(turning, noisy(out["mm_rev"], 0.01, 0.02, 2), 0.0),
        "Advance speed [mm/min]": np.where(turning, np.maximum(noisy(out["speed"], 0.01, 0.1, 1), 0), 0.0),
        "Head power [kW]": np.where(turning, np.round(2 * np.pi * rpm * torque / 60), 0.0),
        "Chainage [m]": np.round(4180 + out["head"] + rng.normal(0, 0.002, n), 3),
        "Belt rate [t/h]": np.maximum(noisy(belt * (belt > 0), 0.06, 1.0, 0), 0),
        "Water inflow [l/min]": np.maximum(noisy(tape.ground.water_l_min[place], 0.05, 2.0, 0), 0),
    }
    if plan.kind == DOUBLE:
        rows |= {
            "Aux. thrust [kN]": noisy(out["aux_kN"], 0.004, 8.0, 0),
            "Aux. stroke [mm]": noisy(out["aux"], 0.0, 0.6, 0),
        }
    if plan.kind != SINGLE:
        rows["Gripper pressure [bar]"] = noisy(out["gripper"], 0.0, 1.0, 0)
    if plan.kind in (SINGLE, DOUBLE):
        rows["Ring no."] = out["ring"].astype(np.float64)
    return rows


def stamps(time_us: NDArray[np.int64]) -> NDArray[np.datetime64]:
    """Instants as numpy has them."""
    return time_us.astype("datetime64[us]")
