"""Ends of movements: read at rest, else where the movement meets the return."""

import numpy as np
import pytest
from support.sketch import sketch_setup

from tbmreview.domain.samples import Samples
from tbmreview.motion.carry import Carry
from tbmreview.motion.record import Record, record_of
from tbmreview.motion.rest import at_rest, rest_after, rest_before

EVERY_S, STEP_MM = 30, 24.0  # 48 mm/min, a row in 30 s
BEFORE, MOVING = 12, 20  # rows at rest, rows with a speed


def record_with(after_mm: list[float], noise_mm: float = 0.0, seed: int = 1) -> Record:
    """A set at rest at 8 mm, then going out half an interval short of its last row, then as given."""
    way = 8.0 + STEP_MM * (0.5 + np.arange(MOVING))
    mm = np.concatenate([np.full(BEFORE, 8.0), way, after_mm])
    mm = mm + noise_mm * np.random.default_rng(seed).standard_normal(len(mm))
    speed = np.where((np.arange(len(mm)) >= BEFORE) & (np.arange(len(mm)) < BEFORE + MOVING), 48.0, 0.0)
    values = {
        "main_stroke_mm": mm,
        "advance_speed_mm_min": speed,
        "head_speed_rpm": np.where(speed > 0, 6.0, 0.0),
    }
    time_us = 1_900_000_000_000_000 + EVERY_S * 1_000_000 * np.arange(len(mm))
    return record_of(Samples(time_us, values), Carry(), sketch_setup("open gripper"))


def ends(record: Record) -> tuple[float, float]:
    assert record.main is not None
    assert record.rate_mm_min is not None
    rate = record.rate_mm_min
    return (
        rest_before(record, record.main, rate, BEFORE).mm,
        rest_after(record, record.main, rate, BEFORE + MOVING).mm,
    )


END_MM = 8.0 + STEP_MM * MOVING


def test_both_ends_are_means_of_what_rests() -> None:
    found = np.array([ends(record_with([END_MM] * 12, 2.0, seed)) for seed in range(40)])
    assert found.mean(axis=0) == pytest.approx([8.0, END_MM], abs=0.4)
    assert found.std(axis=0) == pytest.approx([2 / 10**0.5] * 2, rel=0.4)


def test_a_rest_ends_where_the_set_comes_back_or_creeps() -> None:
    ramp = [END_MM - 300.0 * k for k in range(4)]
    assert ends(record_with([END_MM, END_MM, *ramp]))[1] == pytest.approx(END_MM, abs=0.1)
    pads = [END_MM, END_MM, END_MM, *([END_MM - 12.0] * 9)]
    for seed in range(10):
        assert ends(record_with(pads, 2.0, seed))[1] == pytest.approx(END_MM, abs=4.0)


def test_one_odd_reading_is_no_movement() -> None:
    record = record_with([END_MM - 2.3, *([END_MM] * 11)])
    assert record.main is not None
    mm, readings = at_rest(record, record.main, record.rate_mm_min, (BEFORE + MOVING, 1))
    assert readings == 10
    assert mm == pytest.approx(END_MM, abs=0.3)


@pytest.mark.parametrize("turned_s", [5.0, 15.0, 25.0])
def test_without_a_rest_the_movement_meets_the_return(turned_s: float) -> None:
    """The set goes on at its speed for some seconds after its last row, then comes back at once, for minutes."""
    last = 8.0 + STEP_MM * (MOVING - 0.5)
    turned_mm, back_mm_s = last + 0.8 * turned_s, 4.0
    after = [turned_mm - back_mm_s * (EVERY_S * (k + 1) - turned_s) for k in range(6)]
    assert ends(record_with(after))[1] == pytest.approx(turned_mm, abs=0.5)
