"""What the machine's logger writes: the truth through sensors, rounded to print steps."""

import numpy as np
import pandas as pd

from .noise import lasting
from .options import DOUBLE_SHIELD, OPEN_GRIPPER, SINGLE_SHIELD, Options
from .rock import Ground
from .tape import BORING, REGRIP

ZERO_MM = -5.0  # the main stroke sensors' zero is off: closed cylinders read below nothing
BELT_LAG_S = 95
ROCK_T_M3 = 2.70
GUIDANCE_S = 4  # the guidance speaks every so many seconds, in steps of 1/256 m

# key -> decimals of the print step; None: 1/256 m. The order is that of the log.
STEPS: dict[str, int | None] = {
    "main_kN": 0, "aux_kN": 0, "main_bar": 1, "aux_bar": 1, "main_mm": 1, "aux_mm": 1, "torque_kNm": 0,
    "rpm": 2, "penetration": 2, "speed": 1, "power_kW": 0, "gripper_bar": 0, "chainage": None, "ring": 0,
    "belt_t_h": 0, "belt_t": 1, "water": 0, "pitch": 1, "roll": 1, "rpm_set": 1, "thrust_set": 0,
    "oil_C": 1, "methane": 1, "spare": 0,
}  # fmt: skip
NOT_THERE = {
    OPEN_GRIPPER: ("aux_kN", "aux_bar", "aux_mm", "ring"),
    SINGLE_SHIELD: ("aux_kN", "aux_bar", "aux_mm", "gripper_bar"),
    DOUBLE_SHIELD: (),
}


def readings(
    seconds: pd.DataFrame, ground: Ground, options: Options, rng: np.random.Generator
) -> pd.DataFrame:
    """The log: a row a second, columns in the order of STEPS, less what the machine has not."""
    n = len(seconds)
    out = {**_cylinders(seconds, options, rng), **_head(seconds, rng), **_site(seconds, ground, options, rng)}
    out["chainage"] = _guidance(seconds, options, rng)
    out["speed"] = np.where(_pushing(seconds), _push_rate(seconds) * 60 * (1 + options.misclosure), 0.0)
    out["speed"] = np.maximum(0, out["speed"] * (1 + 0.015 * rng.standard_normal(n)))
    turning = seconds["rpm"].to_numpy() > 0.2
    out["penetration"] = np.where(turning, out["speed"] / np.where(turning, out["rpm"], 1.0), 0.0)
    left_out = {*NOT_THERE[options.kind], *options.without}
    rounded = {k: _rounded(out[k], d) for k, d in STEPS.items() if k not in left_out}
    return pd.DataFrame(rounded, index=seconds.index)


def _rounded(values: np.ndarray, decimals: int | None) -> np.ndarray:
    if decimals is None:
        return np.round(values * 256) / 256
    return np.round(values, decimals) + 0.0  # no minus zero


def _push_rate(seconds: pd.DataFrame) -> np.ndarray:
    """Extension of the set that pushes, mm/s."""
    return np.where(seconds["main_kN"].notna(), seconds["main_mm_s"], seconds["rear_mm_s"])


def _pushing(seconds: pd.DataFrame) -> np.ndarray:
    """Boring, free advance or slip: whenever the pushing set extends."""
    return ((seconds["state"] != REGRIP) & (_push_rate(seconds) > 0)).to_numpy()


def _cylinders(s: pd.DataFrame, options: Options, rng: np.random.Generator) -> dict[str, np.ndarray]:
    n, m = len(s), options.machine
    on_ring = s["aux_kN"].notna() & s["main_kN"].isna() & (s["state"] != REGRIP)
    braced = (s["reaction"] == 1).to_numpy()
    hold = s["contact"].to_numpy() * (1380 + 45 * lasting(rng, n, 2000) + 12 * rng.standard_normal(n))
    aux = s["aux_kN"].fillna(pd.Series(hold, s.index)).to_numpy()
    left = 70 + 25 * lasting(rng, n, 900)  # what stays in mains that do nothing
    bottomed = np.abs(1500 + 500 * lasting(rng, n, 4000)) + 0.16 * np.where(on_ring, aux, 0.0)
    main = s["main_kN"].fillna(pd.Series(np.where(braced, left, bottomed), s.index)).to_numpy()
    scale = 1 + options.misclosure
    spread = options.stroke_noise_mm
    main_mm = 1000 * s["main_m"].to_numpy() * scale + ZERO_MM + spread * rng.standard_normal(n)
    aux_mm = 1000 * s["aux_m"].to_numpy() * scale + 3.0 + spread * rng.standard_normal(n)
    if options.kind == SINGLE_SHIELD:
        main, main_mm = aux, aux_mm
    main_bar = np.round(main / (100 * m.main_area_m2) + 0.12 * rng.standard_normal(n), 1)
    aux_bar = np.round(aux / (100 * m.aux_area_m2) + 0.10 * rng.standard_normal(n), 1)
    return {
        "main_kN": 100 * m.main_area_m2 * main_bar, "aux_kN": 100 * m.aux_area_m2 * aux_bar,
        "main_bar": main_bar, "aux_bar": aux_bar, "main_mm": main_mm, "aux_mm": aux_mm,
        "gripper_bar": s["gripper_bar"].to_numpy() + 0.6 * lasting(rng, n, 60),
    }  # fmt: skip


def _head(s: pd.DataFrame, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Torque rests below zero when the drive is off; power is 2 pi n T over 0.997."""
    n = len(s)
    turning = s["rpm"].to_numpy() > 0.0
    torque = np.where(turning, s["torque_kNm"].to_numpy() * (1 + 0.004 * rng.standard_normal(n)),
                      -6 + 2.5 * lasting(rng, n, 30))  # fmt: skip
    power = 2 * np.pi / 60 * s["rpm"].to_numpy() * torque / 0.997 * (1 + 0.002 * rng.standard_normal(n))
    return {
        "rpm": s["rpm"].to_numpy(), "torque_kNm": torque, "power_kW": np.where(turning, power, -3.0),
        "rpm_set": _held(s["rpm_set"]), "thrust_set": _held(s["thrust_set_kN"]),
    }  # fmt: skip


def _held(values: pd.Series) -> np.ndarray:
    """A set-point stays until the next."""
    return values.where(values > 0).ffill().fillna(0.0).to_numpy()


def _site(
    s: pd.DataFrame, ground: Ground, options: Options, rng: np.random.Generator
) -> dict[str, np.ndarray]:
    n, m = len(s), options.machine
    face = s["position_m"].to_numpy()
    mass = np.where(s["state"] == BORING, s["face_mm_s"] / 1000, 0.0) * m.face_m2 * ROCK_T_M3
    ring_factor = rng.normal(1, 0.03, int(s["stroke"].max()) + 2)[s["stroke"].to_numpy()]
    mass = mass * ring_factor * ground.at("muck", face)
    late = np.concatenate([np.zeros(BELT_LAG_S), mass])[:n]
    rate = pd.Series(late).ewm(alpha=1 / 12, adjust=False).mean().to_numpy()
    seen = rate * 3600 * (1 + 0.04 * rng.standard_normal(n)) * (rate > 1e-5)
    water = 18 + pd.Series(ground.at("water_l_min", face)).ewm(alpha=1 / 900, adjust=False).mean().to_numpy()
    heat = pd.Series(s["torque_kNm"].to_numpy()).ewm(alpha=1 / 2400, adjust=False).mean().to_numpy()
    return {
        "belt_t_h": seen, "belt_t": 152_340 + np.round(seen / 3600, 5).cumsum(),
        "ring": s["ring"].to_numpy(), "water": water * (1 + 0.03 * lasting(rng, n, 600)),
        "pitch": 2.0 + 0.8 * lasting(rng, n, 20_000), "roll": -1.5 + 1.2 * lasting(rng, n, 9000),
        "oil_C": 31 + 0.014 * heat, "methane": np.zeros(n), "spare": np.full(n, -1.0),
    }  # fmt: skip


def _guidance(s: pd.DataFrame, options: Options, rng: np.random.Generator) -> np.ndarray:
    """Chainage of the head as the guidance gives it: coarse, late, and jumping or creeping if asked."""
    n = len(s)
    head = s["head_m"].to_numpy()
    moved = np.r_[True, np.abs(np.diff(head)) > 1e-7]
    rest_s = np.arange(n) - np.maximum.accumulate(np.where(moved, np.arange(n), 0))
    head = head - options.creep_mm / 1000 * np.minimum(1.0, rest_s / 1800)
    for at in rng.integers(n // 10, n, options.jumps):
        head = head + np.where(np.arange(n) >= at, rng.choice([-0.2, 0.2]), 0.0)
    ticks = np.arange(0, n, GUIDANCE_S)
    wobble = 0.0012 * lasting(rng, len(ticks), 200)
    seen = options.chainage_m + options.direction * (head[ticks] + wobble)
    return np.repeat(seen, GUIDANCE_S)[:n]
