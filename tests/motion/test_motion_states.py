"""States and reaction of each second, for every kind of machine at every rate of logging."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from support.truth import DOUBLE, OPEN, SINGLE, Event, Plan, Truth, make_truth
from support.truth_log import Sensors

from tbmreview.domain.samples import Samples, join
from tbmreview.domain.setup import MotionSettings
from tbmreview.domain.states import PushingSet, Reaction, State
from tbmreview.motion.carry import Carry
from tbmreview.motion.reduce import Reduced, reduce_window, spans_to_read

EVENTS: dict[str, tuple[Event, ...]] = {
    OPEN: (Event(1, "stop", 900), Event(2, "held", 600), Event(3, "pull_back", 200), Event(4, "back", 30)),
    SINGLE: (Event(1, "stop", 900), Event(2, "held", 600), Event(3, "back", 20)),
    DOUBLE: (
        Event(1, "stop", 900),
        Event(2, "slip", 50),
        *(Event(k, "on_ring") for k in (3, 4)),
        Event(4, "held", 300),
        Event(5, "pull_back", 220),
    ),
}
RATES = (1, 5, 10, 30)
EVERY = [(kind, rate) for kind in EVENTS for rate in RATES]
Codes = NDArray[np.int8]


@cache
def drive(kind: str, sensors: Sensors, ring: str = "pads") -> tuple[Truth, Reduced]:
    truth = make_truth(Plan(kind, strokes=6, seed=3, events=EVENTS[kind], ring=ring), sensors)
    return truth, reduce_window(truth.samples, Carry(), truth.setup)


def at_rate(kind: str, rate: int) -> tuple[Truth, Reduced]:
    """Falling chainage at every other rate."""
    return drive(kind, Sensors(sample_s=rate, direction=-1 if rate in (5, 30) else 1))


def states(truth: Truth, made: Reduced) -> tuple[Codes, Codes]:
    """(true, found) state of each second."""
    periods, time_us = made.periods, truth.seconds["time_us"]
    inside = time_us < periods["end_us"][-1]
    found = periods["state"][np.searchsorted(periods["start_us"], time_us, side="right") - 1]
    return truth.seconds["state"][inside], found[inside]


@pytest.mark.parametrize(("kind", "rate"), EVERY)
def test_hours_add_up_and_boring_is_right(kind: str, rate: int) -> None:
    truth, made = at_rate(kind, rate)
    periods = made.periods
    assert (periods["start_us"][1:] == periods["end_us"][:-1]).all()
    elapsed_us = periods["end_us"][-1] - periods["start_us"][0]
    assert (periods["end_us"] - periods["start_us"]).sum() == elapsed_us
    assert abs(elapsed_us - 1_000_000 * len(truth.seconds["time_us"])) <= 1_000_000 * rate
    assert made.cells["boring_s"].sum() == pytest.approx(truth.boring_s, rel=0.03 if rate == 30 else 0.01)
    assert len(made.strokes) == len(truth.strokes)


@pytest.mark.parametrize(("kind", "rate"), EVERY)
def test_each_second_has_its_state(kind: str, rate: int) -> None:
    """Changes come within a sample or so; what no channel tells apart: the rest after a ring or a regrip."""
    truth, made = at_rate(kind, rate)
    true, found = states(truth, made)
    blur_s = 3 * rate
    edges = np.flatnonzero(np.diff(true))
    clear = np.abs(np.arange(len(true))[:, None] - edges[None, :]).min(axis=1) > blur_s
    for state in (State.BORING, State.TURNING_FREE, State.TURNING_LOADED, State.REGRIP, State.RING_BUILD):
        here = (true == state) & clear
        if here.any():
            assert (found[here] == state).mean() > 0.97, state.name
    standing = found[(true == State.STANDING) & clear]
    assert np.isin(standing, (State.STANDING, State.REGRIP, State.RING_BUILD)).all()
    assert (standing == State.STANDING).mean() > 0.6


@pytest.mark.parametrize(("kind", "rate"), EVERY)
def test_reaction_is_right_on_all_but_a_hundredth_of_the_advance(kind: str, rate: int) -> None:
    """All of these drives lie within ten metres of their changes, so that is the share near them too."""
    truth, made = at_rate(kind, rate)
    boring = truth.seconds["state"] == State.BORING
    place, reaction = truth.seconds["face_m"][boring], truth.seconds["reaction"][boring]
    cells = made.cells.rows(made.cells["advance_m"] > 0)
    middle = (cells["position_from_m"] + cells["position_to_m"]) / 2
    true = reaction[np.clip(np.searchsorted(place, middle, side="right") - 1, 0, len(place) - 1)]
    right = cells["advance_m"][cells["reaction"] == true].sum()
    assert right > 0.99 * cells["advance_m"].sum()
    if kind == DOUBLE:
        assert {Reaction.GRIPPERS, Reaction.RING} <= set(true.tolist())
        on_ring = cells["reaction"] == Reaction.RING
        assert set(cells["pushing_set"][on_ring].tolist()) == {PushingSet.AUX}


@pytest.mark.parametrize("kind", [SINGLE, DOUBLE])
def test_a_ring_built_with_still_cylinders_is_no_standing(kind: str) -> None:
    """Ten minutes of work, the return of the set in two minutes, eight minutes more; also where a double
    shield begins to push off the ring, after its regrip."""
    truth, made = drive(kind, Sensors(), "still")
    true, found = states(truth, made)
    ring = true == State.RING_BUILD
    assert ring.sum() > 3 * 1200
    assert (found[ring] == State.RING_BUILD).mean() > 0.99
    assert (found == State.RING_BUILD).sum() == pytest.approx(ring.sum(), rel=0.1)


def test_a_pause_counts_as_ring_building_no_longer_than_a_ring_may_take() -> None:
    truth = make_truth(Plan(SINGLE, strokes=2, seed=3, ring="still"))
    setup = replace(truth.setup, motion=MotionSettings(longest_ring_min=10.0))
    periods = reduce_window(truth.samples, Carry(), setup).periods
    seconds = (periods["end_us"] - periods["start_us"])[periods["state"] == State.RING_BUILD] / 1e6
    assert seconds.sum() == pytest.approx(720, abs=60)  # up to ten minutes, and the return after it


def test_work_of_turning_loaded_is_kept_apart() -> None:
    """Ten minutes at 4.5 rpm and 900 kNm: neither work of boring nor no-load torque."""
    truth, made = at_rate(OPEN, 1)
    periods = made.periods
    held_kJ = 900 * 2 * np.pi * 4.5 / 60 * 600
    loaded = periods["state"] == State.TURNING_LOADED
    assert periods["torque_work_kJ"][loaded].sum() == pytest.approx(held_kJ, rel=0.02)
    assert made.cells["torque_work_kJ"].sum() == pytest.approx(
        truth.strokes["torque_work_kJ"].sum(), rel=0.005
    )
    shown = made.strokes["no_load_torque_kNm"][made.strokes["no_load_source"] == "stroke"]
    assert len(shown) >= 5
    assert shown == pytest.approx(np.full(len(shown), 170.0), abs=4)


@pytest.mark.parametrize(("in_series", "reaction"), [(False, Reaction.GRIPPERS), (True, Reaction.RING)])
def test_auxiliaries_as_strong_as_mains_are_the_reaction_only_where_they_follow(
    in_series: bool, reaction: Reaction
) -> None:
    """In weak rock mains may push no harder than auxiliaries hold the ring. (Common practice, no source.)"""
    truth = make_truth(Plan(DOUBLE, strokes=2, seed=3))
    values = dict(truth.samples.values)
    values["main_thrust_kN"] = 0.12 * values["main_thrust_kN"]
    if in_series:
        values["aux_thrust_kN"] = values["main_thrust_kN"] + 100.0
    made = reduce_window(Samples(truth.samples.time_us, values), Carry(), truth.setup)
    assert made.strokes["pushing_set"].tolist() == [PushingSet.MAIN] * 2
    assert made.strokes["reaction"].tolist() == [reaction] * 2


def test_a_pause_taken_for_ring_building_goes_on_over_the_end_of_a_day() -> None:
    """Cut in the first minutes of each stroke: the pause before it lies in both windows."""
    truth = make_truth(Plan(SINGLE, strokes=4, seed=3, ring="still"))
    whole = reduce_window(truth.samples, Carry(), truth.setup)
    for start_us in whole.strokes["stroke_start_us"][2:].tolist():
        end_us = start_us + 1_800 * 1_000_000
        first = reduce_window(truth.samples.between(0, end_us), Carry(), truth.setup)
        again = [
            truth.samples.between(*span) for span in spans_to_read(first.carry, whole.periods["end_us"][-1])
        ]
        second = reduce_window(join(again), first.carry, truth.setup)
        assert first.carry.ring_until_us > first.carry.resume_us > 0
        before = first.periods["start_us"] < first.carry.resume_us
        for name in ("ring_assumed_s", "ring_building_s"):
            both = first.periods[name][before].sum() + second.periods[name].sum()
            assert both == pytest.approx(whole.periods[name].sum(), abs=1e-6), name
