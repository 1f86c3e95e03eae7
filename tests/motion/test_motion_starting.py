"""The thrust of setting off beside that of going on, in logs drawn by hand."""

import numpy as np
import pytest
from support.sketch import BORING_KN, DRAG_KN, FREE_KNM, Sketch, reduced_sketch, sketch_setup

from tbmreview.domain.samples import Samples
from tbmreview.domain.setup import OPEN_GRIPPER
from tbmreview.motion.carry import Carry
from tbmreview.motion.reduce import reduce_window


def sticks(sketch: Sketch, kN: float, seconds: int = 8) -> Sketch:
    """The head turns and is pushed in vain."""
    return sketch.add(seconds, head_speed_rpm=7.5, torque_kNm=FREE_KNM, main_thrust_kN=kN)


def starts(sketch: Sketch) -> tuple[float, float]:
    (row,) = [reduced_sketch(sketch.turn(20).add(60), OPEN_GRIPPER).strokes]
    return float(row["start_thrust_kN"][0]), float(row["going_on_kN"][0])


def test_a_free_start_is_held_against_the_free_advance_after_it() -> None:
    even = Sketch().add(120).turn(60).approach(60).bore(800)
    assert starts(even) == pytest.approx((DRAG_KN, DRAG_KN))
    stuck = sticks(Sketch().add(120).turn(60), 2.2 * DRAG_KN).approach(60).bore(800)
    assert starts(stuck) == pytest.approx((2.2 * DRAG_KN, DRAG_KN))


def test_a_start_on_the_face_is_held_against_boring() -> None:
    halted = Sketch().add(120).turn(60).bore(600).turn(15).add(900).turn(30)
    assert starts(sticks(halted, 1.3 * BORING_KN).bore(600)) == pytest.approx((1.3 * BORING_KN, BORING_KN))


def test_a_short_halt_is_no_start() -> None:
    paused = Sketch().add(120).turn(60).approach(60).bore(600).turn(30)
    assert starts(sticks(paused, 1.3 * BORING_KN).bore(600)) == pytest.approx((DRAG_KN, DRAG_KN))


def test_a_slow_log_shows_the_free_advance_in_few_samples() -> None:
    """At 10 s it is too few for a drag."""
    sketch = sticks(Sketch().add(120).turn(60), 2.2 * DRAG_KN).approach(60).bore(800).turn(20).add(60)
    every = sketch.samples()
    slow = Samples(every.time_us[::10], {name: values[::10] for name, values in every.values.items()})
    row = reduce_window(slow, Carry(), sketch_setup(OPEN_GRIPPER)).strokes
    assert row["drag_source"].tolist() == ["none"]
    assert row["free_thrust_kN"] == pytest.approx([DRAG_KN])
    on_the_face = Sketch().add(120).turn(60).bore(800).turn(20).add(60)
    assert np.isnan(reduced_sketch(on_the_face, OPEN_GRIPPER).strokes["free_thrust_kN"][0])


def test_without_thrust_nothing_is_known() -> None:
    sketch = Sketch().add(120).turn(60).approach(60).bore(800).turn(20).add(60)
    row = reduced_sketch(sketch, OPEN_GRIPPER, ("main_thrust_kN",)).strokes
    assert np.isnan(row["start_thrust_kN"][0])
    assert np.isnan(row["going_on_kN"][0])
