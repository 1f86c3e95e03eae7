"""Indicators along the drive: cells grouped, then the same functions for every grouping."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from tbmreview.domain.errors import DriveError, UsageError
from tbmreview.domain.ground import MAPPED, OUTSIDE
from tbmreview.domain.shifts import ShiftBounds, shifts_covering
from tbmreview.domain.states import PUSHING_LABELS, REACTION_LABELS, Phase
from tbmreview.domain.station import decimetres
from tbmreview.domain.sums import group_sums, run_starts, split_at, sum_runs
from tbmreview.domain.table import Column, Table, stack
from tbmreview.drive.classes import boreability_columns, class_columns, converted_columns
from tbmreview.drive.columns_text import STROKE_LABELS, TABLE_COLUMNS
from tbmreview.drive.reading import (
    NO_STROKE,
    NO_TIME,
    READ,
    Codes,
    Floats,
    Readable,
    by_run,
    reading,
    sources_of,
    with_phases,
)
from tbmreview.drive.ring_places import known_rings, numbered, ring_numbers, ring_places
from tbmreview.drive.which_ground import which_ground
from tbmreview.indicators import INDICATORS, indicator_columns
from tbmreview.motion.record import RESOLVES_PHASES_S

ALL, STEADY = "all boring", "steady boring"
_PLACE = ("position_from_m", "position_to_m", "start_us", "end_us")
_OWN = ("advance_m", "boring_s", "revolutions", "turned_s", "unrecorded_advance_m")
_KEYS = ("step", "stroke_start_us", "shift_start_us", "pushing_set", "reaction")
_NEEDED = {*_PLACE, *_OWN, *(n for i in INDICATORS for n in i.needs), *READ, *_KEYS}


@dataclass(frozen=True, slots=True)
class Groups:
    """Cells with the number of the row that each belongs to.

    size: count of rows; one without cells is dropped unless keep_empty. low_m, high_m: bounds of the
    rows [m], where they are more than the extent of their advance. labels: further columns.
    """

    cells: Table
    number: Codes
    size: int
    low_m: Floats | None = None
    high_m: Floats | None = None
    labels: dict[str, Column] = field(default_factory=dict)
    keep_empty: bool = False


@dataclass(frozen=True, slots=True)
class Asked:
    """What a table is asked for: as `table`, and columns on request (drive.on_request). ground, ground_name: kind
    and name of the ground table of `--by ground`, by default the one imported last; convert: conversions of its
    columns (drive.classes)."""

    by: str
    step_m: float = 1.0
    from_chainage_m: float | None = None
    to_chainage_m: float | None = None
    steady_only: bool = False
    uncertainty: bool = False
    response: bool = False
    ground: str = MAPPED
    ground_name: str | None = None
    convert: tuple[str, ...] = ()


# Further columns from the cells of each row and their sums.
Beside = Callable[[Readable, Groups, Table], dict[str, Column]]


@dataclass(frozen=True, slots=True)
class _Request:
    drive: Readable
    cells: Table
    step_m: float
    bounds_m: tuple[float, float]
    every_cell: bool
    ground: tuple[str, str | None] = (MAPPED, None)
    convert: tuple[str, ...] = ()


def table(
    drive: Readable,
    by: str,
    step_m: float = 1.0,
    from_chainage_m: float | None = None,
    to_chainage_m: float | None = None,
    steady_only: bool = False,
) -> Table:
    """Every indicator by step, stroke, ring, ring-place, shift, day, ground, mark or drive.

    Columns are TABLE_COLUMNS, then what else the grouping says of a row (ground, mark, date; STROKE_LABELS
    of a stroke). Rows rise along position. Missing is NaN, '' or NO_TIME. `from` and `to` are chainages in m,
    in either order; cells that cross them are divided. steady_only: without the loading and unloading of
    strokes, and without unrecorded advance; the column `counted` says which. UsageError if `by` or the step is
    none; DriveError if steady boring is asked for and no log was fast enough to show it.
    """
    return table_beside(drive, Asked(by, step_m, from_chainage_m, to_chainage_m, steady_only))


def table_beside(drive: Readable, asked: Asked, beside: Sequence[Beside] = ()) -> Table:
    """The table that is asked for, with what `beside` adds after its columns."""
    if asked.by not in _GROUPINGS:
        raise UsageError(f"--by {asked.by}: expected one of {', '.join(_GROUPINGS)}")
    cells = with_phases(_steady(drive.cells) if asked.steady_only else drive.cells)
    needed = _NEEDED | {"samples"} if asked.uncertainty else _NEEDED
    cells = Table({name: values for name, values in cells.columns.items() if name in needed})
    bounds = _bounds(drive, asked.from_chainage_m, asked.to_chainage_m)
    cells = between(cells, *bounds)
    ground = (asked.ground, asked.ground_name)
    request = _Request(drive, cells, asked.step_m, bounds, asked.response, ground, asked.convert)
    groups = _GROUPINGS[asked.by](request)
    return _rows(drive, groups, STEADY if asked.steady_only else ALL, beside)


def _steady(cells: Table) -> Table:
    steady = cells.rows(cells["phase"] == Phase.STEADY)
    if len(cells) and not len(steady):
        raise DriveError(
            f"steady boring: logs at intervals of more than {RESOLVES_PHASES_S:g} s do not tell it from loading and "
            "unloading, and this drive has no faster ones; leave out --steady"
        )
    return steady


def _bounds(drive: Readable, from_m: float | None, to_m: float | None) -> tuple[float, float]:
    given = [None if c is None else float(drive.axis.position_m(c)) for c in (from_m, to_m)]
    if given[0] is not None and given[1] is not None and given[0] > given[1]:
        given.reverse()
    low, high = given
    return -np.inf if low is None else low, np.inf if high is None else high


def between(cells: Table, low_m: float, high_m: float) -> Table:
    """The part of the cells at positions low <= x < high, [m]; cells that cross a bound are divided."""
    if low_m == -np.inf and high_m == np.inf:
        return cells
    near = cells.rows((cells["position_to_m"] >= low_m) & (cells["position_from_m"] <= high_m))
    pieces, interval = split_at(near, np.array([low_m, high_m]))
    return pieces.rows(interval == 1)


def _read(request: _Request, cells: Table, number: Codes) -> tuple[Table, Codes]:
    """(cells as they are read, the row of each); neighbours that no row tells apart are summed first
    where that at least halves them and not every cell is asked for."""
    cells, apart = cells.with_columns({"row": number}), (*_KEYS[1:], "row")
    if not request.every_cell:
        begins = run_starts(cells, apart)
        if 2 * np.count_nonzero(begins) <= len(cells):
            cells = sum_runs(cells, apart, begins)
    drive = request.drive
    return reading(cells, drive.strokes, drive.setup.machine), cells["row"]


def _by_step(request: _Request) -> Groups:
    try:
        size = decimetres(request.step_m)
    except (ValueError, OverflowError) as error:
        raise UsageError(f"--step {request.step_m:g}: {error}") from None
    axis = request.drive.axis
    step = axis.coarser(request.cells["step"], size)
    if axis.zones:  # numbers without end lie between the steps on either side of a chainage equation
        steps, row = np.unique(step, return_inverse=True)
    else:
        first = int(step.min()) if len(step) else 0
        steps, row = np.arange(first, int(step.max()) + 1 if len(step) else first), step - first
    low, high = (np.clip(of(steps, size), *request.bounds_m) for of in (axis.step_start_m, axis.step_end_m))
    return Groups(*_read(request, request.cells, row), len(steps), low, high)


def _by_stroke(request: _Request) -> Groups:
    groups = _by_key(request, "stroke_start_us")
    stroke = np.zeros(groups.size, np.int64)
    stroke[groups.number] = groups.cells["stroke"]
    return replace(groups, labels=_stroke_labels(request.drive.strokes, stroke))


def _stroke_labels(strokes: Table, stroke: Codes) -> dict[str, Column]:
    """What the table of strokes says of each stroke number, by name; missing for NO_STROKE."""
    known = stroke != NO_STROKE
    rows = strokes.rows(stroke[known] - 1)
    words: dict[str, Mapping[Any, str]] = {"pushing_set": PUSHING_LABELS, "reaction": REACTION_LABELS}
    out: dict[str, Column] = {}
    for name in STROKE_LABELS:
        texts = rows[name].dtype == object or name in words
        out[name] = np.full(len(stroke), "", object) if texts else np.full(len(stroke), np.nan)
        out[name][known] = [words[name][k] for k in rows[name].tolist()] if name in words else rows[name]
    return out


def _by_shift(request: _Request) -> Groups:
    return _by_key(request, "shift_start_us")


def _by_key(request: _Request, key: str) -> Groups:
    cells, _ = _read(request, request.cells, _one_row(request.cells))
    distinct, number = np.unique(cells[key], return_inverse=True)
    return Groups(cells, number.astype(np.int64), len(distinct))


def _one_row(cells: Table) -> Codes:
    return np.zeros(len(cells), np.int64)


def _by_day(request: _Request) -> Groups:
    cells, number = _read(request, request.cells, _one_row(request.cells))
    shifts = _shifts(request.drive, cells["shift_start_us"])
    if shifts is None:
        return Groups(cells, number, 0, labels={"date": np.empty(0, object)})
    days = np.array([day.toordinal() for day in shifts.dates], np.int64)
    dates = np.array([day.isoformat() for day in shifts.dates], dtype=object)
    _, first, day = np.unique(days, return_index=True, return_inverse=True)
    of_cells = day[shifts.index(cells["shift_start_us"])].astype(np.int64)
    return Groups(cells, of_cells, len(first), labels={"date": dates[first]})


def _by_ground(request: _Request) -> Groups:
    kind, name = request.ground
    ground = request.drive.ground(kind, name)
    labels: dict[str, Column] = {"ground": np.array([*ground["rock"].tolist(), OUTSIDE], dtype=object)}
    told = which_ground(request.drive, kind, name)
    labels |= {column: np.full(len(ground) + 1, text, object) for column, text in told.items()}
    known = class_columns(ground) | converted_columns(ground, request.convert)
    for column, values in known.items():  # of what no interval covers nothing is known
        labels[column] = np.append(values, np.nan if values.dtype.kind == "f" else "")
    return _by_interval(request, ground["position_from_m"], ground["position_to_m"], labels)


def _by_ring(request: _Request) -> Groups:
    rings = known_rings(request.drive)
    return _by_interval(request, rings["position_from_m"], rings["position_to_m"], numbered(rings))


def _by_ring_place(request: _Request) -> Groups:
    low, high = ring_places(request.drive)
    return _by_interval(request, low, high, numbered(request.drive.rings))


def _by_mark(request: _Request) -> Groups:
    """Each mark by itself: they may overlap, so they carry no total."""
    marks = request.drive.marks()
    parts = [between(request.cells, m.position_from_m, m.position_to_m) for m in marks]
    number = np.repeat(np.arange(len(parts), dtype=np.int64), [len(part) for part in parts])
    cells = stack([request.cells.rows(slice(0, 0)), *parts])
    named = np.array([*(f"{m.id} {m.kind}" for m in marks), ""], dtype=object)[:-1]
    return Groups(*_read(request, cells, number), len(parts), labels={"mark": named})


def _by_drive(request: _Request) -> Groups:
    return Groups(*_read(request, request.cells, _one_row(request.cells)), 1, keep_empty=True)


_GROUPINGS: dict[str, Callable[[_Request], Groups]] = {
    "step": _by_step,
    "stroke": _by_stroke,
    "ring": _by_ring,
    "ring-place": _by_ring_place,
    "shift": _by_shift,
    "day": _by_day,
    "ground": _by_ground,
    "mark": _by_mark,
    "drive": _by_drive,
}


def _by_interval(
    request: _Request, low_m: Floats, high_m: Floats, labels: dict[str, Column] | None = None
) -> Groups:
    pieces, number = pieces_of(request.cells, low_m, high_m)
    return Groups(*_read(request, pieces, number), len(low_m) + 1, labels=labels or {})


def pieces_of(cells: Table, low_m: Floats, high_m: Floats) -> tuple[Table, Codes]:
    """Cells divided at n intervals [m], and the number of the interval that each piece lies in; n is what no
    interval covers, so that totals hold. Where intervals overlap, the ground belongs to the first that names
    it."""
    bounds = np.unique(np.r_[low_m, high_m])
    owner = np.full(len(bounds) + 1, len(low_m), np.int64)
    first, last = np.searchsorted(bounds, low_m), np.searchsorted(bounds, high_m)
    for i in range(len(low_m) - 1, -1, -1):
        owner[first[i] + 1 : last[i] + 1] = i
    pieces, interval = split_at(cells, bounds)
    return pieces, owner[interval]


def _rows(drive: Readable, groups: Groups, counted: str, beside: Sequence[Beside]) -> Table:
    """The finished table of a grouping; counted: which boring its cells are of; beside: adds columns."""
    groups = _in_order(groups)
    sums = group_sums(groups.cells, groups.number, groups.size)
    single = _single_keys(drive, groups)
    columns: dict[str, Column] = {**_place(drive, groups, sums), **single}
    columns |= {name: sums[name] for name in ("advance_m", "boring_s", "unrecorded_advance_m")}
    columns["revolutions"] = np.where(sums["turned_s"] > 0, sums["revolutions"], np.nan)
    columns |= indicator_columns(sums, drive.setup.machine)
    columns["ring"] = ring_numbers(drive.rings, sums["position_from_m"], sums["position_to_m"])
    columns["counted"] = _same_text(counted, groups.size)
    rows = Table({name: columns[name] for name in TABLE_COLUMNS} | groups.labels)
    if "ground" in groups.labels:
        rows = rows.with_columns(boreability_columns(rows["net_fpi_kN_per_mm_rev"]))
    for add in beside:
        rows = rows.with_columns(add(drive, groups, sums))
    kept = np.full(groups.size, groups.keep_empty) | (sums["boring_s"] > 0) | (sums["advance_m"] > 0)
    order = np.argsort(rows["position_from_m"], kind="stable")
    in_place = np.all(kept) and np.all(order[1:] > order[:-1])
    return rows if in_place else rows.rows(order[kept[order]])


def _in_order(groups: Groups) -> Groups:
    """The same with cells sorted by row."""
    if not np.any(groups.number[1:] < groups.number[:-1]):
        return groups
    order = np.argsort(groups.number, kind="stable")
    return replace(groups, cells=groups.cells.rows(order), number=groups.number[order])


def _place(drive: Readable, groups: Groups, sums: Table) -> dict[str, Column]:
    low = sums["position_from_m"] if groups.low_m is None else groups.low_m
    high = sums["position_to_m"] if groups.high_m is None else groups.high_m
    filled = np.zeros(groups.size, bool)
    filled[groups.number] = True
    return {
        "position_from_m": low,
        "position_to_m": high,
        "chainage_from_m": drive.axis.chainage_m(low),
        "chainage_to_m": drive.axis.chainage_m(high, ends=True),
        "start_utc": np.where(filled, sums["start_us"], NO_TIME),
        "end_utc": np.where(filled, sums["end_us"], NO_TIME),
    }


def _single_keys(drive: Readable, groups: Groups) -> dict[str, Column]:
    """stroke, shift and drag_source of each row; a row over several strokes or shifts has none.

    Cells are in order of time within a row, so a row has one stroke where its first and last have the same.
    """
    stroke = np.full(groups.size, np.nan)
    shift = _same_text("", groups.size)
    codes = np.zeros(groups.size, np.int64)
    cells, number = groups.cells, groups.number
    if len(number):
        starts = np.flatnonzero(np.r_[True, number[1:] != number[:-1]])
        present = number[starts]
        last = np.append(starts[1:], len(number)) - 1
        of_first, of_last = cells["stroke"][starts], cells["stroke"][last]
        stroke[present] = np.where((of_first == of_last) & (of_first != NO_STROKE), of_first, np.nan)
        of_first, of_last = cells["shift_start_us"][starts], cells["shift_start_us"][last]
        one = of_first == of_last
        shift[present[one]] = _shift_names(drive, of_first[one])
        codes[present] = np.bitwise_or.reduceat(cells["drag_code"], starts)
    return {"stroke": stroke, "shift": shift, "drag_source": sources_of(drive.strokes).text(codes)}


def _shifts(drive: Readable, starts: Codes) -> ShiftBounds | None:
    return shifts_covering(drive.setup, int(starts.min()), int(starts.max())) if len(starts) else None


def _shift_names(drive: Readable, starts: Codes) -> Column:
    shifts = _shifts(drive, starts)
    if shifts is None:
        return np.empty(0, object)
    names = np.array(shifts.names, object)
    return by_run(starts, lambda distinct: names[shifts.index(distinct)])


def _same_text(text: str, count: int) -> Column:
    """One text in every row (numpy's own way takes ten times as long)."""
    return np.repeat(np.array([text], object), count)
