"""Marks against a ground table: which of its zones were met, which not, and how far they were shifted."""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from tbmreview.domain.errors import UsageError
from tbmreview.domain.ground import MAPPED, PREDICTED
from tbmreview.domain.marks import Mark
from tbmreview.domain.table import Column, Table
from tbmreview.drive.columns_text import MATCH_COLUMNS
from tbmreview.drive.delays import texts
from tbmreview.drive.export import text_table
from tbmreview.drive.opened import Drive
from tbmreview.drive.which_ground import ground_entry, told

MATCHED, NOT_MARKED, NOT_IN_GROUND = "matched", "not marked", "not in the ground table"
WITHIN_M = 20.0  # a zone and a mark further apart than this have nothing to do with each other
ZONES = ("fault", "crushed")  # hatches of a ground table that a mark of a zone may answer to
ZONE_MARKS = ("fault zone", "shear zone", "crushed zone", "weathered zone", "blocky ground")
CHANGE = "change of rock"
SAME_M = 0.01  # intervals nearer than this follow each other


@dataclass(frozen=True, slots=True)
class _Zone:
    """An interval of a ground table, or the border between the rocks of two."""

    rock: str
    low_m: float
    high_m: float
    hatch: str = ""
    border: bool = False


_Row = tuple[Mark | None, _Zone | None]


def mark_matches(
    drive: Drive, kind: str = MAPPED, name: str | None = None, within_m: float = WITHIN_M
) -> Table:
    """Marks of zones and of changes of rock against the zones and borders of a ground table that were bored.

    Columns MATCH_COLUMNS, along position: outcome (matched; not marked: the ground table has it, no mark does;
    not in the ground table), mark and its kind, ground; bounds of both [m along the drive]; shifts of start and
    end, mark less ground, positive further along the drive; overlap. Each is matched once, what overlaps most
    first, then what lies nearest, at most within_m apart. compared_with names the table. DriveError if there is none.
    """
    if kind not in (MAPPED, PREDICTED):
        raise UsageError(f"--against {kind}: expected {MAPPED} or {PREDICTED}")
    entry = ground_entry(drive, kind, name)
    zones = _zones(drive, kind, name)
    marks = [m for m in drive.marks() if m.kind in ZONE_MARKS or m.kind == CHANGE]
    pairs = _pairs(marks, zones, within_m)
    of_mark = dict(pairs)
    rows: list[_Row] = [(m, zones[of_mark[i]] if i in of_mark else None) for i, m in enumerate(marks)]
    rows += [(None, z) for j, z in enumerate(zones) if j not in of_mark.values()]
    rows.sort(key=_begins)
    return _table(rows, told(kind, entry.name, entry.issued))


def _begins(row: _Row) -> float:
    mark, zone = row
    return mark.position_from_m if mark else zone.low_m if zone else np.nan


def _zones(drive: Drive, kind: str, name: str | None) -> list[_Zone]:
    """Zones, neighbouring intervals of one rock joined, and borders between other rocks, where it was bored."""
    ground, cells = drive.ground(kind, name), drive.cells
    if not len(cells) or not len(ground):
        return []
    low, high = float(np.nanmin(cells["position_from_m"])), float(np.nanmax(cells["position_to_m"]))
    joined: list[_Zone] = []
    columns = ("rock", "position_from_m", "position_to_m", "hatch")
    for one in (_Zone(*row) for row in zip(*(ground[c].tolist() for c in columns), strict=True)):
        last = joined[-1] if joined else None
        if (
            last
            and (last.rock, last.hatch) == (one.rock, one.hatch)
            and abs(last.high_m - one.low_m) < SAME_M
        ):
            joined[-1] = replace(last, high_m=one.high_m)
        else:
            joined.append(one)
    zones = [z for z in joined if z.hatch in ZONES and z.low_m < high and z.high_m > low]
    for last, one in pairwise(joined):
        rocks = not {last.hatch, one.hatch} & {*ZONES} and last.rock != one.rock
        if rocks and abs(last.high_m - one.low_m) < SAME_M and low < one.low_m < high:
            zones.append(_Zone(f"{last.rock} to {one.rock}", one.low_m, one.low_m, border=True))
    return zones


def _pairs(marks: list[Mark], zones: list[_Zone], within_m: float) -> list[tuple[int, int]]:
    """(mark, zone) that belong together, each once."""
    near = [
        (max(0.0, -overlap), -overlap, abs(_middle(m) - (z.low_m + z.high_m) / 2), i, j)
        for i, m in enumerate(marks)
        for j, z in enumerate(zones)
        if (m.kind == CHANGE) == z.border and (overlap := _overlap_m(m, z)) >= -within_m
    ]
    pairs: list[tuple[int, int]] = []
    for *_, i, j in sorted(near):
        if all(i != a and j != b for a, b in pairs):
            pairs.append((i, j))
    return pairs


def _overlap_m(mark: Mark, zone: _Zone) -> float:
    """Metres in common; negative: apart by so much."""
    return min(mark.position_to_m, zone.high_m) - max(mark.position_from_m, zone.low_m)


def _middle(mark: Mark) -> float:
    return (mark.position_from_m + mark.position_to_m) / 2


def _table(rows: list[_Row], against: str) -> Table:
    columns: dict[str, list[object]] = {name: [] for name in MATCH_COLUMNS}
    for mark, zone in rows:
        outcome = MATCHED if mark and zone else NOT_IN_GROUND if mark else NOT_MARKED
        bounds = (mark.position_from_m, mark.position_to_m) if mark else (np.nan, np.nan)
        there = (zone.low_m, zone.high_m) if zone else (np.nan, np.nan)
        row = (
            outcome, mark.id if mark else "", mark.kind if mark else "", zone.rock if zone else "", *bounds, *there,
            bounds[0] - there[0], bounds[1] - there[1],
            max(0.0, _overlap_m(mark, zone)) if mark and zone else np.nan, against,
        )  # fmt: skip
        for name, value in zip(MATCH_COLUMNS, row, strict=True):
            columns[name].append(value)
    out: dict[str, Column] = {}
    for name, values in columns.items():
        text = not name.endswith("_m")
        out[name] = texts([str(v) for v in values]) if text else np.array(values, np.float64)
    return Table(out)


def matches_text(drive: Drive, rows: Table) -> str:
    """For a terminal: the rows with chainages, then the counts."""
    if not len(rows):
        return "neither a mark of a zone or change of rock nor one in the ground table where it was bored"
    axis = drive.axis
    shown = rows.with_columns(
        {n: axis.chainage_m(rows[n]) for n in ("mark_from_m", "mark_to_m", "ground_from_m", "ground_to_m")}
    )
    counts = ", ".join(
        f"{n} {what}"
        for what in (MATCHED, NOT_MARKED, NOT_IN_GROUND)
        if (n := int(np.sum(rows["outcome"] == what)))
    )
    head = f"compared with {rows['compared_with'][0]}; places are chainages, shifts positive further along the drive"
    columns = tuple(n for n in MATCH_COLUMNS if n != "compared_with")
    return "\n".join([head, text_table(shown, drive.setup.drive.zone, columns), counts])
