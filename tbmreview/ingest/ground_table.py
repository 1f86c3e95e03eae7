"""A ground table (geology by interval) in any dialect -> domain.ground.GROUND_COLUMNS."""

import re
import tomllib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from tbmreview.domain.classes import BY_STEM
from tbmreview.domain.errors import ChainageError, GroundError
from tbmreview.domain.ground import GROUND_COLUMNS, GROUND_NUMBERS, HATCHES
from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table
from tbmreview.ingest.ground_classes import Classes, is_blank, seen_how
from tbmreview.ingest.small_table import Kind, SmallTable, open_table
from tbmreview.ingest.stamp_text import is_dated, stamp_has_time
from tbmreview.ingest.synonyms import fold_words
from tbmreview.ingest.table_times import Times, stamp_text_of

_RANGE = re.compile(r"\s*(.+?)\s*(?:\bto\b|\bbis\b|\ba\b|\btil\b|[-–—~～至])\s*(\S.*?)\s*")
_OVERLAP_M = 0.005  # less than a surveyor writes down
NOON = timedelta(hours=12)  # a date is the same at noon wherever its midnight was
_QUANTITY = {"ucs_MPa": "pressure", "bts_MPa": "pressure", "water_l_min": "flow"}


@dataclass(frozen=True, slots=True)
class _Reader:
    """A table, the axis it lies on, its classes and its times."""

    table: SmallTable
    axis: Axis
    classes: Classes
    times: Times


def read_ground(
    path: Path | str, axis: Axis, zone: ZoneInfo, span_us: tuple[int, int] | None = None
) -> Table:
    """The table's intervals along the axis, sorted by position, without overlap; gaps stay gaps.

    Columns are GROUND_COLUMNS; text is '' and numbers NaN where not given. A value that is neither a plain
    number nor a class ('50-100') goes into the note as written. A class is understood with its scheme or refused.
    zone: of times without one. span_us: of the drive's samples; tells 3 April from 4 March where a date could be
    either. GroundError names file, row and what was expected.
    """
    table = open_table(Path(path), _GROUND)
    reader = _Reader(table, axis, Classes(table), Times(table, zone, span_us))
    records = [_record(reader, row, line) for line, row in table]
    records.sort(key=lambda r: (r["position_from_m"], r["position_to_m"]))
    _check_overlaps(records, table.path)
    return Table(
        {
            name: np.array([r[name] for r in records], np.float64 if name in GROUND_NUMBERS else object)
            for name, _, _ in GROUND_COLUMNS
        }
    )


def _has_interval(columns: Collection[str]) -> bool:
    """Both ends of an interval, or an interval and something else."""
    ends = {"from", "to"} <= {*columns} or {"position_from", "position_to"} <= {*columns}
    return ends or ("range" in columns and len(columns) > 1)


_GROUND = Kind(
    "ground table",
    "expected columns for where each interval begins and ends (from, to) and what it is made of",
    GroundError,
    ("ground_words.toml", "columns"),
    _has_interval,
)


def _ends(table: SmallTable, row: Sequence[Any]) -> tuple[float | None, float | None, str]:
    """(one end, other end, 'position' or 'chainage')."""
    if {"position_from", "position_to"} <= set(table.columns):
        a, b = (table.number(table.cell(row, f"position_{end}")) for end in ("from", "to"))
        return a, b, "position"
    if {"from", "to"} <= set(table.columns):
        a, b = (table.metres(table.cell(row, end), end) for end in ("from", "to"))
        return a, b, "chainage"
    match = _RANGE.fullmatch(str(table.cell(row, "range") or ""))
    if match is None:
        return None, None, "chainage"
    return table.metres(match[1], "range"), table.metres(match[2], "range"), "chainage"


def _record(reader: _Reader, row: Sequence[Any], line: int) -> dict[str, Any]:
    table = reader.table
    record: dict[str, Any] = {**_interval(reader, row, line), "row": line}
    notes = [table.text(row, "note")]
    texts = {quantity.column for quantity in BY_STEM.values()}
    for name in GROUND_NUMBERS[2:]:
        record[name], odd = _value(table, row, name)
        notes.append("" if name in texts else odd)
    for stem, quantity in BY_STEM.items():
        cells, odd = reader.classes.of(line, row, stem, record.get(quantity.column, np.nan))
        record |= cells
        notes.append(odd)
    record["seen_how"], odd = _how(table, row)
    record["seen_when"], further = _when(reader, row, line)
    notes += [odd, further]
    record["rock"] = table.text(row, "rock")
    stated = table.text(row, "hatch")
    record["hatch"] = stated if stated in HATCHES else hatch_of(record["rock"])
    record["note"] = "; ".join(n for n in notes if n)
    return record


def _interval(reader: _Reader, row: Sequence[Any], line: int) -> dict[str, float]:
    table, axis = reader.table, reader.axis
    a, b, kind = _ends(table, row)
    if a is None or b is None:
        raise table.fail(
            line,
            "where the interval begins or ends is no number; expected metres such as 4180.5 or 4+180.50",
        )
    try:
        ends = np.array([a, b]) if kind == "position" else axis.position_m(np.array([a, b]))
    except ChainageError as error:
        raise table.fail(line, str(error)) from error
    if ends[0] == ends[1]:
        raise table.fail(line, f"the interval begins and ends at {a:g}; expected some length")
    return {"position_from_m": float(ends.min()) + 0.0, "position_to_m": float(ends.max())}  # no minus zero


def _how(table: SmallTable, row: Sequence[Any]) -> tuple[str, str]:
    """(one of SEEN_HOW or '', what the cell says instead)."""
    text = table.text(row, "seen_how")
    how = seen_how(text)
    return how, "" if how or is_blank(text) else f"seen: {text}"


def _when(reader: _Reader, row: Sequence[Any], line: int) -> tuple[str, str]:
    """(date or instant in UTC as text or '', what the cell says instead)."""
    text = stamp_text_of(reader.table.cell(row, "seen_when"))
    if not is_dated(text):
        return "", "" if is_blank(text) else f"seen: {text}"
    at = reader.times.instant(line, row, "seen_when", (), or_midnight=True)
    moment = datetime.fromtimestamp(at / MICROSECONDS, UTC)
    if stamp_has_time(text):
        return f"{moment:%Y-%m-%dT%H:%M:%SZ}", ""
    return f"{(moment + NOON).astimezone(reader.times.zone):%Y-%m-%d}", ""


def _value(table: SmallTable, row: Sequence[Any], name: str) -> tuple[float, str]:
    """(number or NaN, what the cell says instead of a number)."""
    number = table.number(table.cell(row, name))
    if number is None:
        text = table.text(row, name)
        return np.nan, "" if is_blank(text) else f"{name}: {text}"
    quantity = _QUANTITY.get(name)
    unit = table.unit(name, quantity) if quantity else None
    if unit is None:
        return number, ""
    return number * (unit.factor / 10 if quantity == "pressure" else unit.factor), ""


@cache
def _hatch_words() -> Mapping[str, tuple[str, ...]]:
    """Hatch -> words in the name of a rock."""
    data = tomllib.loads(files("tbmreview.ingest").joinpath("ground_words.toml").read_text("utf-8"))
    return {hatch: tuple(fold_words(w) for w in words) for hatch, words in data["hatches"].items()}


def hatch_of(rock: str) -> str:
    """How a rock is drawn, from the words of its name; 'other' where none is known."""
    folded = fold_words(rock)
    return next(
        (hatch for hatch, words in _hatch_words().items() if any(w in folded for w in words)), "other"
    )


def _check_overlaps(records: Sequence[dict[str, Any]], path: Path) -> None:
    for before, after in pairwise(records):
        over = before["position_to_m"] - after["position_from_m"]
        if over > _OVERLAP_M:
            rows = sorted((before["row"], after["row"]))
            raise GroundError(
                f"{path}: rows {rows[0]} and {rows[1]} overlap by {over:.2f} m; expected intervals side by side"
            )
        if over > 0:
            after["position_from_m"] = before["position_to_m"]
