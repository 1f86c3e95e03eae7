"""What a recorder shows of a drive's seconds: sensors, guidance, rates of logging, gaps."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.samples import Samples
from tbmreview.domain.states import State

Floats = NDArray[np.float64]
Seconds = dict[str, NDArray[Any]]


@dataclass(frozen=True)
class Sensors:
    """How a drive is logged.

    without: channels that are not. noise_mm: of one stroke sensor; cylinders: how many the log's stroke is the
    mean of. stroke_factor: reading over truth of both strokes (a misclosure where the chainage is true);
    chainage_factor: the same of the chainage (a misclosure where the strokes are true). saturates_mm: the main
    sensor shows no more. guidance: 'head' or 'rear' (the target's shield), 'none'; offset_m: target behind the
    face; step_mm, every_s: how coarse it is; creep_mm: how far it sinks back at rest; jumps: minutes in which it
    is 0.4 m off. rest: readings at rest (torque kNm, thrust kN). gaps: (stroke, 'bore' | 'reset' | 'stroke'):
    ten minutes of boring, the reset after it, the whole of it and the resets around. lost: share of rows missing.
    """

    sample_s: int = 1
    direction: int = 1
    chainage_m: float = 4180.0
    without: tuple[str, ...] = ()
    noise_mm: float = 2.0
    cylinders: int = 1
    stroke_factor: float = 1.0
    chainage_factor: float = 1.0
    saturates_mm: float | None = None
    guidance: str = "head"
    offset_m: float = 0.0
    step_mm: float = 4.0
    every_s: int = 10
    creep_mm: float = 0.0
    jumps: int = 0
    rest: tuple[float, float] = (-8.0, -40.0)
    gaps: tuple[tuple[int, str], ...] = ()
    lost: float = 0.0


def logged(s: Seconds, kind: str, sensors: Sensors, seed: int) -> tuple[Samples, NDArray[np.bool_]]:
    """The log of a drive's seconds, and which of them it records."""
    rng = np.random.default_rng([seed, 17])
    n = len(s["time_us"])
    hidden = np.zeros(n, bool)
    for stroke, what in sensors.gaps:
        hidden[slice(*_gap(s, stroke, what))] = True
    row = (np.arange(n) % sensors.sample_s == 0) & ~hidden & (rng.random(n) >= sensors.lost)
    values = {name: channel[row] for name, channel in _channels(s, kind, sensors, rng).items()}
    return Samples(s["time_us"][row], values), ~hidden


def _gap(s: Seconds, stroke: int, what: str) -> tuple[int, int]:
    """Seconds from .. to before which nothing was recorded."""
    bored = {
        k: np.flatnonzero((s["stroke"] == k) & (s["state"] == State.BORING)) for k in np.unique(s["stroke"])
    }
    here = bored[stroke]
    if what == "bore":
        middle = int(here[len(here) // 2])
        return middle - 300, middle + 300
    if what == "reset":
        return int(here[-200]), int(bored[stroke + 1][200])
    return int(bored[stroke - 1][-200]), int(bored[stroke + 1][200])


def _channels(s: Seconds, kind: str, sensors: Sensors, rng: np.random.Generator) -> dict[str, Floats]:
    n = len(s["time_us"])
    speed_mm_min = np.maximum(s["speed_mm_min"], 0)
    rest_kNm, rest_kN = sensors.rest
    turning = s["turning"]

    def read_mm(name: str) -> Floats:
        noise = sensors.noise_mm / np.sqrt(sensors.cylinders) * rng.standard_normal(n)
        return np.round(sensors.stroke_factor * s[name] + noise, 1)

    main_mm = read_mm("main_mm")
    if sensors.saturates_mm is not None:
        main_mm = np.minimum(main_mm, sensors.saturates_mm)
    out = {
        "main_thrust_kN": np.round(np.where(s["main_kN"] == 300.0, rest_kN, s["main_kN"]), 1),
        "main_stroke_mm": main_mm,
        "torque_kNm": np.round(np.where(turning, s["torque_kNm"], rest_kNm), 1),
        "head_speed_rpm": np.round(s["speed_rpm"], 2),
        "advance_speed_mm_min": np.round(speed_mm_min, 1),
        "penetration_mm_rev": np.round(
            np.where(turning, speed_mm_min / np.maximum(s["speed_rpm"], 0.1), 0), 2
        ),
    }
    if kind == "double shield":
        out |= {"aux_thrust_kN": np.round(s["aux_kN"], 1), "aux_stroke_mm": read_mm("aux_mm")}
    if kind != "single shield":
        out["gripper_pressure_bar"] = np.round(s["gripper_bar"] + rng.normal(0, 1, n), 1)
    if kind != "open gripper":
        out["ring_number"] = s["ring"].astype(np.float64)
    if sensors.guidance != "none":
        out["chainage_m"] = _guidance(s, sensors, rng)
    return {name: value for name, value in out.items() if name not in sensors.without}


def _guidance(s: Seconds, sensors: Sensors, rng: np.random.Generator) -> Floats:
    """The station of the target as the guidance shows it: late, coarse, creeping, jumping."""
    n = len(s["time_us"])
    at = s["head_m"] - (s["main_mm"] / 1000 if sensors.guidance == "rear" else 0.0)
    at = sensors.chainage_factor * at - sensors.offset_m
    moving = np.diff(s["head_m"], prepend=0.0) > 1e-6
    rested = np.arange(n) - np.maximum.accumulate(np.where(moving, np.arange(n), 0))
    at = at - sensors.creep_mm / 1000 * (1 - np.exp(-rested / 600))
    for begin in rng.integers(0, max(n - 60, 1), sensors.jumps):
        at[begin : begin + 60] += 0.4
    at = at[np.arange(n) // sensors.every_s * sensors.every_s]
    if sensors.step_mm:
        at = np.floor(1000 * at / sensors.step_mm) * sensors.step_mm / 1000
    return np.round(sensors.chainage_m + sensors.direction * at, 4)
