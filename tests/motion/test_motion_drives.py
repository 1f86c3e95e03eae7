"""Advance, strokes, boring seconds and gaps of drives whose truth is known (tests/support/truth.py).

The full study, over many seeds, is tests/bench/study_motion.py.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from support.truth import AUTUMN, DOUBLE, DRAG_KN, OPEN, SINGLE, SPRING, Event, Plan, Truth, make_truth
from support.truth_log import Sensors

from tbmreview.domain.states import Reaction, State
from tbmreview.domain.sums import group_sums
from tbmreview.motion.carry import Carry
from tbmreview.motion.reduce import Reduced, reduce_window

SPEED, PENETRATION, CHAINAGE = "advance_speed_mm_min", "penetration_mm_rev", "chainage_m"
MAIN, AUX, TORQUE = "main_stroke_mm", "aux_stroke_mm", "torque_kNm"
GRIPPER = "gripper_pressure_bar"

EVENTS = (
    Event(0, "stop", 900),
    Event(1, "pull_back", 160),
    Event(2, "back", 36),
    Event(2, "held", 900),
    Event(3, "creep", 15),
    Event(4, "stop", -600),
    Event(5, "short", 400),
)
ON_RING = (
    Event(0, "stop", 900),
    Event(1, "slip", 60),
    Event(2, "on_ring"),
    Event(3, "on_ring"),
    Event(3, "stop", 600),
    Event(4, "back", 36),
    Event(5, "short", 300),
)


@dataclass(frozen=True)
class Drive:
    """A plan and its sensors; how far off advance [share] and boring seconds [share] may be."""

    plan: Plan
    sensors: Sensors
    advance: float = 0.001
    boring: float = 0.01


def plan(kind: str, seed: int = 1, **changes: object) -> Plan:
    given = {"strokes": 6, "events": ON_RING if kind == DOUBLE else EVENTS, **changes}
    return Plan(kind, seed=seed, **given)  # type: ignore[arg-type]


DRIVES = {
    "open gripper at 1 s, falling, chainage 1.5 % long": Drive(
        plan(OPEN, start_us=AUTUMN), Sensors(direction=-1, chainage_factor=1.015)
    ),
    "open gripper at 5 s, guidance creeps and jumps": Drive(
        plan(OPEN, 2), Sensors(5, creep_mm=8, jumps=4, cylinders=4)
    ),
    "open gripper at 10 s, gripper not logged": Drive(plan(OPEN, 3), Sensors(10, without=(GRIPPER,))),
    "open gripper at 30 s": Drive(plan(OPEN, 4), Sensors(30), boring=0.03),
    "single shield at 1 s, rows lost": Drive(
        plan(SINGLE, 5, ring="still", start_us=SPRING), Sensors(lost=0.02, chainage_factor=0.98)
    ),
    "single shield at 5 s, falling": Drive(plan(SINGLE, 6), Sensors(5, direction=-1)),
    "single shield at 10 s": Drive(plan(SINGLE, 7), Sensors(10, guidance="none")),
    "single shield at 30 s": Drive(plan(SINGLE, 8, ring="still"), Sensors(30), boring=0.03),
    "double shield at 1 s, target on the rear": Drive(
        plan(DOUBLE, 9), Sensors(guidance="rear", offset_m=9.0, direction=-1)
    ),
    "double shield at 5 s, aux as mean of two": Drive(plan(DOUBLE, 10, ring="still"), Sensors(5, cylinders=2)),
    "double shield at 10 s, gripper not logged": Drive(plan(DOUBLE, 11), Sensors(10, without=(GRIPPER,))),
    "double shield at 30 s": Drive(plan(DOUBLE, 12), Sensors(30), boring=0.03),
    "stroke alone at 1 s": Drive(plan(OPEN, 13), Sensors(without=(SPEED, PENETRATION, CHAINAGE, GRIPPER))),
    "stroke alone at 10 s": Drive(plan(SINGLE, 14), Sensors(10, without=(SPEED, PENETRATION, CHAINAGE))),
    "no torque": Drive(plan(OPEN, 15), Sensors(without=(TORQUE,))),
    "saturating stroke sensor": Drive(plan(OPEN, 16), Sensors(saturates_mm=1150)),
    "advance speed alone": Drive(plan(OPEN, 17), Sensors(5, without=(MAIN, CHAINAGE)), advance=0.02),
    "penetration alone": Drive(
        plan(SINGLE, 18), Sensors(without=(MAIN, CHAINAGE, SPEED)), advance=0.02
    ),
    "chainage alone": Drive(
        plan(DOUBLE, 19, events=(Event(1, "stop", 900),)),
        Sensors(5, without=(MAIN, AUX, SPEED, PENETRATION)),
        advance=0.02,
    ),
    "chainage alone at 30 s": Drive(
        plan(DOUBLE, 20, events=(Event(1, "stop", 900),)),
        Sensors(30, without=(MAIN, AUX, SPEED, PENETRATION)),
        advance=0.02,
        boring=0.03,
    ),
    "strokes alone at 5 s": Drive(
        plan(DOUBLE, 21), Sensors(5, without=(SPEED, PENETRATION, CHAINAGE, GRIPPER))
    ),
    "saturating stroke sensor at 30 s": Drive(
        plan(OPEN, 22), Sensors(30, saturates_mm=1150), advance=0.003, boring=0.03
    ),
}  # fmt: skip


@cache
def reduced(name: str) -> tuple[Truth, Reduced]:
    drive = DRIVES[name]
    truth = make_truth(drive.plan, drive.sensors)
    return truth, reduce_window(truth.samples, Carry(), truth.setup)


every_drive = pytest.mark.parametrize("name", DRIVES)


@every_drive
def test_advance_boring_seconds_and_strokes(name: str) -> None:
    truth, result = reduced(name)
    assert result.cells["advance_m"].sum() == pytest.approx(truth.advance_m, rel=DRIVES[name].advance)
    assert result.cells["boring_s"].sum() == pytest.approx(truth.boring_s, rel=DRIVES[name].boring)
    assert len(result.strokes) == len(truth.strokes)


@every_drive
def test_states_add_up_and_boring_is_boring(name: str) -> None:
    truth, result = reduced(name)
    periods = result.periods
    assert (periods["start_us"][1:] == periods["end_us"][:-1]).all()
    logged = truth.samples.time_us
    elapsed_us = logged[-1] - logged[0] + 1_000_000 * DRIVES[name].sensors.sample_s
    assert periods["end_us"][-1] - periods["start_us"][0] == pytest.approx(elapsed_us, abs=3e6)
    boring = periods["state"] == State.BORING
    boring_us = (periods["end_us"] - periods["start_us"])[boring].sum()
    assert result.cells["boring_s"].sum() == pytest.approx(boring_us / 1e6, abs=1e-6)


@every_drive
def test_nothing_is_bored_twice(name: str) -> None:
    assert_laid_end_to_end(reduced(name)[1])


def assert_laid_end_to_end(result: Reduced) -> None:
    """Steps in order of position neither overlap nor leave holes; boring never overlaps in time."""
    cells = result.cells.rows(result.cells["advance_m"] > 0)
    steps, number = np.unique(cells["step"], return_inverse=True)
    by_step = group_sums(cells, number.astype(np.int64), len(steps))
    assert (np.diff(steps) == 1).all()
    assert by_step["position_from_m"][1:] == pytest.approx(by_step["position_to_m"][:-1], abs=1e-9)
    length = by_step["position_to_m"] - by_step["position_from_m"]
    assert by_step["advance_m"] == pytest.approx(length, abs=1e-9)


GAPS = [
    (kind, rate, what)
    for kind, rate in ((OPEN, 1), (SINGLE, 10), (DOUBLE, 30))
    for what in ("bore", "reset", "stroke")
]


@pytest.mark.parametrize(("kind", "rate", "what"), GAPS)
def test_a_gap_has_advance_by_chainage_and_no_time(kind: str, rate: int, what: str) -> None:
    truth = make_truth(Plan(kind, strokes=4, seed=rate), Sensors(rate, gaps=((2, what),)))
    result = reduce_window(truth.samples, Carry(), truth.setup)
    cells = result.cells
    assert cells["advance_m"].sum() == pytest.approx(truth.advance_m, rel=0.002)
    assert cells["boring_s"].sum() == pytest.approx(truth.boring_s, rel=0.03 if rate == 30 else 0.01)
    assert len(result.strokes) == 4 - (what == "stroke")
    hidden = ~truth.seconds["recorded"]
    face = truth.seconds["face_m"][np.flatnonzero(hidden)[[0, -1]]]
    assert cells["unrecorded_advance_m"].sum() == pytest.approx(face[1] - face[0], abs=0.01 + 0.003 * rate)
    gap_us = truth.seconds["time_us"][np.flatnonzero(hidden)[[0, -1]]]
    bored = cells.rows(cells["boring_s"] > 0)
    within = (bored["start_us"] > gap_us[0] + 3e6 * rate) & (bored["end_us"] < gap_us[1])
    assert not within.any()
    assert_laid_end_to_end(result)


def test_a_rest_is_not_read_across_a_gap() -> None:
    sensors = Sensors(10, without=(SPEED, PENETRATION, GRIPPER), gaps=((2, "bore"), (5, "bore")))
    truth = make_truth(Plan(OPEN, strokes=10, seed=0), sensors)
    result = reduce_window(truth.samples, Carry(), truth.setup)
    assert result.cells["advance_m"].sum() == pytest.approx(truth.advance_m, rel=0.002)
    hidden = ~truth.seconds["recorded"]
    hidden_m = np.diff(truth.seconds["face_m"], append=np.nan)[hidden].sum()
    assert result.cells["unrecorded_advance_m"].sum() == pytest.approx(hidden_m, abs=0.05)
    assert_laid_end_to_end(result)


def test_without_chainage_a_gap_is_by_the_stroke_and_less_a_reset() -> None:
    truth = make_truth(Plan(OPEN, strokes=4), Sensors(without=(CHAINAGE,), gaps=((1, "bore"), (2, "reset"))))
    result = reduce_window(truth.samples, Carry(), truth.setup)
    bored = truth.seconds["face_m"][truth.seconds["stroke"] == 2]
    before_reset_m = truth.seconds["face_m"].max() - result.cells["advance_m"].sum()
    assert 0 < before_reset_m < 0.5 * (bored[-1] - bored[0])
    assert len(result.strokes) == 4
    assert_laid_end_to_end(result)


@pytest.mark.parametrize("torque", [True, False])
def test_slip_without_chainage_is_told_by_torque_else_by_thrust(torque: bool) -> None:
    without = (CHAINAGE,) if torque else (CHAINAGE, TORQUE)
    truth = make_truth(plan(DOUBLE, 3), Sensors(without=without))
    cells = reduce_window(truth.samples, Carry(), truth.setup).cells
    assert cells["advance_m"].sum() == pytest.approx(truth.advance_m, rel=0.001)
    assert not (cells["reaction"] == Reaction.UNKNOWN).any()


def test_a_slip_in_a_slow_log_is_no_advance_where_a_row_of_it_is_lost() -> None:
    """At 30 s a slip of 100 s shows in three or four rows, of which one in twenty is missing. One slip of these
    36 is left with two rows that lie on its edges."""
    missed = 0
    for seed in range(12):
        slips = Plan(DOUBLE, strokes=6, seed=seed, events=tuple(Event(k, "slip", 60) for k in (1, 3, 5)))
        truth = make_truth(slips, Sensors(30, lost=0.05))
        result = reduce_window(truth.samples, Carry(), truth.setup)
        assert len(result.strokes) == 6
        off_m = np.abs(result.strokes["advance_m"] - truth.strokes["advance_m"])
        missed += np.count_nonzero(off_m > 0.040)
    assert missed <= 1


def test_advance_beyond_the_sensor_s_limit_is_told() -> None:
    truth, result = reduced("saturating stroke sensor")
    ends = truth.strokes["advance_m"] > 1.15
    beyond = result.strokes["beyond_m"]
    assert (beyond[ends] > 0.02).all()
    assert beyond.sum() < 0.2 * truth.advance_m
    worst = np.abs(result.strokes["advance_m"] - truth.strokes["advance_m"]).max()
    assert worst < 0.006


@pytest.mark.parametrize("seed", [1, 2, 5])
def test_free_advance_up_to_the_face_again_is_no_boring_in_a_slow_log(seed: int) -> None:
    truth = make_truth(Plan(SINGLE, strokes=3, seed=seed, events=(Event(1, "pull_back", 160),)), Sensors(30))
    result = reduce_window(truth.samples, Carry(), truth.setup)
    _, number = np.unique(result.cells["stroke_start_us"], return_inverse=True)
    sums = group_sums(result.cells, number.astype(np.int64), 3)
    assert sums["thrust_min_kN"][1] > 2 * DRAG_KN
    assert sums["boring_s"][1] == pytest.approx(truth.strokes["boring_s"][1], abs=32)  # a row
    assert sums["thrust_work_kJ"][1] == pytest.approx(truth.strokes["thrust_work_kJ"][1], rel=0.015)


@pytest.mark.parametrize("name", ["open gripper at 1 s, falling, chainage 1.5 % long", "no torque"])
def test_specific_energy_and_field_penetration_index_of_each_stroke(name: str) -> None:
    truth, result = reduced(name)
    starts, number = np.unique(result.cells["stroke_start_us"], return_inverse=True)
    sums = group_sums(result.cells, number.astype(np.int64), len(starts))
    fpi = (
        sums["thrust_kN_s"] / sums["thrust_s"] / 40 / (1000 * sums["turned_advance_m"] / sums["revolutions"])
    )
    assert fpi == pytest.approx(truth.strokes["fpi_kN_per_mm_rev"], rel=0.01)
