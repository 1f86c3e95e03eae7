"""Uncertainty of every indicator, from the accuracy of the sensors and the spread of drag and no-load torque.

First order, as JCGM 100 (GUM) 5.1: each input is moved a little, the sums with it, and what the indicator does is
its sensitivity. What is off alike in every reading (systematic) does not average out and is kept apart from what
changes from reading to reading (random), which shrinks with the root of the samples. Inputs are independent of
each other; all that came through one sensor moves together.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from tbmreview.domain.setup import Accuracy, Machine
from tbmreview.indicators.load import NORMAL_95
from tbmreview.indicators.record import Floats, Sums, ratio
from tbmreview.indicators.registry import BY_NAME, INDICATORS, INTERVALS, indicator_columns

PIECES = "stroke_pieces"  # beside the sums: in how many pieces of strokes the interval was bored, (n,)
STEP = 1e-4  # share of an input, or of its standard deviation, by which it is moved
NONE = 1e-7  # a relative sensitivity below it is rounding: the indicator does not depend on the input
UNCERTAIN = tuple(i.name for i in INDICATORS if i not in INTERVALS)  # the others are intervals themselves

THRUST = {"thrust_kN_s": 1, "thrust_work_kJ": 1}
TORQUE = {"torque_kNm_s": 1, "torque_work_kJ": 1, "torque_kNm2_s": 2, "torque_step_kNm2_s": 2}
HEAD_SPEED = {
    "revolutions": 1,
    "torque_revolutions": 1,
    "torque_work_kJ": 1,
    "no_load_work_kJ": 1,
    "penetration_mm_rev_s": -1,
    "penetration_mm2_rev2_s": -2,
    "penetration_step_mm2_rev2_s": -2,
}
STROKE = {
    "advance_m": 1,
    "unrecorded_advance_m": 1,
    "turned_advance_m": 1,
    "thrust_advance_m": 1,
    "torque_advance_m": 1,
    "thrust_work_kJ": 1,
    "drag_work_kJ": 1,
    "ring_reacted_advance_m": 1,
    "known_reaction_advance_m": 1,
    "steady_advance_m": 1,
    "phased_advance_m": 1,
    "penetration_mm_rev_s": 1,
    "penetration_mm2_rev2_s": 2,
    "penetration_step_mm2_rev2_s": 2,
}


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Standard uncertainties (n,) in the indicator's unit; NaN where an input's accuracy is not given. lacks: the
    sensors on which it depends anywhere and whose accuracy is not given."""

    systematic: Floats
    random: Floats
    lacks: tuple[str, ...] = ()

    @property
    def u95(self) -> Floats:
        """Half-width of the 95 % interval, (n,), of both parts together."""
        return NORMAL_95 * np.hypot(self.systematic, self.random)

    @property
    def u95_random(self) -> Floats:
        """The same of the random part alone, (n,): by so much intervals of one machine differ by chance."""
        return NORMAL_95 * self.random


Moved = Callable[[Sums, Machine, float], tuple[Sums, Machine]]


@dataclass(frozen=True, slots=True)
class _Input:
    """An input: the sensor, how sums and machine are when it is off by a number of units, and its standard
    deviations in that unit, systematic (NaN: not given) and random."""

    name: str
    moved: Moved
    systematic: float
    random: Floats | float


def uncertainties(
    sums: Sums, machine: Machine, accuracy: Accuracy, names: Iterable[str] = UNCERTAIN
) -> dict[str, Uncertainty]:
    """Uncertainty of indicators, by default of all but intervals, by name. sums: with PIECES; (n,) each."""
    wanted = tuple(BY_NAME[name] for name in names)
    values = indicator_columns(sums, machine, wanted)
    systematic = {name: np.where(np.isnan(values[name]), np.nan, 0.0) for name in values}
    random = {name: systematic[name].copy() for name in values}
    lacks: dict[str, tuple[str, ...]] = dict.fromkeys(values, ())
    for one in _inputs(sums, machine, accuracy):
        up, down = (indicator_columns(*one.moved(sums, machine, step), wanted) for step in (STEP, -STEP))
        for name in values:
            slope = (up[name] - down[name]) / (2 * STEP)
            still = np.abs(slope) <= NONE * np.abs(values[name])
            systematic[name] += np.where(still, 0.0, (slope * one.systematic) ** 2)
            random[name] += np.where(still, 0.0, (slope * one.random) ** 2)
            if np.isnan(one.systematic) and not np.all(still | np.isnan(slope)):
                lacks[name] = (*lacks[name], one.name)
    out = {}
    for name in values:
        parts = _both_known(systematic[name], random[name])
        out[name] = Uncertainty(np.sqrt(parts[0]), np.sqrt(parts[1]), lacks[name])
    return out


def _both_known(systematic: Floats, random: Floats) -> tuple[Floats, Floats]:
    known = np.isfinite(systematic) & np.isfinite(random)
    return np.where(known, systematic, np.nan), np.where(known, random, np.nan)


def _inputs(sums: Sums, machine: Machine, accuracy: Accuracy) -> list[_Input]:
    a = accuracy
    thrust = _of_samples(a.thrust_random_percent, sums, "thrust_s")
    sampling = ratio(np.sqrt(sums["thrust_var_kN2_s2"]), sums["thrust_kN_s"])
    torque = _of_samples(a.torque_random_percent, sums, "torque_s")
    speed = _of_samples(a.head_speed_random_percent, sums, "turned_s")
    ends_m = a.stroke_random_mm / 1000 * np.sqrt(2 * sums[PIECES])
    stroke = ratio(ends_m, sums["advance_m"] - sums["unrecorded_advance_m"])
    return [
        _Input("thrust", _scaled(THRUST), _share(a.thrust_systematic_percent), np.hypot(thrust, sampling)),
        _Input("torque", _scaled(TORQUE), _share(a.torque_systematic_percent), torque),
        _Input("head speed", _scaled(HEAD_SPEED), _share(a.head_speed_systematic_percent), speed),
        _Input("stroke", _scaled(STROKE), _share(a.stroke_systematic_percent), stroke),
        _Input("bore", _wider_bore, np.nan if a.bore_systematic_mm is None else a.bore_systematic_mm, 0.0),
        _Input("drag", _more_drag, 1.0, 0.0),
        _Input("no-load torque", _more_no_load, 1.0, 0.0),
    ]


def _share(percent: float | None) -> float:
    return np.nan if percent is None else percent / 100


def _of_samples(percent: float, sums: Sums, measured_s: str) -> Floats:
    """Relative random deviation of a mean over the samples measured, (n,)."""
    samples = sums["samples"] * ratio(sums[measured_s], sums["boring_s"])
    return ratio(np.full(len(samples), percent / 100), np.sqrt(samples))


def _scaled(powers: Mapping[str, int]) -> Moved:
    def moved(sums: Sums, machine: Machine, step: float) -> tuple[Sums, Machine]:
        return {**sums, **{name: sums[name] * (1 + step) ** power for name, power in powers.items()}}, machine

    return moved


def _wider_bore(sums: Sums, machine: Machine, step: float) -> tuple[Sums, Machine]:
    return sums, replace(machine, bore_diameter_m=machine.bore_diameter_m + step / 1000)


def _more_drag(sums: Sums, machine: Machine, step: float) -> tuple[Sums, Machine]:
    more = step * sums["drag_sd_kN_s"]
    work = more * np.nan_to_num(ratio(sums["thrust_advance_m"], sums["thrust_s"]))
    return {
        **sums,
        "drag_kN_s": sums["drag_kN_s"] + more,
        "drag_work_kJ": sums["drag_work_kJ"] + work,
    }, machine


def _more_no_load(sums: Sums, machine: Machine, step: float) -> tuple[Sums, Machine]:
    more = step * sums["no_load_sd_kNm_s"]
    angle = 2 * np.pi * np.nan_to_num(ratio(sums["torque_revolutions"], sums["torque_s"]))
    return {
        **sums,
        "no_load_kNm_s": sums["no_load_kNm_s"] + more,
        "no_load_work_kJ": sums["no_load_work_kJ"] + more * angle,
    }, machine
