"""Position, chainage and steps: exact on decimetres, in both directions."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tbmreview.domain.station import Axis, decimetres, format_chainage

WHOLE_MM = st.integers(-9_000_000, 9_000_000)


@given(WHOLE_MM, st.sampled_from([1, -1]), st.integers(0, 5_000_000))
def test_position_and_chainage_are_inverse(start_mm: int, direction: int, position_mm: int) -> None:
    axis = Axis(start_mm / 1000, direction)
    position = position_mm / 1000
    assert axis.position_m(axis.chainage_m(position)) == pytest.approx(position, abs=1e-9)


@given(st.integers(0, 200_000), st.sampled_from([1, -1]), st.integers(-100_000, 100_000))
def test_every_exact_decimetre_begins_its_own_step(decimetre: int, direction: int, start_dm: int) -> None:
    """floor(x / 0.1) puts a third of them one step too low; whole micrometres do not."""
    axis = Axis(start_dm / 10, direction)
    step = axis.step(np.array([decimetre / 10]))
    assert step[0] == decimetre + direction * start_dm
    assert axis.step_start_m(step)[0] == pytest.approx(decimetre / 10, abs=1e-9)


@given(WHOLE_MM, st.sampled_from([1, -1]), st.floats(0, 20_000), st.integers(1, 100))
def test_a_position_lies_in_its_step_and_steps_begin_on_round_chainage(
    start_mm: int, direction: int, position: float, size: int
) -> None:
    axis = Axis(start_mm / 1000, direction)
    number = np.floor_divide(axis.step(np.array([position])), size)
    low, high = axis.step_start_m(number, size)[0], axis.step_start_m(number + 1, size)[0]
    assert low - 1e-6 <= position < high + 1e-6
    chainage = float(axis.chainage_m(low))
    assert chainage == pytest.approx(round(chainage / (size / 10)) * size / 10, abs=1e-6)


@pytest.mark.parametrize(("step_m", "count"), [(0.1, 1), (0.3, 3), (1.0, 10), (1.5, 15), (2.3, 23)])
def test_decimetres(step_m: float, count: int) -> None:
    assert decimetres(step_m) == count


@pytest.mark.parametrize("step_m", [0.0, -1.0, 0.05, 0.25, 1.01])
def test_a_step_that_is_no_multiple_of_a_decimetre_is_refused(step_m: float) -> None:
    with pytest.raises(ValueError, match=r"multiple of 0\.1 m"):
        decimetres(step_m)


@pytest.mark.parametrize(
    ("chainage", "text"),
    [
        (12345.6, "12+345.60"),
        (5.004, "0+005.00"),
        (999.999, "1+000.00"),
        (-12.5, "-0+012.50"),
        (float("nan"), ""),
    ],
)
def test_format_chainage(chainage: float, text: str) -> None:
    assert format_chainage(chainage) == text
