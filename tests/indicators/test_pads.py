"""Pads on a ring: figures worked by hand, and the laws of a centre of forces."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tbmreview.indicators.pads import (
    centre_of_thrust_mm,
    direction_deg,
    eccentricity_mm,
    of_limit,
    pad_force_kN,
)
from tbmreview.indicators.record import Floats

FOUR = np.array([0.0, 90.0, 180.0, 270.0])
FORCES = st.lists(st.floats(1.0, 5000.0), min_size=3, max_size=12)


def off(forces: list[float], angles: Floats, radius_m: float = 2.6) -> tuple[float, float]:
    """(eccentricity [mm], direction [deg])."""
    right, up = centre_of_thrust_mm(np.array([forces]), angles, radius_m)
    return float(eccentricity_mm(right, up)[0]), float(direction_deg(right, up)[0])


def even(count: int) -> Floats:
    return np.arange(count) * (360.0 / count)


def test_four_equal_pads_push_on_the_axis() -> None:
    eccentricity, direction = off([1000.0] * 4, FOUR)
    assert eccentricity == pytest.approx(0, abs=1e-9)
    assert np.isnan(direction)


@pytest.mark.parametrize(("doubled", "towards"), list(enumerate(FOUR.tolist())))
def test_one_pad_doubled(doubled: int, towards: float) -> None:
    """Derived: 1000 kN more at 2.6 m of 5000 kN in all is 2.6 m / 5 = 520 mm towards that pad."""
    forces = [1000.0] * 4
    forces[doubled] = 2000.0
    eccentricity, direction = off(forces, FOUR)
    assert eccentricity == pytest.approx(520)
    assert direction == pytest.approx(towards, abs=1e-9)


def test_right_and_up_are_seen_in_the_direction_of_driving() -> None:
    right, up = centre_of_thrust_mm(np.array([[0.0, 3000.0, 1000.0, 0.0]]), FOUR, 2.0)
    assert (right[0], up[0]) == (pytest.approx(1500), pytest.approx(-500))
    assert direction_deg(right, up)[0] == pytest.approx(108.4349488)


def test_a_missing_pad_and_pads_that_pull_have_no_centre() -> None:
    forces = np.array(
        [[1000.0, np.nan, 1000.0, 1000.0], [0.0] * 4, [-10.0, 0.0, 5.0, 0.0], [1.0, 1.0, 1.0, 1.0]]
    )
    right, up = centre_of_thrust_mm(forces, FOUR, 2.6)
    assert np.isnan(right).tolist() == np.isnan(up).tolist() == [True, True, True, False]


def test_pressure_times_area_and_shares_of_limits() -> None:
    """Derived: 300 bar are 30 MN/m2; two pistons of 0.2 m together have 0.0628 m2, so 1885 kN."""
    assert pad_force_kN(np.array([300.0]), 2 * np.pi / 4 * 0.2**2)[0] == pytest.approx(1884.96, abs=0.01)
    assert of_limit(np.array([1500.0]), 2000.0)[0] == 0.75
    assert np.isnan(of_limit(np.array([1500.0]), None)[0])


@given(FORCES, st.floats(0, 360), st.floats(0.01, 1000))
def test_turning_all_pads_turns_the_direction_and_scaling_forces_changes_nothing(
    forces: list[float], turn: float, scale: float
) -> None:
    eccentricity, direction = off(forces, even(len(forces)))
    turned, towards = off(forces, even(len(forces)) + turn)
    assert turned == pytest.approx(eccentricity, abs=1e-6)
    assert off([scale * force for force in forces], even(len(forces)))[0] == pytest.approx(
        eccentricity, abs=1e-6
    )
    if eccentricity > 1:
        assert abs((towards - direction - turn + 180) % 360 - 180) < 1e-4


@given(FORCES, st.randoms())
def test_the_order_of_the_pads_does_not_matter_and_the_centre_is_within_the_pads(
    forces: list[float], random: object
) -> None:
    angles = even(len(forces))
    order = list(range(len(forces)))
    random.shuffle(order)  # type: ignore[attr-defined]
    eccentricity, _ = off(forces, angles)
    assert off([forces[i] for i in order], angles[order])[0] == pytest.approx(eccentricity, abs=1e-6)
    assert eccentricity <= 2600 + 1e-6
