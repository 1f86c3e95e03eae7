"""What is usual before a stroke, and trends over strokes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tbmreview.findings.strokes_before import LEAST_SPREAD, rise_a_stroke, usual_before

VALUES = st.lists(st.floats(1.0, 1e4), min_size=12, max_size=25)
ONE_SET = np.zeros(25, np.int8)


@settings(max_examples=30)
@given(VALUES)
def test_median_and_spread_of_the_strokes_before_are_those_of_scipy(values: list[float]) -> None:
    """scipy.stats.median_abs_deviation with scale "normal"."""
    x, n = np.array(values), len(values)
    usual = usual_before(x, ONE_SET[:n], np.zeros(n, bool), (8, 5))
    for i in range(n):
        before = np.log(x[max(0, i - 8) : i])
        assert usual.count[i] == len(before)
        if len(before) < 5:
            assert np.isnan(usual.median[i])
            continue
        assert np.log(usual.median[i]) == pytest.approx(np.median(before))
        spread = stats.median_abs_deviation(before, scale="normal")
        assert usual.spread[i] == pytest.approx(max(spread, LEAST_SPREAD), rel=1e-4)


@settings(max_examples=30)
@given(VALUES)
def test_the_rise_is_that_of_scipy(values: list[float]) -> None:
    """scipy.stats.theilslopes over the last five strokes that showed a value."""
    x, n = np.array(values), len(values)
    x[::4] = np.nan
    rise = rise_a_stroke(x, ONE_SET[:n], 5)
    for i in range(n):
        shown = np.flatnonzero(np.isfinite(x[: i + 1]))[-5:]
        if np.isnan(x[i]) or len(shown) < 5:
            assert np.isnan(rise[i])
        else:
            slope = stats.theilslopes(np.log(x[shown]), shown).slope
            assert rise[i] == pytest.approx(slope, abs=1e-12)


def test_sets_are_kept_apart_and_strokes_left_out_make_no_usual() -> None:
    x = np.array([1.0, 10.0] * 10)
    of_set = np.array([1, 2] * 10, np.int8)
    usual = usual_before(x, of_set, np.zeros(20, bool), (8, 5))
    assert usual.median[18:].tolist() == pytest.approx([1.0, 10.0])
    odd = np.where(np.arange(20) >= 14, 5.0, 1.0)
    left_out = np.arange(20) >= 14
    assert usual_before(odd, ONE_SET[:20], left_out, (8, 2)).median[19] == pytest.approx(1.0)
