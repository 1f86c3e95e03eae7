"""Position, chainage and steps: exact on decimetres, in both directions."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tbmreview.domain.errors import ChainageError
from tbmreview.domain.station import (
    Axis,
    Chainage,
    Equation,
    decimetres,
    format_chainage,
    parse_chainage,
)

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


@st.composite
def axes(draw: st.DrawFn) -> tuple[Axis, list[float]]:
    """An axis with one or two chainage equations, and their places."""
    direction = draw(st.sampled_from([1, -1]))
    axis, places = Axis(draw(WHOLE_MM) / 1000, direction), []
    at = 0.0
    for _ in range(draw(st.integers(1, 2))):
        at += draw(st.integers(30_000, 90_000)) / 1000
        met = float(axis.chainage_m(at))
        leaves = met + draw(st.integers(-20_000, 20_000)) / 1000
        axis = axis.with_equations([*_equations(axis), Equation(*((met, leaves)[::direction]))])
        places.append(at)
    return axis, places


def _equations(axis: Axis) -> list[Equation]:
    found = []
    for zone in axis.zones:
        met = float(axis.chainage_m(zone.from_m, ends=True))
        found.append(Equation(*((met, zone.chainage_m)[:: axis.direction])))
    return found


@given(axes(), st.floats(0, 250))
def test_with_equations_each_position_is_among_those_of_its_chainage(
    made: tuple[Axis, list[float]], position: float
) -> None:
    axis, places = made
    assert [zone.from_m for zone in axis.zones] == pytest.approx(places, abs=1e-6)
    found = axis.positions_m(float(axis.chainage_m(position)))
    assert min(abs(p - position) for p in found) < 1e-6
    said = axis.chainage_at(position)
    if len(found) < 3:
        assert float(axis.position_m(said)) == pytest.approx(position, abs=1e-6)


@given(axes(), st.integers(1, 20))
def test_with_equations_steps_rise_and_begin_on_round_chainage_of_their_own_side(
    made: tuple[Axis, list[float]], size: int
) -> None:
    axis, places = made
    positions = np.linspace(0, 200, 701)
    step = axis.coarser(axis.step(positions), size)
    assert np.all(np.diff(step) >= 0)
    low, high = axis.step_start_m(step, size), axis.step_end_m(step, size)
    assert np.all((low <= positions + 1e-6) & (positions <= high + 1e-6))
    inside = ~np.isclose(low[:, None], places, atol=1e-6).any(axis=1)
    chainage = axis.chainage_m(low[inside])
    assert np.allclose(chainage / (size / 10), np.rint(chainage / (size / 10)), atol=1e-4)
    at = axis.step(np.array(places))  # nothing reaches over an equation
    assert np.allclose(axis.step_start_m(at), places, atol=1e-6)
    assert np.allclose(axis.step_end_m(axis.step(np.array(places) - 1e-4)), places, atol=1e-6)


def test_a_chainage_that_exists_twice_is_refused_until_its_side_is_said() -> None:
    axis = Axis(5000.0, 1).with_equations([Equation(5120.0, 5100.0)])
    with pytest.raises(ChainageError, match=r"5\+110\.00 exists twice, 110\.00 and 130\.00 m"):
        axis.position_m(5110.0)
    assert float(axis.position_m(Chainage(5110.0, "back"))) == 110.0
    assert float(axis.position_m(Chainage(5110.0, "ahead"))) == 130.0
    falling = Axis(5200.0, -1).with_equations([Equation(5120.0, 5100.0)])  # met from the ahead side
    assert [zone.from_m for zone in falling.zones] == [100.0]
    assert float(falling.position_m(Chainage(5110.0, "back"))) == 110.0
    assert float(falling.position_m(Chainage(5110.0, "ahead"))) == 90.0
    assert float(axis.chainage_m(120.0)) == 5100.0
    assert float(axis.chainage_m(120.0, ends=True)) == 5120.0


def test_a_chainage_that_is_leapt_over_is_refused() -> None:
    axis = Axis(5000.0, 1).with_equations([Equation(5100.0, 5120.0)])
    with pytest.raises(ChainageError, match=r"no chainage 5\+110\.00"):
        axis.position_m(np.array([5010.0, 5110.0]))
    assert axis.position_m(np.array([5010.0, 5130.0])).tolist() == [10.0, 110.0]


def test_an_equation_behind_the_start_is_of_no_effect() -> None:
    axis = Axis(5000.0, 1)
    assert axis.with_equations([Equation(4900.0, 4910.0)]) == axis


@pytest.mark.parametrize(
    ("text", "chainage", "side"),
    [("5+110.25", 5110.25, ""), ("5110.25 back", 5110.25, "back"), ("-0+012.5  ahead", -12.5, "ahead")],
)
def test_chainage_as_people_write_it(text: str, chainage: float, side: str) -> None:
    found = parse_chainage(text)
    assert found is not None
    assert (float(found), found.side) == (chainage, side)
    assert parse_chainage(text + "x") is None
