"""Boring itself: load and rock give penetration, penetration gives rolling force and so torque.

Net disc load and penetration obey ``load = load_at_1mm * p ** exponent``; torque is no-load torque
plus rolling force at 0.3 bore; advance is penetration times revolutions.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .noise import Noise
from .options import Machine
from .rock import Ground
from .tape import LOADING, STEADY, UNLOADING

Floats = NDArray[np.float64]
STREAMS = ("thrust", "face", "torque", "drag", "rpm")
CONTACT = 0.3  # share of the load that is there as soon as the discs bite


@dataclass(frozen=True)
class Cut:
    """One advance into the face without a stop."""

    start_s: int  # second of the drive
    face_m: float
    length_m: float
    drag_kN: float
    no_load: float  # this stroke's no-load torque over the usual
    load_s: int
    unload_s: int


def usual_no_load_kNm(rpm: Floats) -> Floats:
    """No-load torque: 180 kNm at 7.5 rpm, less where slower."""
    return 140 + 5.35 * rpm


def bore(
    machine: Machine, ground: Ground, noise: Noise, rng: np.random.Generator, cut: Cut
) -> dict[str, Floats]:
    """The seconds of a cut, each channel (n,): loading, steady, unloading."""
    travel_m = _expected_travel(ground, cut)
    n = len(travel_m)
    for _ in range(3):
        state = _forces(ground, noise, cut, cut.face_m + travel_m, _loading(n, cut.load_s))
        travel_m = (state["p_mm"] * state["rpm"] / 60_000).cumsum()
    speed_m_s = travel_m[-1] / n
    end = int(np.searchsorted(travel_m, cut.length_m - 0.4 * cut.unload_s * speed_m_s))
    x_m = cut.face_m + np.pad(travel_m[:end], (0, cut.unload_s), constant_values=cut.length_m)
    ramp = np.concatenate([_loading(end, cut.load_s), np.linspace(1, CONTACT, cut.unload_s)])
    return _signals(machine, ground, rng, cut, _forces(ground, noise, cut, x_m, ramp))


def _expected_travel(ground: Ground, cut: Cut) -> Floats:
    """Bored length second by second without noise, a little beyond the cut's end, (n,) m."""
    x_m = np.arange(0.0, 1.25 * cut.length_m + 0.1, 0.01)
    place = cut.face_m + x_m
    load = ground.at("target_kN", place) / np.exp(ground.at("log_load", place))
    speed = load ** (1 / ground.at("exponent", place)) * ground.at("rpm", place) / 60_000
    at_s = np.concatenate([[0.0], (0.01 / speed[:-1]).cumsum()]) + 0.65 * cut.load_s
    return np.asarray(np.interp(np.arange(int(at_s[-1])), at_s, x_m), float)


def _loading(n: int, load_s: int) -> Floats:
    return np.asarray(
        np.minimum(1.0, np.linspace(CONTACT, CONTACT + (1 - CONTACT) * n / load_s, n, endpoint=False)), float
    )


def _forces(ground: Ground, noise: Noise, cut: Cut, x_m: Floats, ramp: Floats) -> dict[str, Floats]:
    n = len(x_m)
    near = {name: noise.take(name, cut.start_s, n) for name in STREAMS}
    rpm = ground.at("rpm", x_m) * (1 + 0.004 * near["rpm"])
    turn = np.sin(2 * np.pi * (rpm / 60).cumsum())
    load = ground.at("target_kN", x_m) * ramp * (1 + ground.at("thrust_noise", x_m) * near["thrust"])
    face = ground.at("face_noise", x_m) * (0.9 * near["face"] + 0.6 * turn)
    p_mm = (load / np.exp(ground.at("log_load", x_m) + face)) ** (1 / ground.at("exponent", x_m))
    return {"x_m": x_m, "rpm": rpm, "turn": turn, "load_kN": load, "p_mm": p_mm,
            "rough": near["torque"], "drag": near["drag"]}  # fmt: skip


def _signals(machine: Machine, ground: Ground, rng: np.random.Generator, cut: Cut,
             state: dict[str, Floats]) -> dict[str, Floats]:  # fmt: skip
    x_m, p_mm, rpm = state["x_m"], state["p_mm"], state["rpm"]
    n = len(x_m)
    net_kN = machine.discs * state["load_kN"]
    rolling = ground.at("rolling", x_m) * np.sqrt(p_mm / (machine.disc_mm - p_mm))
    rough = 1 + ground.at("torque_noise", x_m) * (0.85 * state["rough"] + 0.6 * state["turn"])
    no_load = usual_no_load_kNm(rpm) * cut.no_load
    torque = no_load + machine.lever * machine.bore_m * net_kN * rolling * np.maximum(rough, 0.25)
    torque += _spikes(rng, ground.at("spikes_per_s", x_m), ground.at("spike_kNm", x_m))
    drag = cut.drag_kN * (1 + 0.03 * state["drag"])
    phase = np.full(n, float(STEADY))
    phase[: cut.load_s] = LOADING
    phase[n - cut.unload_s :] = UNLOADING
    return {
        "face_mm_s": p_mm * rpm / 60, "rpm": rpm, "torque_kNm": torque, "push_kN": net_kN + drag,
        "drag_kN": drag, "no_load_kNm": no_load, "phase": phase,
        "thrust_set_kN": np.round(machine.discs * ground.at("target_kN", x_m) + cut.drag_kN, -2),
        "rpm_set": np.round(ground.at("rpm", x_m), 1),
    }  # fmt: skip


def _spikes(rng: np.random.Generator, per_s: Floats, size_kNm: Floats) -> Floats:
    """Blocks that catch the head: sudden torque that dies away within seconds."""
    hits = (rng.random(len(per_s)) < per_s) * size_kNm * rng.uniform(0.75, 1.1, len(per_s))
    return np.convolve(hits, np.exp(-np.arange(16) / 3.5))[: len(per_s)]
