"""Tables that a site states beside the logs -> the columns of domain.site: surveyed stations, chainage
equations, delays, disc changes, backfill, water, the alignment. Times are local to the drive unless a value or its header says otherwise."""

import re
import tomllib
from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from tbmreview.domain.errors import SiteError
from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.setup import DriveFacts
from tbmreview.domain.site import (
    ALIGNMENT,
    ANCHORS,
    BACKFILL,
    DELAYS,
    DISC_CHANGES,
    EQUATIONS,
    SITE_COLUMNS,
    WATER,
    site_column,
)
from tbmreview.domain.table import Table
from tbmreview.ingest.small_table import Kind, SmallTable, open_table
from tbmreview.ingest.stamp_text import is_dated, is_time_of_day
from tbmreview.ingest.synonyms import fold_words
from tbmreview.ingest.table_times import Times, stamp_text_of

WORDS = "site_words.toml"
FARTHEST_OFFSET_M = 1000.0

_STATIONS = Kind(
    "table of surveyed stations",
    "expected columns for when (time, or date and time) and where (chainage); optional are the offset behind "
    "the face, point, sd and note",
    SiteError,
    (WORDS, "anchors"),
    lambda columns: "chainage" in columns and not {"time", "date"}.isdisjoint(columns),
)
_EQUATIONS = Kind(
    "table of chainage equations",
    "expected columns for when it came into force (time, or date and time) and for the chainage of one place "
    "counted from behind and from there on (back, ahead)",
    SiteError,
    (WORDS, "equations"),
    lambda columns: {"back", "ahead"} <= {*columns} and not {"time", "date"}.isdisjoint(columns),
)
_DELAYS = Kind(
    "table of delays",
    "expected columns for start, end (or duration) and code; optional are dates of their own and a note",
    SiteError,
    (WORDS, "delays"),
    lambda columns: {"start", "code"} <= {*columns} and not {"end", "duration"}.isdisjoint(columns),
)
_CHANGES = Kind(
    "table of disc changes",
    "expected columns for when (time, or date and time) and which disc (the number of its position, 1-8 or all); "
    "optional are reason, wear [mm] and note",
    SiteError,
    (WORDS, "disc changes"),
    lambda columns: "disc" in columns and not {"time", "date"}.isdisjoint(columns),
)
_BACKFILL = Kind(
    "table of backfill",
    "expected columns for the ring and for what was pumped behind it: mortar [m3], pea gravel [m3] or both; optional "
    "is a note",
    SiteError,
    (WORDS, "backfill"),
    lambda columns: "ring" in columns and not {"mortar", "gravel"}.isdisjoint(columns),
)
_WATER = Kind(
    "table of water inflow",
    "expected columns for the stretch (chainage from, chainage to) and its inflow [l/min]; optional is a note",
    SiteError,
    (WORDS, "water"),
    lambda columns: {"from", "to", "inflow"} <= {*columns},
)

_ALIGNMENT = Kind(
    "table of alignment points",
    "expected columns for chainage, east and north, and elevation where it is known, all in m",
    SiteError,
    (WORDS, "alignment"),
    lambda columns: {"chainage", "east", "north"} <= {*columns},
)


def read_stations(path: Path | str, facts: DriveFacts, span_us: tuple[int, int] | None = None) -> Table:
    """Surveyed stations in the columns of domain.site, in the order of the file.

    span_us: of the drive's samples; tells 3 April from 4 March where the dates could be either.
    SiteError names file and row and says what was expected.
    """
    table = open_table(Path(path), _STATIONS)
    times = Times(table, facts.zone, span_us)
    rows = []
    for number, row in table:
        chainage = _metres(table, number, row, "chainage")
        offset, name = _offset(table, number, row, facts)
        rows.append(
            {
                "time_us": times.instant(number, row, "time", ("date",)),
                "chainage_m": chainage,
                "offset_m": offset,
                "sd_m": _spread(table, number, row),
                "note": "; ".join(text for text in (name, table.text(row, "note")) if text),
            }
        )
    return _site_table(ANCHORS, rows)


def read_equations(path: Path | str, zone: ZoneInfo, span_us: tuple[int, int] | None = None) -> Table:
    """Chainage equations in the columns of domain.site, in the order of the file; see read_stations."""
    table = open_table(Path(path), _EQUATIONS)
    times = Times(table, zone, span_us)
    rows = [
        {
            "time_us": times.instant(number, row, "time", ("date",), or_midnight=True),
            "back_m": _metres(table, number, row, "back"),
            "ahead_m": _metres(table, number, row, "ahead"),
            "note": table.text(row, "note"),
        }
        for number, row in table
    ]
    return _site_table(EQUATIONS, rows)


def read_delays(path: Path | str, zone: ZoneInfo, span_us: tuple[int, int] | None = None) -> Table:
    """Delays in the columns of domain.site, in the order of the file; see read_stations. An end written as a
    time of day earlier than its start lies on the day after. code is '' where none is given."""
    table = open_table(Path(path), _DELAYS)
    times = Times(table, zone, span_us)
    rows = []
    for number, row in table:
        start = times.instant(number, row, "start", ("start_date", "date"))
        end = _end(table, times, (number, row), start)
        if end <= start:
            raise table.fail(number, "the delay ends before it begins, or has no length")
        rows.append(
            {
                "start_us": start,
                "end_us": end,
                "code": table.text(row, "code"),
                "note": table.text(row, "note"),
            }
        )
    return _site_table(DELAYS, rows)


def read_disc_changes(
    path: Path | str, facts: DriveFacts, disc_count: int, span_us: tuple[int, int] | None = None
) -> Table:
    """Disc changes in the columns of domain.site, in the order of the file; see read_stations. A row may name
    several discs (3; 1-8; 3, 5, 9; all): one row each comes out. wear_mm is NaN where not given."""
    table = open_table(Path(path), _CHANGES)
    times = Times(table, facts.zone, span_us)
    rows = []
    for number, row in table:
        common = {
            "time_us": times.instant(number, row, "time", ("date",), or_midnight=True),
            "reason": table.text(row, "reason"),
            "wear_mm": _quantity(table, (number, row), "wear", ("length", 1)),
            "note": table.text(row, "note"),
        }
        rows += [{**common, "disc": disc} for disc in _discs(table, number, row, disc_count)]
    return _site_table(DISC_CHANGES, rows)


def read_backfill(path: Path | str) -> Table:
    """Backfill in the columns of domain.site, in the order of the file: volumes NaN where not given."""
    table = open_table(Path(path), _BACKFILL)
    rows = []
    for number, row in table:
        ring = table.number(table.cell(row, "ring"))
        if ring is None or ring != int(ring):
            raise table.fail(number, f"the ring '{table.text(row, 'ring')}' is no number of a ring")
        rows.append(
            {
                "ring": int(ring),
                "mortar_m3": _quantity(table, (number, row), "mortar", ("volume", 1)),
                "gravel_m3": _quantity(table, (number, row), "gravel", ("volume", 1)),
                "note": table.text(row, "note"),
            }
        )
    return _site_table(BACKFILL, rows)


def read_water(path: Path | str) -> Table:
    """Water inflow of stretches in the columns of domain.site, in the order of the file."""
    table = open_table(Path(path), _WATER)
    rows = []
    for number, row in table:
        start, end = (_metres(table, number, row, side) for side in ("from", "to"))
        inflow = _quantity(table, (number, row), "inflow", ("flow", 1))
        if start == end:
            raise table.fail(number, "the stretch has no length")
        if inflow != inflow:
            raise table.fail(number, "the inflow is missing; write 0 where it was dry")
        rows.append(
            {
                "chainage_from_m": start,
                "chainage_to_m": end,
                "inflow_l_min": inflow,
                "note": table.text(row, "note"),
            }
        )
    return _site_table(WATER, rows)


def read_alignment(path: Path | str, crs: str) -> Table:
    """Points of the axis in the columns of domain.site, in the order of the file; elevation NaN where not given.
    crs: the coordinate reference system of east and north."""
    table = open_table(Path(path), _ALIGNMENT)
    rows = []
    for number, row in table:
        known = {f"{name}_m": _metres(table, number, row, name) for name in ("chainage", "east", "north")}
        given = table.text(row, "elevation")
        high = _metres(table, number, row, "elevation") if given else float("nan")
        rows.append({**known, "elevation_m": high, "crs": crs})
    return _site_table(ALIGNMENT, rows)


def _site_table(kind: str, rows: Sequence[dict[str, Any]]) -> Table:
    return Table({n: site_column(kind, n, [row[n] for row in rows]) for n, *_ in SITE_COLUMNS[kind]})


# --- numbers ------------------------------------------------------------------------------------


def _metres(table: SmallTable, number: int, row: Sequence[Any], column: str) -> float:
    metres = table.metres(table.cell(row, column), column)
    if metres is None:
        text = table.text(row, column)
        raise table.fail(
            number, f"the {column} '{text}' is no number; expected metres such as 4180.5 or 4+180.50"
        )
    return metres


def _offset(table: SmallTable, number: int, row: Sequence[Any], facts: DriveFacts) -> tuple[float, str]:
    """(how far behind the face the surveyed point lies [m], its name as written)."""
    name = table.text(row, "point")
    cell = table.cell(row, "offset")
    if table.text(row, "offset"):
        offset = table.metres(cell, "offset")
        if offset is None or not 0 <= offset <= FARTHEST_OFFSET_M:
            raise table.fail(
                number, f"the offset '{cell}' is none; expected metres behind the face, from 0 to 1000"
            )
        return offset, name
    if not name:
        return 0.0, ""
    known: dict[str, tuple[float | None, str]] = {
        "face": (0.0, ""),
        "guidance": (facts.guidance_offset_m, "guidance_offset_m"),
        "ring": (facts.ring_place_offset_m, "ring_place_offset_m"),
    }
    point = _points().get(fold_words(name))
    if point is None:
        raise table.fail(
            number,
            f"how far the point '{name}' lies behind the face is not said; add a column 'offset' in m (0 for the "
            f"face), or call the point {', '.join(known)}",
        )
    offset, key = known[point]
    if offset is None:
        raise table.fail(
            number, f"the point '{name}' needs [drive] {key} in drive.toml, or a column 'offset'"
        )
    return offset, name


@cache
def _points() -> dict[str, str]:
    data = tomllib.loads(files("tbmreview.ingest").joinpath(WORDS).read_text("utf-8"))
    return {fold_words(name): point for point, names in data["points"].items() for name in names}


def _spread(table: SmallTable, number: int, row: Sequence[Any]) -> float:
    """Standard deviation [m]; NaN where not given."""
    return _quantity(table, (number, row), "sd", ("length", 1000))


_SAYS = {"sd": ("standard deviation", "mm"), "mortar": ("mortar", "m3"), "gravel": ("pea gravel", "m3")} | {
    "wear": ("wear", "mm"),
    "inflow": ("inflow", "l/min"),
}


def _quantity(table: SmallTable, at: tuple[int, Sequence[Any]], column: str, of: tuple[str, float]) -> float:
    """A number of 0 or more in the canonical unit of a quantity over a factor; NaN where not given.

    at: (number of the row, its cells). of: (quantity, factor)."""
    number, row = at
    value = table.cell(row, column)
    if not table.text(row, column):
        return float("nan")
    amount, unit = table.number(value), table.unit(column, of[0])
    what, example = _SAYS[column]
    if amount is None or amount < 0:
        raise table.fail(number, f"the {what} '{value}' is no number of 0 or more")
    if unit is None:
        raise table.fail(
            number, f"the {what} has no unit; write it in the header, such as {column} [{example}]"
        )
    return amount * unit.factor / of[1]


def _discs(table: SmallTable, number: int, row: Sequence[Any], count: int) -> list[int]:
    """The disc positions that a row names, each once, in its order."""
    text = table.text(row, "disc")
    if text.casefold() in _words("every"):
        return list(range(1, count + 1))
    found: dict[int, None] = {}
    for part in re.split(r"[,;/&+ ]+", re.sub(r"\s*[-\u2013]\s*", "-", text)):
        match = re.fullmatch(r"(\d+)(?:-(\d+))?", part)
        low, high = (int(match[1]), int(match[2] or match[1])) if match else (0, 0)
        if not 1 <= low <= high <= count:
            raise table.fail(
                number,
                f"there is no disc '{part or text}'; expected positions from 1 to {count} ([machine] disc_count), such "
                "as 7, 1-8 or all",
            )
        found |= dict.fromkeys(range(low, high + 1))
    return list(found)


@cache
def _words(name: str) -> frozenset[str]:
    data = tomllib.loads(files("tbmreview.ingest").joinpath(WORDS).read_text("utf-8"))
    return frozenset(data["discs"][name])


# --- times --------------------------------------------------------------------------------------


def _end(table: SmallTable, times: Times, at: tuple[int, Sequence[Any]], start: int) -> int:
    number, row = at
    text = stamp_text_of(table.cell(row, "end"))
    if not text and table.text(row, "duration"):
        return start + _duration(table, number, row)
    dates = ("end_date", "start_date", "date")
    end = times.instant(number, row, "end", dates)
    own_day = is_dated(text) or stamp_text_of(table.cell(row, "end_date"))
    return end if own_day or end > start else times.instant(number, row, "end", dates, days=1)


def _duration(table: SmallTable, number: int, row: Sequence[Any]) -> int:
    value = table.cell(row, "duration")
    text, unit = stamp_text_of(value), table.unit("duration", "time")
    if is_time_of_day(text):
        hours, minutes, *seconds = (int(part) for part in text.split(":"))
        return (hours * 3600 + minutes * 60 + sum(seconds)) * MICROSECONDS
    length = table.number(value)
    if length is None or unit is None:
        raise table.fail(
            number,
            f"the duration '{text}' is none; expected 1:30, or a number with its unit in the header [min]",
        )
    return round(length * unit.factor * MICROSECONDS)
