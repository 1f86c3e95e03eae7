"""Level of detail against a slow, readable twin: no extreme lost, gaps stay gaps."""

from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tbmreview.scene import lod

NAN = float("nan")


def quarters(low: int, high: int) -> st.SearchStrategy[float]:
    """Multiples of 0.25, which floats hold exactly, so that rows and columns often share an edge."""
    return st.integers(low, high).map(lambda n: n / 4)


@st.composite
def records(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows rising along position, uneven, some apart, some without a value."""
    widths = draw(st.lists(quarters(1, 20), min_size=1, max_size=60))
    gaps = draw(
        st.lists(st.sampled_from([0.0, 0.0, 0.0, 0.75, 4.0]), min_size=len(widths), max_size=len(widths))
    )
    value = st.one_of(st.floats(-50, 50), st.just(NAN))
    values = draw(st.lists(value, min_size=len(widths), max_size=len(widths)))
    to_m = np.cumsum(np.array(widths) + gaps)
    return to_m - widths, to_m, np.array(values)


views = st.tuples(quarters(-20, 400), quarters(2, 800), st.sampled_from([1, 2, 3, 4, 8, 16, 37]))


def slow_columns(from_m, to_m, values, edges):
    """Every row looked at for every column."""
    low, high = [], []
    for left, right in pairwise(edges):
        met = [v for a, b, v in zip(from_m, to_m, values, strict=True) if b > left and a < right and v == v]
        low.append(min(met, default=NAN))
        high.append(max(met, default=NAN))
    return np.array(low), np.array(high)


@given(records(), views)
def test_columns_equal_the_slow_twin(record, view):
    from_m, to_m, values = record
    start, length, count = view
    edges = np.linspace(start, start + length, count + 1)
    low, high = lod.columns(values, lod.bins(from_m, to_m, edges))
    slow_low, slow_high = slow_columns(from_m, to_m, values, edges)
    np.testing.assert_array_equal(low, slow_low)
    np.testing.assert_array_equal(high, slow_high)


@given(records(), views)
def test_the_extremes_of_the_view_survive_any_number_of_columns(record, view):
    from_m, to_m, values = record
    start, length, count = view
    rows = lod.visible(from_m, to_m, (start, start + length))
    seen = values[rows][np.isfinite(values[rows])]
    edges = np.linspace(start, start + length, count + 1)
    low, high = lod.columns(values[rows], lod.bins(from_m[rows], to_m[rows], edges))
    if len(seen):
        assert np.nanmin(low) == seen.min()
        assert np.nanmax(high) == seen.max()
    else:
        assert not np.isfinite(low).any()


@given(records(), views, st.sampled_from([2, 3]))
def test_wider_columns_hold_what_their_columns_hold(record, view, wide):
    from_m, to_m, values = record
    start, length, count = view
    binned = lod.bins(from_m, to_m, np.linspace(start, start + length, count + 1))
    low, high = lod.columns(values, binned)
    low_wide, high_wide = lod.columns(values, lod.wider(binned, wide), values + 1)
    for i in range(-(-count // wide)):
        part = slice(i * wide, (i + 1) * wide)
        np.testing.assert_equal(low_wide[i], np.fmin.reduce(low[part]))
        np.testing.assert_equal(high_wide[i], np.fmax.reduce(high[part]) + 1)


def test_a_spike_in_the_last_row_is_kept():
    from_m = np.arange(1000.0)
    values = np.ones(1000)
    values[-1] = 99.0
    _, high = lod.columns(values, lod.bins(from_m, from_m + 1, np.linspace(0, 1000, 8)))
    assert high[-1] == 99.0
    assert high[:-1].max() == 1.0


def test_columns_of_an_unbroken_record_touch():
    edges_m = np.arange(0.0, 100.1, 0.3)
    values = np.random.default_rng(1).normal(size=len(edges_m) - 1)
    low, high = lod.columns(values, lod.bins(edges_m[:-1], edges_m[1:], np.linspace(0, 99.9, 41) + 0.01))
    assert (low[1:] <= high[:-1]).all()
    assert (high[1:] >= low[:-1]).all()


def test_a_gap_and_a_missing_value_stay_empty():
    from_m, to_m = np.array([0.0, 10, 30]), np.array([10.0, 20, 40])
    values = np.array([1.0, NAN, 3.0])
    low, _ = lod.columns(values, lod.bins(from_m, to_m, np.linspace(0, 40, 9)))
    np.testing.assert_array_equal(np.isfinite(low), [True, True, False, False, False, False, True, True])


@given(records(), st.tuples(st.floats(-5, 200), st.floats(0.1, 100)))
def test_visible_takes_the_rows_that_reach_in_and_no_other(record, view):
    from_m, to_m, _ = record
    low, high = view[0], view[0] + view[1]
    rows = lod.visible(from_m, to_m, (low, high))
    expected = [i for i in range(len(from_m)) if to_m[i] > low and from_m[i] < high]
    assert list(range(rows.start, rows.stop)) == expected


def test_steps_join_only_across_neighbours_with_values():
    from_m, to_m = np.array([0.0, 1, 2, 5, 6]), np.array([1.0, 2, 3, 6, 7])
    values = np.array([1.0, 2, 3, 4, NAN])
    assert lod.joints(from_m, to_m, values, 0.5).tolist() == [0, 1]
