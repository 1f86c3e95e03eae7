"""Ticks stand on round values, inside the scale, with room between them."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tbmreview.domain.station import Axis
from tbmreview.scene import ticks


@given(st.floats(1e-6, 1e9))
def test_a_nice_step_is_1_2_or_5_and_the_next_above(least):
    step = ticks.nice_step(least)
    mantissa = step / 10.0 ** math.floor(math.log10(step) + 1e-9)
    assert min(abs(mantissa - m) for m in (1, 2, 5)) < 1e-9
    assert least * (1 - 1e-9) <= step <= least * 2.5 * (1 + 1e-9)


@given(st.floats(-1e4, 1e4), st.floats(0.1, 1e5), st.floats(0.1, 1))
def test_value_ticks_lie_inside_and_apart(low, length, apart):
    found = ticks.value_ticks(low, low + length, apart)
    assert ((found >= low - 1e-6 * length) & (found <= low + length * (1 + 1e-6))).all()
    assert (np.diff(found) >= length * apart * (1 - 1e-9)).all()


@given(st.floats(0.01, 100), st.floats(1.5, 1e5), st.floats(0.1, 1))
def test_log_ticks_lie_inside_and_apart(low, ratio, apart):
    found = ticks.log_ticks(low, low * ratio, apart)
    assert ((found >= low * (1 - 1e-6)) & (found <= low * ratio * (1 + 1e-6))).all()
    assert (np.diff(np.log10(found)) >= math.log10(ratio) * apart * 0.99).all()


def test_log_ticks_of_two_decades():
    assert ticks.log_ticks(1, 100, 0.15).tolist() == [1, 2, 5, 10, 20, 50, 100]
    assert ticks.log_ticks(1, 100, 0.2).tolist() == [1, 3, 10, 30, 100]
    assert ticks.log_ticks(1, 100, 0.4).tolist() == [1, 10, 100]


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0"), (-0.0, "0"), (0.25, "0.25"), (12_000, "12\u00a0000"), (-5, "−5"), (1500.5, "1\u00a0500.5")],
)
def test_value_text(value, text):
    assert ticks.value_text(value) == text


def test_chainage_ticks_are_round_on_a_drive_that_starts_anywhere():
    positions, texts, fine = ticks.chainage_ticks(Axis(4180.4, 1), (0.0, 50.0), 8.0)
    assert texts == ["4+190", "4+200", "4+210", "4+220", "4+230"]
    np.testing.assert_allclose(positions, [9.6, 19.6, 29.6, 39.6, 49.6])
    assert len(fine) == 25


def test_chainage_ticks_of_a_falling_drive_fall_with_position():
    positions, texts, _ = ticks.chainage_ticks(Axis(1000.0, -1), (0.0, 30.0), 10.0)
    by_position = [text for _, text in sorted(zip(positions.tolist(), texts, strict=True))]
    assert by_position == ["1+000", "0+990", "0+980", "0+970"]


def test_chainage_ticks_show_the_decimals_that_their_step_has():
    _, texts, _ = ticks.chainage_ticks(Axis(12_345.0, 1), (0.0, 1.0), 0.2)
    assert texts[:3] == ["12+345.0", "12+345.2", "12+345.4"]
