"""Scales hold every value, or mark the few that lie far beyond the rest."""

import gc
import math

import numpy as np
from hypothesis import example, given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from tbmreview.scene import extent as module
from tbmreview.scene.extent import extent, measure, scale

columns = hnp.arrays(
    np.float64, st.integers(1, 60), elements=st.one_of(st.floats(-1e5, 1e5), st.just(math.nan))
)


@given(columns)
@example(np.array([5e-324]))
def test_a_linear_scale_holds_zero_and_the_bulk(values):
    low, high = scale([measure(values)], logarithmic=False)
    assert low <= 0 <= high
    assert low < high
    known = values[np.isfinite(values)]
    if len(known):
        unseen = 1e-6 + 1e-9 * np.ptp(known)  # no picture shows so little
        assert low <= np.quantile(known, 0.005) + unseen
        assert high >= np.quantile(known, 0.995) - unseen


@given(columns)
@example(np.array([5e-324]))
def test_a_logarithmic_scale_is_positive_and_has_room(values):
    low, high = scale([measure(values)], logarithmic=True)
    assert 0 < low < high


def test_plain_values_end_on_a_round_one():
    assert scale([measure(np.array([3.0, 9.7, 7.2]))], logarithmic=False) == (0.0, 10.0)
    assert scale([measure(np.array([4.0, 77.0, 30.0]))], logarithmic=True) == (2.0, 100.0)


def test_one_wild_value_does_not_flatten_the_rest():
    values = np.append(np.full(999, 10.0), 5_000.0)
    assert scale([measure(values)], logarithmic=False)[1] < 15


def test_a_limit_is_within_the_scale_even_without_values():
    assert scale([measure(np.array([100.0]))], logarithmic=False, at_least=312.0)[1] > 312
    assert scale([measure(np.array([math.nan]))], logarithmic=False, at_least=312.0)[1] > 312


def test_an_extent_is_kept_as_long_as_its_column_and_no_longer():
    column = np.arange(5.0)
    assert extent(column) is extent(column)
    gc.collect()  # what other tests left behind
    held = len(module._kept)
    del column
    gc.collect()
    assert len(module._kept) == held - 1
