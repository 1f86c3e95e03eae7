"""Sums add: grouping and splitting lose nothing, whatever the groups or bounds."""

from itertools import groupby

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tbmreview.domain.sums import (
    ADD,
    MAX,
    MERGE,
    MIN,
    READING_SUMS,
    SAME_M,
    SUMS,
    group_sums,
    split_at,
    sum_of_all,
    sum_runs,
)
from tbmreview.domain.table import Table

NAMES = {
    ADD: [s.name for s in SUMS if s.merge == ADD],
    MIN: [s.name for s in SUMS if s.merge == MIN],
    MAX: [s.name for s in SUMS if s.merge == MAX],
}


@st.composite
def cell_tables(draw: st.DrawFn) -> Table:
    """Cells one after another along position, some without extent, with every sum."""
    count = draw(st.integers(1, 30))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    advance = rng.choice([0.0, 0.1, 0.037], count) * rng.random(count)
    ends = np.concatenate([[0.0], np.cumsum(advance)])
    columns = {name: rng.random(count) for name in NAMES[ADD]}
    columns |= {name: rng.random(count) for name in (*NAMES[MIN], *NAMES[MAX])}
    columns["advance_m"] = columns["turned_advance_m"] = advance  # as where everything is measured
    columns["turned_s"] = columns["boring_s"].copy()
    columns["thrust_s"] = np.append(columns["boring_s"][:-1], 0.0)  # nearly
    columns |= {"position_from_m": ends[:-1], "position_to_m": ends[1:]}
    columns |= {name: rng.integers(0, 10**15, count) for name in ("start_us", "end_us")}
    return Table(columns)


@given(cell_tables(), st.data())
@settings(max_examples=20)
def test_group_sums_conserve_totals_and_extremes(cells: Table, data: st.DataObject) -> None:
    group = np.array(data.draw(st.lists(st.integers(0, 5), min_size=len(cells), max_size=len(cells))))
    grouped = group_sums(cells, group, 6)
    for name in cells:
        if MERGE[name] == ADD:
            assert np.sum(grouped[name]) == pytest.approx(np.sum(cells[name]), rel=1e-12)
        elif cells[name].dtype.kind == "f":
            extreme = np.nanmin if MERGE[name] == MIN else np.nanmax
            assert extreme(grouped[name]) == extreme(cells[name])


@given(cell_tables())
@settings(max_examples=20)
def test_one_column_over_all_rows_is_what_one_group_of_all_gives(cells: Table) -> None:
    for rows in (cells, cells.rows(slice(0, 0))):
        grouped = group_sums(rows, np.zeros(len(rows), np.int64), 1)
        for name in grouped:
            np.testing.assert_allclose(sum_of_all(name, rows[name]), grouped[name], rtol=1e-14)


@given(cell_tables(), st.integers(1, 4), st.integers(1, 4))
@settings(max_examples=20)
def test_coarse_groups_are_sums_of_fine_ones(cells: Table, fine: int, factor: int) -> None:
    number = np.arange(len(cells)) // fine
    fine_groups = group_sums(cells, number, int(number.max()) + 1)
    coarser = np.arange(len(fine_groups)) // factor
    twice = group_sums(fine_groups, coarser, int(coarser.max()) + 1)
    once = group_sums(cells, number // factor, int(coarser.max()) + 1)
    for name in cells:
        np.testing.assert_allclose(twice[name], once[name], rtol=1e-12)


@given(cell_tables(), st.sampled_from([0, 1, 2, 9]))
@settings(max_examples=30)
def test_group_sums_agrees_with_a_plain_loop(cells: Table, rows_a_group: int) -> None:
    """0: groups in any order; else runs of so many rows, short and long ones, each second group without any."""
    number = np.arange(len(cells))
    group = 2 * (number // rows_a_group) if rows_a_group else number * 7 % 4
    size = int(group.max()) + 2
    grouped = group_sums(cells, group, size)
    plain = {ADD: np.sum, MIN: np.min, MAX: np.max}
    for name in cells:
        for g in range(size):
            members = cells[name][group == g]
            if len(members):
                assert grouped[name][g] == pytest.approx(plain[MERGE[name]](members), rel=1e-12)
            elif MERGE[name] == ADD:
                assert grouped[name][g] == 0
            elif cells[name].dtype.kind == "f":
                assert np.isnan(grouped[name][g])


def test_a_sum_over_something_unknown_is_unknown() -> None:
    cells = Table({"drag_kN_s": np.array([1.0, np.nan, 2.0])})
    np.testing.assert_array_equal(group_sums(cells, np.array([0, 0, 1]), 2)["drag_kN_s"], [np.nan, 2.0])


@given(cell_tables(), st.lists(st.floats(-0.5, 3.5), max_size=8))
@settings(max_examples=20)
def test_split_conserves_sums_and_stays_within_bounds(cells: Table, bounds: list[float]) -> None:
    edges = np.sort(np.array(bounds))
    pieces, interval = split_at(cells, edges)
    for name in NAMES[ADD]:
        assert np.sum(pieces[name]) == pytest.approx(np.sum(cells[name]), rel=1e-12)
    around = np.concatenate([[-np.inf], edges, [np.inf]])
    assert np.all(pieces["position_from_m"] >= around[interval] - SAME_M)
    assert np.all(pieces["position_to_m"] <= around[interval + 1] + SAME_M)


def test_split_divides_by_overlap() -> None:
    cells = Table(
        {
            "position_from_m": np.array([1.0]),
            "position_to_m": np.array([2.0]),
            "advance_m": np.array([1.0]),
            "thrust_work_kJ": np.array([800.0]),
            "thrust_max_kN": np.array([9.0]),
        }
    )
    pieces, interval = split_at(cells, [1.25])
    assert interval.tolist() == [0, 1]
    np.testing.assert_allclose(pieces["thrust_work_kJ"], [200.0, 600.0])
    np.testing.assert_allclose(pieces["thrust_max_kN"], [9.0, 9.0])
    np.testing.assert_allclose(pieces["position_to_m"], [1.25, 2.0])


def test_a_cell_without_extent_goes_whole_to_the_interval_that_begins_there() -> None:
    cells = Table(
        {"position_from_m": np.array([1.0]), "position_to_m": np.array([1.0]), "boring_s": np.array([5.0])}
    )
    pieces, interval = split_at(cells, [0.5, 1.0, 1.5])
    assert interval.tolist() == [2]
    assert pieces["boring_s"].tolist() == [5.0]


def test_a_bound_at_the_end_of_a_cell_leaves_no_sliver() -> None:
    cells = Table(
        {
            "position_from_m": np.array([0.0, 0.1]),
            "position_to_m": np.array([0.1, 0.2]),
            "advance_m": np.array([0.1, 0.1]),
        }
    )
    pieces, interval = split_at(cells, [0.1 + 1e-9])
    assert interval.tolist() == [0, 1]
    assert pieces["advance_m"].tolist() == [0.1, 0.1]


def test_names_are_given_once() -> None:
    names = [s.name for s in (*SUMS, *READING_SUMS)]
    assert len(names) == len(set(names))


@given(cell_tables(), st.data())
@settings(max_examples=20)
def test_runs_are_summed_and_rows_apart_stay_apart(cells: Table, data: st.DataObject) -> None:
    key = np.array(data.draw(st.lists(st.integers(0, 2), min_size=len(cells), max_size=len(cells))))
    runs = sum_runs(cells.with_columns({"stroke": key}), ("stroke",))
    assert runs["stroke"].tolist() == [k for k, _ in groupby(key.tolist())]
    assert np.sum(runs["advance_m"]) == pytest.approx(np.sum(cells["advance_m"]))
    assert len(sum_runs(cells.rows(slice(0, 0)), ())) == 0
