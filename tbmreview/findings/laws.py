"""The laws of the machine sample by sample: the ratio of what two readings of one thing say, while it bores.

v = n p and P = 2 pi n T / 60 are products of mechanics, a stroke is the integral of a speed, a force is an area
times a pressure: each ratio is constant, of the first kinds 1 (an electrical power may be up to a quarter off).
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tbmreview.findings.at_work import AtWork
from tbmreview.findings.detector import Flags, Floats

WINDOW_S, SAMPLES = 120.0, 12  # over which a step of a stroke is held against a speed, at least
EVEN = 1.5  # times that, a window has a gap in it


@dataclass(frozen=True, slots=True)
class Law:
    """name: how it is written. terms: channels with their powers in the ratio. low, high: what the ratio may be;
    NaN where it is a constant that nobody states (the area of cylinders). over: compared over windows."""

    name: str
    terms: Mapping[str, int]
    low: float
    high: float
    over: bool = False

    @property
    def fixed(self) -> bool:
        """Whether the ratio is known beforehand."""
        return bool(np.isfinite(self.low))


N, P, V, T, W = (
    "head_speed_rpm",
    "penetration_mm_rev",
    "advance_speed_mm_min",
    "torque_kNm",
    "head_power_kW",
)
LAWS = (
    Law("v = n p", {V: 1, N: -1, P: -1}, 0.87, 1.15),
    Law("P = 2 pi n T", {W: 1, N: -1, T: -1}, 0.75, 1.15),
    Law("main thrust = area x pressure", {"main_thrust_kN": 1, "main_pressure_bar": -1}, np.nan, np.nan),
    Law("auxiliary thrust = area x pressure", {"aux_thrust_kN": 1, "aux_pressure_bar": -1}, np.nan, np.nan),
    Law("gripper force = area x pressure", {"gripper_force_kN": 1, "gripper_pressure_bar": -1}, np.nan, np.nan),
    Law("main stroke step = v dt", {"main_stroke_mm": 1, V: -1}, 0.87, 1.15, over=True),
    Law("auxiliary stroke step = v dt", {"aux_stroke_mm": 1, V: -1}, 0.87, 1.15, over=True),
    Law("belt total step = belt rate dt", {"belt_total_t": 1, "belt_rate_t_h": -1}, 0.87, 1.15, over=True),
)  # fmt: skip
_UNIT = {"P = 2 pi n T": 60 / (2 * np.pi), "belt total step = belt rate dt": 60.0}  # of a rate in minutes


def ratios(law: Law, work: AtWork) -> Floats | None:
    """The law's ratio at each sample (n,), NaN where the machine does not bore by other channels or a reading is
    missing; None where the log lacks one of them."""
    if any((_rate(work, name) if law.over else work.values.get(name)) is None for name in law.terms):
        return None
    judged = work.without(law.terms)
    for name in law.terms:
        if name in work.rising or name.startswith(("main_", "aux_", "gripper_")):
            judged = judged & _pushed(work, name)
    ratio = _stepped(law, work, judged) if law.over else _product(law, work, judged)
    return ratio * _UNIT.get(law.name, 1.0)


def _rate(work: AtWork, name: str) -> Floats | None:
    """A channel; the speed of a log that has none is penetration times head speed."""
    if name != V or V in work.values:
        return work.values.get(name)
    per_turn, turns = work.values.get(P), work.values.get(N)
    return None if per_turn is None or turns is None else per_turn * np.abs(turns)


def _pushed(work: AtWork, channel: str) -> Flags | bool:
    main, aux = work.rising["main_stroke_mm"], work.rising["aux_stroke_mm"]
    if channel.startswith("aux_"):
        return (True if main is None else ~main) & (True if aux is None else aux)
    return main if main is not None else ~aux if aux is not None else True


def _product(law: Law, work: AtWork, judged: Flags) -> Floats:
    ratio = np.ones(len(judged))
    with np.errstate(divide="ignore", invalid="ignore"):
        for name, power in law.terms.items():
            size = np.abs(work.values[name])
            ratio *= size if power > 0 else 1 / size
    return np.where(judged & np.isfinite(ratio) & (ratio > 0), ratio, np.nan)


def _stepped(law: Law, work: AtWork, judged: Flags) -> Floats:
    """Change of the first over the integral of the second [per min], over windows that follow each other."""
    amount, rate = (_rate(work, name) for name in law.terms)
    if amount is None or rate is None:
        return np.full(len(judged), np.nan)
    seconds = work.seconds
    out = np.full(len(seconds), np.nan)
    if len(seconds) < SAMPLES:
        return out
    window_s = max(WINDOW_S, SAMPLES * float(np.median(np.diff(seconds))))
    starts = np.arange(np.floor(seconds[0] / window_s), np.ceil(seconds[-1] / window_s) + 1) * window_s
    edges = np.unique(np.searchsorted(seconds, starts))
    edges = np.minimum(edges, len(seconds) - 1)
    use = judged & np.isfinite(rate) & (rate > 0)
    known = np.where(use, rate, 0.0)
    total = np.concatenate([[0.0], np.cumsum((known[1:] + known[:-1]) / 2 * np.diff(seconds) / 60)])
    used = np.concatenate([[0], np.cumsum(use)])
    first, last = edges[:-1], edges[1:]
    whole = (used[last + 1] - used[first] == last - first + 1) & (last - first > 1)
    whole &= seconds[last] - seconds[first] <= EVEN * window_s
    integral = total[last] - total[first]
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = (amount[last] - amount[first]) / integral
    good = whole & np.isfinite(ratio) & (ratio > 0)
    for i, j, value in zip(first[good].tolist(), last[good].tolist(), ratio[good].tolist(), strict=True):
        out[i:j] = value
    return out
