"""The robust local baseline against its slow twin and scipy."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from tbmreview.findings import baseline
from tbmreview.findings.baseline import local_baseline, places_beside


@given(st.integers(0, 2**32 - 1), st.integers(0, 60), st.floats(0.1, 20.0), st.integers(1, 400))
def test_the_baseline_is_scipys_median_and_deviation_of_each_window(
    seed: int, count: int, window: float, block: int
) -> None:
    rng = np.random.default_rng(seed)
    position, value = np.sort(rng.uniform(0, 40, count)), rng.normal(size=count)
    usable = rng.random(count) < 0.8
    at = np.sort(rng.uniform(-5, 45, 7))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(baseline, "BLOCK", block)
        median, deviation, number = local_baseline(position, value, usable, at, window)
    for i, place in enumerate(at):
        near = value[usable & (position >= place - window) & (position <= place + window)]
        assert number[i] == len(near)
        if len(near):
            assert median[i] == pytest.approx(np.median(near))
            assert deviation[i] == pytest.approx(stats.median_abs_deviation(near, scale="normal"), rel=1e-4)
        else:
            assert np.isnan(median[i])
            assert np.isnan(deviation[i])


def test_a_third_of_outliers_hardly_moves_it() -> None:
    position = np.arange(300) / 10
    value = np.random.default_rng(1).normal(3.5, 0.1, 300)
    value[::3] = 0.5
    median, _, _ = local_baseline(position, value, np.ones(300, bool), np.array([15.0]), 30.0)
    assert median[0] == pytest.approx(3.5, abs=0.1)


@pytest.mark.published("largest possible deviation in a sample", "derived")
def test_three_sigma_trap() -> None:
    """Largest |z| among k samples is (k - 1)/sqrt(k): 2.84605 of 10 and 3.01511 of 11 (derived), so the
    fewest cells of a baseline may not be set below 11."""
    for k, largest in ((10, 2.84605), (11, 3.01511), (12, 3.17543)):
        one_out = np.zeros(k)
        one_out[0] = 1.0
        assert (one_out[0] - one_out.mean()) / one_out.std(ddof=1) == pytest.approx(largest, rel=1e-5)


@pytest.mark.published("deviations of twelve values", "derived")
def test_a_published_series_has_one_outlier() -> None:
    """Mean 10.3333, s 1.15961, z(14) 3.16198 (derived); robustly the same value is far further out."""
    data = np.array([10.1, 9.9, 10, 10.2, 9.8, 10, 10.1, 9.9, 10, 10.05, 9.95, 14])
    assert (14 - data.mean()) / data.std(ddof=1) == pytest.approx(3.16198, rel=1e-5)
    median, deviation, _ = local_baseline(np.arange(12.0), data, np.ones(12, bool), np.array([5.0]), 20.0)
    assert (14 - median[0]) / deviation[0] > 20


def test_windows_beside_a_position_reach_to_it() -> None:
    position = np.array([0.05, 0.15, 7.0, 29.9])
    at, sides = places_beside(position, 30.0)
    near = 30.0 / baseline.PLACES_IN_WINDOW / 2 + 1e-9
    assert np.all(np.abs(at[sides[0]] + 15.0 - position) <= near)
    assert np.all(np.abs(at[sides[1]] - 15.0 - position) <= near)
