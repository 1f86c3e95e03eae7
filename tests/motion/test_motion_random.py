"""Drives in which anything happens in any order: every stroke found, its advance within the noise of its two ends."""

import numpy as np
import pytest
from support.truth import DOUBLE, OPEN, SINGLE, Event, Plan, Truth, make_truth
from support.truth_log import Sensors

from tbmreview.motion.carry import Carry
from tbmreview.motion.reduce import reduce_window

KINDS, RATES_S, STROKES = (OPEN, SINGLE, DOUBLE), (1, 5, 10), 6
MOST = {"stop": 7000, "held": 1500, "creep": 30, "pull_back": 300, "slip": 90}
LEAST = {"stop": 60, "held": 120, "creep": 8, "pull_back": 60, "slip": 50}


def any_drive(seed: int) -> Truth:
    rng = np.random.default_rng(seed)
    kind = KINDS[rng.integers(3)]
    events = [event for k in range(STROKES) for event in _of_stroke(rng, kind, k)]
    plan = Plan(
        kind,
        STROKES,
        seed,
        float(rng.integers(900, 1800)),
        tuple(events),
        ring=("pads", "still")[rng.integers(2)],
        speed_mm_min=float(rng.integers(20, 80)),
    )
    guidance = ("head", "rear")[rng.integers(2)] if kind == DOUBLE else ("head", "none")[rng.integers(2)]
    sensors = Sensors(
        RATES_S[rng.integers(3)],
        direction=int(rng.choice([-1, 1])),
        cylinders=int(rng.integers(1, 4)),
        guidance=guidance,
        lost=float(rng.choice([0.0, 0.02])),
        chainage_factor=float(rng.choice([1.0, 1.015])),
    )
    return make_truth(plan, sensors)


def _of_stroke(rng: np.random.Generator, kind: str, k: int) -> list[Event]:
    usual = ["stop", "held", "creep", "pull_back"]
    on_ring = kind == DOUBLE and rng.random() < 0.25
    if on_ring:
        usual.remove("pull_back")
    elif kind == DOUBLE:
        usual.append("slip")
    names = [str(rng.choice(usual)) for _ in range(rng.integers(0, 3))]
    found = [Event(k, name, float(rng.integers(LEAST[name], MOST[name]))) for name in names]
    if rng.random() < 0.2:
        found.append(Event(k, "short", float(rng.integers(100, 500))))
    if k and rng.random() < 0.2:
        found.append(Event(k, "back", float(rng.integers(10, 60))))
    return [*found, *([Event(k, "on_ring")] if on_ring else [])]


@pytest.mark.parametrize("seed", range(200))
def test_any_drive(seed: int) -> None:
    truth = any_drive(seed)
    result = reduce_window(truth.samples, Carry(), truth.setup)
    assert len(result.strokes) == len(truth.strokes)
    off_m = np.abs(result.strokes["advance_m"] - truth.strokes["advance_m"])
    assert off_m.max() < 0.015
    assert result.cells["advance_m"].sum() == pytest.approx(truth.advance_m, abs=0.012)
    assert result.cells["boring_s"].sum() == pytest.approx(truth.boring_s, rel=0.01)


def test_pads_that_came_in_right_before_a_slip_are_none_of_it() -> None:
    events = (
        Event(0, "stop", 3906.0),
        Event(1, "creep", 12.0),
        Event(1, "slip", 78.0),
        Event(1, "short", 466.0),
        Event(1, "back", 58.0),
        Event(3, "short", 404.0),
        Event(3, "on_ring"),
        Event(4, "stop", -5072.0),
        Event(5, "stop", 1776.0),
        Event(5, "slip", 72.0),
    )
    truth = make_truth(
        Plan(DOUBLE, 6, 306071, 1467.0, events, speed_mm_min=63.0), Sensors(5, direction=-1, cylinders=2)
    )
    result = reduce_window(truth.samples, Carry(), truth.setup)
    assert result.strokes["advance_m"] == pytest.approx(truth.strokes["advance_m"], abs=0.015)
