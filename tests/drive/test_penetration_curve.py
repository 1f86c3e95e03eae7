"""The curve of a penetration test against the form of the NTNU model and against scipy."""

import numpy as np
import pytest
from scipy import stats

from tbmreview.domain.errors import FitError
from tbmreview.drive.penetration_curve import holds_speed, penetration_curve

LOADS = np.array([170.0, 200.0, 230.0, 260.0, 185.0])
ERRORS = np.array([1.03, 0.98, 1.01, 0.985, 0.99])


@pytest.mark.published("Bruland 1998, slope and critical load of a penetration test", "memory")
def test_points_on_the_form_of_the_ntnu_model_give_b_and_m1_back() -> None:
    """i0 = (M/M1)^b; M 250, M1 150, b 2.0 -> i0 2.77778 (NTNU, Bruland 1998; form from memory, unconfirmed)."""
    points = (LOADS / 150.0) ** 2.0
    found = penetration_curve(LOADS, points)
    assert found.slope == pytest.approx(2.0, rel=1e-12)
    assert found.critical_load_kN == pytest.approx(150.0, rel=1e-12)
    assert found.penetration(np.array([250.0]))[0] == pytest.approx(2.77778, abs=5e-6)
    with pytest.raises(FitError, match="more than half the points lie on one line"):
        penetration_curve(LOADS, points, robust=True)


def test_the_slope_and_its_interval_are_those_of_scipy() -> None:
    p = (LOADS / 120.0) ** 1.8 * ERRORS
    found = penetration_curve(LOADS, p)
    line = stats.linregress(np.log(LOADS), np.log(p))
    reach = stats.t.ppf(0.975, 3) * line.stderr
    assert (found.slope, found.slope_low, found.slope_high) == pytest.approx(
        (line.slope, line.slope - reach, line.slope + reach), rel=1e-9
    )
    assert found.critical_load_kN == pytest.approx(np.exp(-line.intercept / line.slope), rel=1e-9)
    # at the ends of the interval of the critical load the band of the line just holds 1 mm/rev
    x = np.log(LOADS)
    for end in (found.critical_load_low_kN, found.critical_load_high_kN):
        away = np.log(end) - x.mean()
        residual = np.sqrt(np.sum((np.log(p) - line.intercept - line.slope * x) ** 2) / 3)
        error = residual * np.sqrt(1 / 5 + away**2 / np.sum((x - x.mean()) ** 2))
        at = line.intercept + line.slope * np.log(end)
        assert abs(at) == pytest.approx(stats.t.ppf(0.975, 3) * error, rel=1e-6)
    assert found.points == 5


def test_robust_lets_one_wild_load_pull_less() -> None:
    loads = np.linspace(160.0, 260.0, 9)
    p = (loads / 120.0) ** 1.8 * np.resize(ERRORS, 9) ** 0.2
    p[1] *= 1.5
    plain, robust = (penetration_curve(loads, p, robust=one) for one in (False, True))
    assert abs(robust.slope - 1.8) < 0.5 * abs(plain.slope - 1.8)


@pytest.mark.parametrize(
    ("loads", "says"),
    [
        (LOADS[:3], "3 different loads were held"),
        (np.array([200.0, 201.0, 202.0, 240.0]), "2 different loads"),
        (np.array([np.nan, 200.0, 230.0, 260.0]), "3 different loads"),
        (np.array([200.0, 212.0, 224.5, 237.4]), "the load hardly varies, 200 to 237 kN"),
    ],
)
def test_what_is_no_test_is_refused_in_words(loads: np.ndarray, says: str) -> None:
    with pytest.raises(FitError, match=says):
        penetration_curve(loads, np.linspace(3, 6, len(loads)))


def test_without_a_sure_rise_there_is_no_critical_load() -> None:
    found = penetration_curve(LOADS, np.array([4.0, 3.0, 4.0, 3.5, 4.2]))
    assert np.isnan(found.critical_load_kN)
    assert "no sure rise" in found.said


def test_a_head_speed_that_does_not_hold_is_refused() -> None:
    holds_speed(np.array([6.0, 6.1, 5.9]))
    with pytest.raises(FitError, match=r"did not hold, 5\.50 to 6\.00 rpm"):
        holds_speed(np.array([6.0, 6.0, 5.5]))
