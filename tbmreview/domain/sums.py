"""Sums that add: what a cell holds, how it merges, and the one way to group it.

A cell is identified by its KEYS and holds SUMS. Every grouping, coarse or fine, is a group-sum of
cells. No function takes an indicator and returns a coarser one.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.table import Table

ADD, MIN, MAX = "add", "min", "max"
SAME_M = 1e-6  # a bound so near to the end of a cell is at it; closer is noise of the arithmetic


@dataclass(frozen=True, slots=True)
class Sum:
    """One column of a cell: its unit, what it is and how two of them merge. per_advance: it grows with the
    advance, so where strokes are stretched to fit surveyed stations it is stretched with them."""

    name: str
    unit: str
    merge: str
    what: str
    per_advance: bool = False


KEYS: tuple[tuple[str, str], ...] = (
    ("stroke_start_us", "start of the stroke, microseconds UTC"),
    ("step", "0.1 m step on the station (domain.station)"),
    ("shift_start_us", "start of the shift, microseconds UTC"),
    ("pushing_set", "states.PushingSet"),
    ("reaction", "states.Reaction"),
    ("phase", "states.Phase"),
)

SUMS: tuple[Sum, ...] = (
    Sum("boring_s", "s", ADD, "credited seconds of boring"),
    Sum("advance_m", "m", ADD, "advance, the unrecorded included", per_advance=True),
    Sum("unrecorded_advance_m", "m", ADD, "advance in gaps of the record", per_advance=True),
    Sum("revolutions", "rev", ADD, "revolutions of the head while boring"),
    Sum("turned_s", "s", ADD, "boring seconds with head speed measured"),
    Sum("turned_advance_m", "m", ADD, "recorded advance with head speed measured", per_advance=True),
    Sum("thrust_kN_s", "kN s", ADD, "time integral of boring thrust"),
    Sum("thrust_s", "s", ADD, "boring seconds with thrust measured"),
    Sum("thrust_work_kJ", "kJ", ADD, "boring thrust times advance", per_advance=True),
    Sum("thrust_advance_m", "m", ADD, "recorded advance with thrust measured", per_advance=True),
    Sum("torque_kNm_s", "kNm s", ADD, "time integral of the magnitude of torque"),
    Sum("torque_s", "s", ADD, "boring seconds with torque measured"),
    Sum("torque_work_kJ", "kJ", ADD, "magnitude of torque times angle turned"),
    Sum(
        "torque_advance_m", "m", ADD, "recorded advance with torque and head speed measured", per_advance=True
    ),
    Sum("torque_revolutions", "rev", ADD, "revolutions with torque measured"),
    Sum("torque_turned_s", "s", ADD, "boring seconds with torque and head speed measured"),
    Sum("torque_kNm2_s", "kNm2 s", ADD, "time integral of the square of torque"),
    Sum("torque_step_kNm2_s", "kNm2 s", ADD, "half the squared change of torque from the sample before"),
    Sum("torque_step_s", "s", ADD, "boring seconds with that change measured"),
    Sum("penetration_mm_rev_s", "mm/rev s", ADD, "time integral of penetration at the samples"),
    Sum("penetration_s", "s", ADD, "boring seconds with penetration at the sample known"),
    Sum("penetration_mm2_rev2_s", "mm2/rev2 s", ADD, "time integral of the square of that penetration"),
    Sum("penetration_step_mm2_rev2_s", "mm2/rev2 s", ADD, "half its squared change from the sample before"),
    Sum("penetration_step_s", "s", ADD, "boring seconds with that change known"),
    Sum("samples", "", ADD, "boring samples, divided where a cell ends within one"),
    Sum("gripper_bar_s", "bar s", ADD, "time integral of gripper pressure"),
    Sum("gripper_s", "s", ADD, "boring seconds with gripper pressure measured"),
    Sum("belt_t", "t", ADD, "mass over the belt scale while boring"),
    Sum("belt_s", "s", ADD, "boring seconds with the belt rate measured"),
    Sum("thrust_min_kN", "kN", MIN, "least boring thrust"),
    Sum("thrust_max_kN", "kN", MAX, "greatest boring thrust"),
    Sum("torque_min_kNm", "kNm", MIN, "least magnitude of torque"),
    Sum("torque_max_kNm", "kNm", MAX, "greatest magnitude of torque"),
    Sum("position_from_m", "m", MIN, "where its advance begins"),
    Sum("position_to_m", "m", MAX, "where its advance ends"),
    Sum("start_us", "us", MIN, "its first instant, microseconds UTC (int64)"),
    Sum("end_us", "us", MAX, "its last instant, microseconds UTC (int64)"),
)

# Sums that exist at reading only: what `net` subtracts, and shares of the key. They add like the
# others and are made from cells and strokes by drive.reading.
READING_SUMS: tuple[Sum, ...] = (
    Sum("ring_reacted_advance_m", "m", ADD, "advance with reaction ring"),
    Sum("known_reaction_advance_m", "m", ADD, "advance with the reaction known"),
    Sum("drag_kN_s", "kN s", ADD, "drag times the seconds with thrust measured"),
    Sum("drag_work_kJ", "kJ", ADD, "drag times the advance with thrust measured"),
    Sum("no_load_kNm_s", "kNm s", ADD, "no-load torque times the seconds with torque measured"),
    Sum("no_load_work_kJ", "kJ", ADD, "no-load torque times 2 pi times revolutions"),
    Sum("drag_sd_kN_s", "kN s", ADD, "standard deviation of drag times the seconds with thrust measured"),
    Sum("thrust_var_kN2_s2", "kN2 s2", ADD, "variance that sampling leaves in the time integral of thrust"),
    Sum(
        "no_load_sd_kNm_s", "kNm s", ADD, "standard deviation of no-load torque times the seconds with torque"
    ),
    Sum(
        "thrust_installed_kN_s",
        "kN s",
        ADD,
        "installed thrust of the pushing set times the seconds of thrust",
    ),
    Sum("steady_s", "s", ADD, "boring seconds without loading and unloading"),
    Sum("phased_s", "s", ADD, "boring seconds with loading and unloading told apart"),
    Sum("steady_advance_m", "m", ADD, "recorded advance without loading and unloading", per_advance=True),
    Sum("phased_advance_m", "m", ADD, "recorded advance with these told apart", per_advance=True),
)

MERGE: dict[str, str] = {s.name: s.merge for s in (*SUMS, *READING_SUMS)}
SHORT_RUN = (
    4  # rows a run: below it reduceat costs more per run than adding the rows after the first one by one
)
_REDUCE = {ADD: np.add, MIN: np.fmin, MAX: np.fmax}
_LOOKED_AT = 5  # values by which two columns are told apart before they are compared whole

Group = NDArray[np.int64]
Values = NDArray[np.generic]


@dataclass(frozen=True, slots=True)
class _Runs:
    """Rows that follow each other in one group. starts: the first row of each run; further: the rows after it,
    with the number of their run; None where runs are long."""

    starts: Group
    further: tuple[Group, Group] | None

    def merged(self, values: Values, merge: str) -> Values:
        """One value a run."""
        if self.further is None:
            return np.asarray(_REDUCE[merge].reduceat(values, self.starts))
        rows, run = self.further
        out = values.take(self.starts)
        _REDUCE[merge].at(out, run, values.take(rows))
        return out


def _runs(begins: NDArray[np.bool_]) -> _Runs:
    """The runs of n rows of which (n,) those that begin one are marked."""
    starts = np.flatnonzero(begins)
    if len(begins) >= SHORT_RUN * len(starts):
        return _Runs(starts, None)
    rows = np.flatnonzero(~begins)
    return _Runs(starts, (rows, np.cumsum(begins)[rows] - 1))


def group_sums(table: Table, group: Group, size: int) -> Table:
    """Sum columns of `table` by group number.

    group: (n,) int64, each in 0 <= g < size, in any order. Returns a table of `size` rows with
    each sum column of `table`; a group without rows has 0 in sums and NaN in minima and maxima
    (int64 columns: 0). Added NaN stays NaN: a sum over something unknown is unknown.
    """
    if np.any(group[1:] < group[:-1]):
        order = np.argsort(group, kind="stable")
        group, table = group[order], table.rows(order)
    runs = _runs(_begins(group))
    present = group[runs.starts]
    full = len(present) == size
    return Table({n: v if full else _spread(v, n, present, size) for n, v in _merged(table, runs).items()})


def sum_of_all(name: str, values: Values) -> Values:
    """The rows of one sum column (n,) as one row (1,), as group_sums gives it but for the order of adding."""
    if not len(values):
        return _spread(values, name, np.empty(0, np.int64), 1)
    return _Runs(np.zeros(1, np.int64), None).merged(values, MERGE[name])


def _merged(table: Table, runs: _Runs) -> dict[str, Values]:
    """The sum columns of each run. Where everything is measured many are one and the same column, the seconds or the
    advance: it is summed once, and stays one."""
    kept: dict[tuple[object, ...], list[tuple[Values, Values]]] = {}
    out: dict[str, Values] = {}
    for name in (name for name in table if name in MERGE):
        values, merge = table[name], MERGE[name]
        look = values[:: max(len(values) // _LOOKED_AT, 1)].tolist()
        same = kept.setdefault((merge, values.dtype, *look), [])
        found = next((sums for other, sums in same if other is values or np.array_equal(other, values)), None)
        if found is None:
            found = runs.merged(values, merge)
            same.append((values, found))
        out[name] = found
    return out


def _spread(values: Values, name: str, present: Group, size: int) -> Values:
    """Values of the groups that are present, among all."""
    whole = np.issubdtype(values.dtype, np.integer)
    empty = 0 if whole or MERGE[name] == ADD else np.nan
    column = np.full(size, empty, np.int64 if whole else np.float64)
    column[present] = values
    return column


def _begins(values: NDArray[np.generic]) -> NDArray[np.bool_]:
    """Whether each value differs from the one before it, (n,); the first does."""
    begins = np.ones(len(values), bool)
    np.not_equal(values[1:], values[:-1], out=begins[1:])
    return begins


def run_starts(table: Table, keys: Sequence[str]) -> NDArray[np.bool_]:
    """Whether each row differs from the one before it in any of `keys`, (n,); the first does."""
    begins = np.zeros(len(table), bool)
    begins[:1] = True
    for name in keys:
        begins |= _begins(table[name])
    return begins


def sum_runs(table: Table, keys: Sequence[str], begins: NDArray[np.bool_] | None = None) -> Table:
    """Rows that follow each other with the same values of `keys` as one: its keys and its sum columns. begins:
    `run_starts` of them, where it is known."""
    runs = _runs(run_starts(table, keys) if begins is None else begins)
    return Table({**{name: table[name].take(runs.starts) for name in keys}, **_merged(table, runs)})


def split_at(
    table: Table, bounds_m: Sequence[float] | NDArray[np.float64]
) -> tuple[Table, NDArray[np.int64]]:
    """Split cells at positions, each sum in proportion to the advance on either side.

    bounds_m: (k,) rising positions. Returns the pieces and, for each, the number of the interval
    it lies in: 0 before the first bound, i between bound i-1 and i, k after the last. Minima,
    maxima and times go to both pieces. A cell without extent goes whole to the interval that
    begins at or before it; a cell that passes a bound by a micrometre or less is not divided there.
    Totals are kept up to rounding.
    """
    bounds = np.asarray(bounds_m, np.float64)
    low, high = table["position_from_m"], table["position_to_m"]
    first = np.searchsorted(bounds, low + SAME_M, side="right")
    last = np.maximum(first, np.searchsorted(bounds, high - SAME_M, side="left"))
    count = last - first + 1
    parent = np.repeat(np.arange(len(table)), count)
    interval = np.arange(len(parent)) - np.repeat(np.cumsum(count) - count, count) + first[parent]
    pieces = table.rows(parent)
    if not np.any(count > 1):
        return pieces, interval
    edges = np.r_[-np.inf, bounds, np.inf]
    piece_low = np.where(interval == first[parent], low[parent], edges[interval])
    piece_high = np.where(interval == last[parent], high[parent], edges[interval + 1])
    whole = (high - low)[parent]
    share = np.where(count[parent] > 1, (piece_high - piece_low) / np.where(whole > 0, whole, 1.0), 1.0)
    added = {n: pieces[n] * share for n in pieces if MERGE.get(n) == ADD}
    return pieces.with_columns({**added, "position_from_m": piece_low, "position_to_m": piece_high}), interval
