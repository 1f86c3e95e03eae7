"""Change points against the library's own cost and an exhaustive search; robust noise against scipy."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruptures.costs import CostL2
from scipy import stats

from tbmreview.findings import change_points as cp
from tbmreview.findings.change_points import CHI_SQUARED_95, change_points, interval, robust_sigma

LEAST = 4


def penalised(values: np.ndarray, changes: tuple[int, ...], penalty: float) -> float:
    """The library's cost of least squares of a segmentation, and its penalty."""
    cost = CostL2().fit(values[:, None])
    return float(cost.sum_of_costs([*changes, len(values)])) + penalty * len(changes)


@given(st.integers(0, 2**32 - 1), st.floats(0.2, 4.0))
@settings(max_examples=15)
def test_no_segmentation_of_few_changes_costs_less_by_the_librarys_cost(seed: int, penalty: float) -> None:
    rng = np.random.default_rng(seed)
    values = rng.normal(0, 0.2, 26) + np.repeat(rng.normal(0, 1, 2), 13)
    found = tuple(change_points(values, LEAST, penalty).tolist())
    ours = penalised(values, found, penalty)
    for count in range(3):
        for changes in combinations(range(LEAST, len(values) - LEAST + 1), count):
            if np.all(np.diff([0, *changes, len(values)]) >= LEAST):
                assert ours <= penalised(values, changes, penalty) + 1e-9


@pytest.mark.parametrize("at", [230, 240, 245, 300, 420])
def test_a_change_is_found_once_wherever_blocks_end(at: int) -> None:
    values = np.random.default_rng(at).normal(0, 0.1, 900)
    values[at : at + 9] += 1.0
    sigma = robust_sigma(values)
    assert change_points(values, LEAST, 6 * sigma**2 * np.log(900)).tolist() == [at, at + 9]
    assert cp.BLOCK < 900


def test_noise_has_no_change_points() -> None:
    values = np.random.default_rng(3).normal(0, 0.1, 5000)
    assert len(change_points(values, LEAST, 6 * 0.01 * np.log(5000))) == 0
    assert len(change_points(values[:5], LEAST, 0.01)) == 0


def test_robust_noise_is_that_beside_the_steps() -> None:
    rng = np.random.default_rng(1)
    values = rng.normal(0, 0.1, 4000)
    by_scipy = stats.median_abs_deviation(np.diff(values), scale="normal") / np.sqrt(2)
    assert robust_sigma(values) == pytest.approx(by_scipy, rel=0.05)
    stepped = values + np.repeat(rng.normal(0, 2, 40), 100)
    assert robust_sigma(stepped) == pytest.approx(0.1, rel=0.15)
    walk = np.convolve(values, np.ones(4), "same")  # neighbours alike: changes alone say too little
    assert robust_sigma(walk) > 1.5 * stats.median_abs_deviation(np.diff(walk), scale="normal") / np.sqrt(2)


def test_the_interval_of_a_change_holds_it_and_widens_with_noise() -> None:
    assert pytest.approx(stats.chi2.ppf(0.95, 1), rel=1e-6) == CHI_SQUARED_95
    widths, held = [], 0
    for noise in (0.1, 0.8):
        for seed in range(40):
            values = np.random.default_rng(seed).normal(0, noise, 60) + np.where(np.arange(60) < 30, 0.0, 1.0)
            first, last = interval(values, 30, (0, 60), noise)
            widths.append(last - first)
            held += first <= 30 <= last
    assert held >= 72  # 90 % of 80: by chance some are out
    assert np.mean(widths[:40]) < 1 < np.mean(widths[40:])
