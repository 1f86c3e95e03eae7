"""Channels that are at fault for hours: motion goes by the others, and comes back when the fault is over."""

from functools import cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from support.truth import DOUBLE, DRAG_KN, FREE_KNM, OPEN, SINGLE, Event, Plan, Truth, make_truth
from support.truth_log import Sensors

from tbmreview.domain.samples import Samples
from tbmreview.domain.states import State
from tbmreview.motion.carry import Carry
from tbmreview.motion.record import record_of
from tbmreview.motion.reduce import Reduced, reduce_window

SPEED, FAULT = "advance_speed_mm_min", (3, 8)  # strokes from .. to before which a channel is at fault
STROKES = 14


@cache
def truth(no_load_kNm: float | None = FREE_KNM) -> Truth:
    backs = tuple(Event(k, "back", 36) for k in range(1, STROKES))
    return make_truth(Plan(OPEN, STROKES, stroke_mm=500, events=backs), no_load_torque_kNm=no_load_kNm)


def with_fault(made: Truth, late_s: int = 0, **changed: Any) -> Reduced:
    """The drive read with channels changed by functions of their values in the strokes at fault, or from and to so
    much later."""
    start = made.strokes["start_us"] + 1_000_000 * late_s
    values: dict[str, NDArray[np.float64]] = dict(made.samples.values)
    time_us = made.samples.time_us
    at = (time_us >= start[FAULT[0]]) & (time_us < start[FAULT[1]])
    for name, change in changed.items():
        values[name] = np.where(at, change(values[name]), values[name])
    return reduce_window(Samples(time_us, values), Carry(), made.setup)


@pytest.mark.parametrize("no_load_kNm", [FREE_KNM, None, 10 * FREE_KNM, 0.1 * FREE_KNM], ids=str)
@pytest.mark.parametrize("factor", [0.001, 0.1, 1000.0])
def test_no_load_torque_recovers_from_hours_on_another_scale(
    factor: float, no_load_kNm: float | None
) -> None:
    made = truth(no_load_kNm)
    strokes = with_fault(made, torque_kNm=lambda kNm: factor * kNm).strokes
    away = np.r_[0 : FAULT[1] - FAULT[0]] + FAULT[0]
    right = np.r_[0 : FAULT[0], FAULT[1] + 2 : STROKES]  # without a true constant two strokes may be needed
    if no_load_kNm == FREE_KNM:
        right = np.r_[0 : FAULT[0], FAULT[1] : STROKES]
    if no_load_kNm == 0.1 * FREE_KNM:
        right = right[right >= 2]
    shown = strokes["no_load_torque_kNm"]
    assert len(strokes) == STROKES
    assert shown[right] == pytest.approx(np.full(len(right), FREE_KNM), rel=0.03)
    assert strokes["drag_kN"][right[right > 0]] == pytest.approx(DRAG_KN, rel=0.03)
    assert strokes["advance_m"][right] == pytest.approx(made.strokes["advance_m"][right], abs=0.003)
    assert not np.isclose(shown[away], FREE_KNM, rtol=0.5).any()


@pytest.mark.parametrize("factor", [0.001, 1000.0])
@pytest.mark.parametrize("late_s", [550, 750])
def test_torque_on_another_scale_from_within_a_stroke_costs_no_advance(factor: float, late_s: int) -> None:
    made = truth()
    bored = made.seconds["state"][np.flatnonzero(made.seconds["stroke"] == FAULT[1])[0] + late_s]
    assert bored == State.BORING
    strokes = with_fault(made, late_s, torque_kNm=lambda kNm: factor * kNm).strokes
    assert strokes["advance_m"] == pytest.approx(
        made.strokes["advance_m"], abs=0.04
    )  # that of the free advance
    assert strokes["no_load_torque_kNm"][[0, 1, 2, 9, 10, 13]] == pytest.approx(FREE_KNM, rel=0.03)


def dead(x: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.zeros(len(x))


def missing(x: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.full(len(x), np.nan)


SPEED_FAULTS: dict[str, dict[str, Any]] = {
    "dead": {"advance_speed_mm_min": dead, "penetration_mm_rev": dead},
    "missing": {"advance_speed_mm_min": missing, "penetration_mm_rev": missing},
    "stuck": {"advance_speed_mm_min": lambda x: np.full(len(x), 41.3)},
    "in m/h": {"advance_speed_mm_min": lambda x: 0.06 * x, "penetration_mm_rev": missing},
    "another unit": {"advance_speed_mm_min": lambda x: x / 60, "penetration_mm_rev": dead},
    "too great": {"advance_speed_mm_min": lambda x: 60 * x, "penetration_mm_rev": missing},
    "dead, penetration is not": {"advance_speed_mm_min": dead},
    "head speed dead": {"head_speed_rpm": dead},
    "head speed and penetration dead": {"head_speed_rpm": dead, "penetration_mm_rev": dead},
    "head speed missing": {"head_speed_rpm": missing, "penetration_mm_rev": missing},
}


@pytest.mark.parametrize("kind", [OPEN, SINGLE, DOUBLE])
@pytest.mark.parametrize("fault", SPEED_FAULTS)
def test_the_stroke_carries_the_advance_whatever_the_speeds_say(fault: str, kind: str) -> None:
    made = speeds_truth(kind)
    found = with_fault(made, **SPEED_FAULTS[fault])
    assert found.strokes["advance_m"] == pytest.approx(
        made.strokes["advance_m"], abs=0.007
    )  # of free advance
    assert found.cells["advance_m"].sum() == pytest.approx(made.advance_m, rel=0.0025)
    assert found.cells["boring_s"].sum() == pytest.approx(made.boring_s, rel=0.01)
    for sums in (found.cells, found.periods):
        assert np.isfinite(sums["torque_work_kJ"]).all()
    if "head speed" in fault:  # no turns are made up
        unturned_m = found.cells["advance_m"].sum() - found.cells["turned_advance_m"].sum()
        assert unturned_m == pytest.approx(made.strokes["advance_m"][slice(*FAULT)].sum(), abs=0.02)


@cache
def speeds_truth(kind: str) -> Truth:
    events = (Event(4, "back", 36), Event(5, "stop", 900))
    return make_truth(Plan(kind, 10, stroke_mm=600, events=events), Sensors(5))


def test_a_speed_that_is_logged_seldom_is_believed() -> None:
    made = speeds_truth(OPEN)
    seldom = {name: made.samples.get(name).copy() for name in (SPEED, "penetration_mm_rev")}
    for values in seldom.values():
        values[1::2] = np.nan
    record = record_of(Samples(made.samples.time_us, {**made.samples.values, **seldom}), Carry(), made.setup)
    assert record.rate_mm_min is not None
    assert np.array_equal(record.rate_mm_min, seldom[SPEED], equal_nan=True)
