"""What one gap of the record hides, anywhere in a drive whose chainage is logged throughout."""

from functools import cache

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from support.truth import DOUBLE, OPEN, SINGLE, Event, Plan, Truth, make_truth
from support.truth_log import Sensors

from tbmreview.domain.samples import Samples
from tbmreview.domain.states import State
from tbmreview.motion.carry import Carry
from tbmreview.motion.reduce import Reduced, reduce_window

KINDS = (OPEN, SINGLE, DOUBLE)
GUIDANCE_M = 0.03  # a chainage in steps of 4 mm that is ten seconds late, on both sides of a gap
ON_RING = (Event(2, "on_ring"), Event(3, "on_ring"))


@cache
def truth(kind: str, rate: int) -> Truth:
    events = (Event(1, "stop", 600), *(ON_RING if kind == DOUBLE else ()))
    return make_truth(Plan(kind, strokes=5, seed=3, stroke_mm=600.0, events=events), Sensors(rate))


def with_gap(made: Truth, first: int, last: int) -> tuple[Reduced, int, int]:
    """(result without what was logged between two seconds, seconds of the last and first sample around the gap)."""
    samples, time_us = made.samples, made.seconds["time_us"]
    kept = (samples.time_us <= time_us[first]) | (samples.time_us >= time_us[last])
    rows = Samples(samples.time_us[kept], {name: v[kept] for name, v in samples.values.items()})
    gap = int(np.argmax(np.diff(rows.time_us)))
    a, b = np.searchsorted(time_us, rows.time_us[gap : gap + 2]).tolist()
    return reduce_window(rows, Carry(), made.setup), a, b


def boring_of(made: Truth, stroke: int) -> np.ndarray:
    seconds = made.seconds
    return np.flatnonzero((seconds["stroke"] == stroke) & (seconds["state"] == State.BORING))


@settings(max_examples=20, deadline=None)
@example(SINGLE, 10, 400, 501)  # ends where the set begins to come back
@example(SINGLE, 1, 2690, 870)  # and where it is on its way
@example(SINGLE, 10, 1347, 1955)  # begins in one reset and ends in the stroke after the next
@example(DOUBLE, 1, 981, 1312)
@example(DOUBLE, 5, 949, 1934)  # from one regrip into the next, after which the other set pushes
@example(DOUBLE, 10, 2573, 1809)  # from a regrip into the boring of the other set
@example(OPEN, 5, 3342, 2422)  # from an extension to the same one, a stroke later
@given(st.sampled_from(KINDS), st.sampled_from([1, 5, 10]), st.integers(100, 9000), st.integers(60, 2500))
def test_one_gap_costs_no_advance_and_makes_no_time(kind: str, rate: int, start: int, length: int) -> None:
    made = truth(kind, rate)
    last = len(made.seconds["state"])
    start = min(start, last - 300)
    result, a, b = with_gap(made, start, min(start + length, last - 200))
    face_m, bored = made.seconds["face_m"], made.seconds["state"] == State.BORING
    cells = result.cells
    assert cells["advance_m"].sum() == pytest.approx(made.advance_m, abs=GUIDANCE_M)
    hidden_m = face_m[b] - face_m[a]
    assert cells["unrecorded_advance_m"].sum() == pytest.approx(hidden_m, abs=0.05 + 0.003 * rate)
    recorded_s = bored.sum() - bored[a:b].sum()
    assert cells["boring_s"].sum() == pytest.approx(recorded_s, abs=0.01 * recorded_s + 4 * rate)


@pytest.mark.parametrize("chainage", [True, False], ids=["chainage", "no chainage"])
@pytest.mark.parametrize("kind", KINDS)
def test_the_stroke_after_a_hidden_one_is_whole(kind: str, chainage: bool) -> None:
    """From turning before a stroke to standing after it, before the set is reset."""
    sensors = Sensors(5, without=() if chainage else ("chainage_m",))
    made = make_truth(Plan(kind, strokes=5, seed=3), sensors)
    first = int(np.flatnonzero(made.seconds["stroke"] == 3)[0]) - 30
    result, _, _ = with_gap(made, int(boring_of(made, 2)[0]) - 20, first)
    strokes, cells = result.strokes, result.cells
    assert strokes["advance_m"] == pytest.approx(made.strokes["advance_m"], abs=0.015)
    of_it = cells.rows(cells["stroke_start_us"] == strokes["stroke_start_us"][2])
    assert of_it["unrecorded_advance_m"].sum() == pytest.approx(strokes["advance_m"][2], abs=0.015)
    assert of_it["boring_s"].sum() == pytest.approx(0, abs=60)
    assert cells["boring_s"].sum() == pytest.approx(made.boring_s - len(boring_of(made, 2)), rel=0.01)


@pytest.mark.parametrize(("ring", "stroke"), [("pads", 1), ("pads", 2), ("still", 2), ("still", 3)])
def test_a_gap_from_one_reset_into_the_next(ring: str, stroke: int) -> None:
    made = make_truth(Plan(DOUBLE, strokes=5, seed=3, ring=ring, events=ON_RING), Sensors(10))
    first = [int(np.flatnonzero(made.seconds["stroke"] == k)[0]) for k in (stroke, stroke + 1)]
    result, a, b = with_gap(made, first[0] + 150, first[1] + 150)
    hidden_m = made.seconds["face_m"][b] - made.seconds["face_m"][a]
    assert result.cells["advance_m"].sum() == pytest.approx(made.advance_m, abs=GUIDANCE_M)
    assert result.cells["unrecorded_advance_m"].sum() == pytest.approx(hidden_m, abs=0.05)


@pytest.mark.parametrize("rate", [1, 10])
def test_a_head_drawn_back_before_a_gap_is_no_advance_after_it(rate: int) -> None:
    made = make_truth(Plan(OPEN, strokes=3, seed=3, events=(Event(1, "pull_back", 160),)), Sensors(rate))
    seconds = made.seconds
    back = np.flatnonzero((seconds["stroke"] == 1) & (seconds["head_m"] < seconds["face_m"] - 0.1))
    result, _, _ = with_gap(made, int(back[30]), int(boring_of(made, 2)[300]))
    assert result.cells["advance_m"].sum() == pytest.approx(made.advance_m, abs=GUIDANCE_M)


def test_what_the_first_interval_after_a_gap_bores_is_counted_once() -> None:
    """From a reset into the boring after it, at 30 s: half an interval is 12 mm."""
    made = make_truth(Plan(DOUBLE, strokes=5, seed=3, events=ON_RING), Sensors(30))
    whole = reduce_window(made.samples, Carry(), made.setup)
    for stroke in range(1, 5):
        reset, bored = int(np.flatnonzero(made.seconds["stroke"] == stroke)[0]), boring_of(made, stroke)
        result, _, _ = with_gap(made, reset + 150, int(bored[len(bored) // 2]))
        assert result.cells["advance_m"].sum() == pytest.approx(whole.cells["advance_m"].sum(), abs=0.012)
