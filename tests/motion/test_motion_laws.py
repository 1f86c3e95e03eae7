"""Laws of motion that hold for any log: time is kept to the microsecond, gaps hold no boring, units scale."""

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.truth import DOUBLE, OPEN, SINGLE, Event, Plan, Truth, make_truth
from support.truth_log import Sensors
from test_motion_drives import assert_laid_end_to_end

from tbmreview.domain.samples import DAY_US, Samples
from tbmreview.domain.states import State
from tbmreview.motion.carry import Carry
from tbmreview.motion.reduce import Reduced, reduce_window

RATES = {OPEN: 2, SINGLE: 5, DOUBLE: 10}  # s
FORCE = re.compile(r"_(kNm|kN|kJ)(2?)(_|$)")  # in the name of a sum: it goes with a force, or its square
MOST_GAPS, LATE_M = (
    3,
    0.012,
)  # a guidance that is ten seconds late, in steps of 4 mm, may read a gap so much long
CREDIT = 3  # intervals that a row stands for at most

kinds = st.sampled_from([OPEN, SINGLE, DOUBLE])
few = settings(max_examples=12, deadline=None)


@cache
def truth(kind: str) -> Truth:
    """Three short strokes, one of them interrupted."""
    plan = Plan(kind, strokes=3, seed=RATES[kind], stroke_mm=500.0, events=(Event(1, "stop", 600),))
    return make_truth(plan, Sensors(RATES[kind]))


@cache
def whole(kind: str) -> Reduced:
    return reduce_window(truth(kind).samples, Carry(), truth(kind).setup)


def taken(samples: Samples, rows: np.ndarray) -> Samples:
    return Samples(samples.time_us[rows], {name: values[rows] for name, values in samples.values.items()})


@st.composite
def torn(draw: st.DrawFn) -> tuple[str, Samples]:
    """A log with jittering stamps that lost stretches and single rows, anywhere."""
    kind = draw(kinds)
    samples = truth(kind).samples
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    kept = rng.random(len(samples)) > draw(st.sampled_from([0.0, 0.05]))
    for _ in range(draw(st.integers(0, MOST_GAPS))):
        start, length = rng.integers(0, len(samples)), rng.integers(2, len(samples) // 3)
        kept[start : start + length] = False
    kept[:5] = True
    jitter_us = rng.integers(0, draw(st.sampled_from([1, 40_000])), len(samples))
    return kind, taken(replace(samples, time_us=samples.time_us + jitter_us), np.flatnonzero(kept))


@few
@given(torn())
def test_states_add_up_to_the_microsecond_and_gaps_hold_no_boring(log: tuple[str, Samples]) -> None:
    kind, samples = log
    result = reduce_window(samples, Carry(), truth(kind).setup)
    periods, cells, time_us = result.periods, result.cells, samples.time_us
    assert periods["start_us"][0] == time_us[0]
    assert (periods["start_us"][1:] == periods["end_us"][:-1]).all()
    last_us = periods["end_us"][-1] - time_us[-1]
    assert last_us == pytest.approx(RATES[kind] * 1e6, abs=45_000)
    length_us = periods["end_us"] - periods["start_us"]
    assert (
        sum(length_us[periods["state"] == state].sum() for state in State)
        == time_us[-1] + last_us - time_us[0]
    )
    bored_us = length_us[periods["state"] == State.BORING].sum()
    assert cells["boring_s"].sum() == pytest.approx(bored_us / 1e6, abs=1e-6)
    no_record = periods.rows(periods["state"] == State.NO_RECORD)
    step_us = np.diff(time_us)
    lost_us = step_us - CREDIT * last_us
    assert (no_record["end_us"] - no_record["start_us"]).sum() == pytest.approx(
        lost_us[lost_us > 0].sum(), abs=2
    )
    assert set(no_record["end_us"]) <= set(time_us)


@few
@given(torn())
def test_nothing_is_bored_twice_whatever_is_lost(log: tuple[str, Samples]) -> None:
    kind, samples = log
    result = reduce_window(samples, Carry(), truth(kind).setup)
    made, cells = truth(kind), result.cells
    if len(cells):
        assert_laid_end_to_end(result)
    assert (cells["advance_m"] >= cells["unrecorded_advance_m"]).all()
    assert cells["advance_m"].sum() < 1.005 * made.advance_m + MOST_GAPS * LATE_M
    assert cells["boring_s"].sum() < 1.01 * made.boring_s + CREDIT * RATES[kind]
    timeless = cells.rows(cells["boring_s"] == 0)
    for name in ("revolutions", "thrust_work_kJ", "torque_work_kJ", "belt_t"):
        assert not timeless[name].any(), name


@few
@given(kinds, st.sampled_from([0.25, 0.5, 2.0, 8.0]))
def test_energies_scale_with_thrust_and_torque_and_nothing_else_does(kind: str, by: float) -> None:
    """By powers of two, which leave no rounding; the machine's no-load torque and drag are scaled with them."""
    made, before = truth(kind), whole(kind)
    forces = ("main_thrust_kN", "aux_thrust_kN", "torque_kNm")
    values = {n: by * v if n in forces else v for n, v in made.samples.values.items()}
    machine = made.setup.machine
    machine = replace(
        machine,
        no_load_torque_kNm=by * (machine.no_load_torque_kNm or 0.0),
        drag_kN=by * (machine.drag_kN or 0.0),
    )
    after = reduce_window(replace(made.samples, values=values), Carry(), replace(made.setup, machine=machine))
    assert (after.periods["state"] == before.periods["state"]).all()
    for name in before.cells:
        found = FORCE.search(name)
        factor = 1.0 if found is None else by ** (2 if found[2] else 1)
        assert np.array_equal(after.cells[name], factor * before.cells[name], equal_nan=True), name
    for name in ("drag_kN", "no_load_torque_kNm"):
        expected = by * before.strokes[name]
        assert after.strokes[name] == pytest.approx(expected, nan_ok=True), name


@few
@given(kinds, st.integers(-2000, 2000), st.integers(-5, 5))
def test_neither_the_date_nor_the_place_matters(kind: str, metres: int, years: int) -> None:
    """The same log some years of 52 weeks on (so that shifts stay), at another chainage: the same cells there."""
    made, before = truth(kind), whole(kind)
    later_us = 52 * 7 * DAY_US * years
    facts = replace(made.setup.drive, chainage_start_m=made.setup.drive.chainage_start_m + metres)
    chainage = made.samples.values["chainage_m"] + metres
    moved = Samples(made.samples.time_us + later_us, {**made.samples.values, "chainage_m": chainage})
    after = reduce_window(moved, Carry(), replace(made.setup, drive=facts))
    for name in ("boring_s", "advance_m", "thrust_work_kJ", "torque_work_kJ", "position_from_m"):
        assert after.cells[name] == pytest.approx(before.cells[name], rel=1e-6, abs=1e-6), name
    assert (after.cells["step"] == before.cells["step"] + 10 * metres).all()
    assert (after.cells["start_us"] == before.cells["start_us"] + later_us).all()
