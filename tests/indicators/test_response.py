"""Penetration against disc load: the regression against scipy, and what it says of made-up ground."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import theilslopes

from tbmreview.indicators.response import FEW, FLAT, MOST_POINTS, NARROW, response, theil_sen

LOADS = np.linspace(160.0, 260.0, 21)


@given(st.integers(3, 60), st.integers(0, 2**32 - 1), st.sampled_from([0.1, 1e-6]))
@settings(max_examples=60)
def test_theil_sen_equals_scipys(count: int, seed: int, grain: float) -> None:
    """scipy.stats.theilslopes to 1e-9, ties in load and penetration included."""
    rng = np.random.default_rng(seed)
    x, y = (np.round(rng.normal(0, 1, count) / grain) * grain for _ in range(2))
    x[:2] = 0.0, grain
    expected = theilslopes(y, x, 0.95)
    np.testing.assert_allclose(theil_sen(x, y), [expected[0], expected[2], expected[3]], rtol=1e-9, atol=1e-9)


@pytest.mark.published("Bruland 1998, form of the NTNU model", "memory")
def test_a_power_law_is_returned_exactly() -> None:
    """M 250, M1 150, b 2: 2.77778 mm/rev, and points on that law give b and M1 back (form of the NTNU model, from
    memory, unconfirmed)."""
    assert pytest.approx(2.77778, rel=2e-6) == (250 / 150) ** 2
    found = response(LOADS, (LOADS / 150) ** 2)
    assert (found.slope, found.slope_low, found.slope_high) == pytest.approx((2, 2, 2), rel=1e-9)
    loads = (found.critical_load_kN, found.critical_load_low_kN, found.critical_load_high_kN)
    assert loads == pytest.approx((150, 150, 150), rel=1e-9)
    assert (found.points, found.refused) == (21, "")


def test_wild_points_do_not_move_it_far() -> None:
    """A twelfth of the points, all at the highest loads, at a third of their penetration: least squares is lost."""
    rng = np.random.default_rng(4)
    loads = np.sort(rng.uniform(150, 270, 100))
    penetration = (loads / 120) ** 2.5 * np.exp(rng.normal(0, 0.05, 100))
    penetration[-8:] /= 3
    found, plain = response(loads, penetration), np.polyfit(np.log(loads), np.log(penetration), 1)
    assert found.slope == pytest.approx(2.5, abs=0.5)
    assert found.critical_load_kN == pytest.approx(120, rel=0.1)
    assert abs(plain[0] - 2.5) > 2 * abs(found.slope - 2.5)


def test_the_interval_holds_the_slope_nineteen_times_in_twenty() -> None:
    rng = np.random.default_rng(9)
    held = 0
    for _ in range(400):
        loads = rng.uniform(150, 270, 20)
        found = response(loads, (loads / 120) ** 2.5 * np.exp(rng.normal(0, 0.1, 20)))
        held += found.slope_low <= 2.5 <= found.slope_high
    assert 0.92 <= held / 400 <= 0.98


def test_what_tells_nothing_is_refused() -> None:
    narrow = 200 + np.linspace(-5, 5, 21)
    assert response(narrow, (narrow / 150) ** 2).refused == NARROW
    assert response(LOADS[:7], LOADS[:7] / 20).refused == FEW
    assert response(np.array([]), np.array([])).refused == FEW
    for found in (response(narrow, narrow), response(LOADS[:7], LOADS[:7])):
        assert np.isnan([found.slope, found.slope_low, found.critical_load_kN]).all()


def test_penetration_that_falls_with_load_has_a_slope_and_no_critical_load() -> None:
    found = response(LOADS, 1000 / LOADS)
    assert found.slope == pytest.approx(-1)
    assert (found.refused, found.points) == (FLAT, 21)
    assert np.isnan(found.critical_load_kN)
    scattered = response(LOADS, LOADS**0.1 * np.exp(np.random.default_rng(3).normal(0, 0.3, 21)))
    assert scattered.slope_low < 0 < scattered.slope_high
    assert np.isnan([scattered.critical_load_kN, scattered.critical_load_low_kN]).all()
    assert scattered.refused == FLAT


def test_points_without_load_or_penetration_are_left_out_and_very_many_thinned() -> None:
    missing = [(np.nan, 5.0), (200.0, np.nan), (-20.0, 5.0), (200.0, 0.0)]
    loads, penetration = (
        np.append(x, more) for x, more in zip((LOADS, LOADS / 20), zip(*missing, strict=True), strict=True)
    )
    assert response(loads, penetration).points == 21
    many = np.tile(LOADS, 200)
    assert 500 <= response(many, many / 20).points <= MOST_POINTS
