"""A ground table (geology by interval) in any dialect -> domain.ground.GROUND_COLUMNS."""

import re
import tomllib
from collections.abc import Collection, Mapping, Sequence
from functools import cache
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from tbmreview.domain.errors import ChainageError, GroundError
from tbmreview.domain.ground import GROUND_COLUMNS, HATCHES
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table
from tbmreview.ingest.small_table import Kind, SmallTable, open_table
from tbmreview.ingest.synonyms import fold_words

_TEXTS = ("rock", "note", "hatch")
_RANGE = re.compile(r"\s*(.+?)\s*(?:\bto\b|\bbis\b|\ba\b|\btil\b|[-–—~～至])\s*(\S.*?)\s*")
_OVERLAP_M = 0.005  # less than a surveyor writes down
_QUANTITY = {"ucs_MPa": "pressure", "bts_MPa": "pressure", "water_l_min": "flow"}


def read_ground(path: Path | str, axis: Axis) -> Table:
    """The table's intervals along the axis, sorted by position, without overlap; gaps stay gaps.

    Columns are GROUND_COLUMNS; text is '' and numbers NaN where not given. A value that is no plain
    number ('50-100') goes into the note as written. GroundError names file, row and what was expected.
    """
    table = open_table(Path(path), _GROUND)
    records = [_record(table, row, line, axis) for line, row in table]
    records.sort(key=lambda r: (r["position_from_m"], r["position_to_m"]))
    _check_overlaps(records, table.path)
    return Table(
        {
            name: np.array([r[name] for r in records], object if name in _TEXTS else np.float64)
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


def _record(table: SmallTable, row: Sequence[Any], line: int, axis: Axis) -> dict[str, Any]:
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
    record: dict[str, Any] = {
        "position_from_m": float(ends.min()) + 0.0,  # no minus zero
        "position_to_m": float(ends.max()),
        "row": line,
    }
    notes = [table.text(row, "note")]
    for name, _, _ in GROUND_COLUMNS[2:]:
        if name not in _TEXTS:
            record[name], odd = _value(table, row, name)
            notes.append(odd)
    record["rock"] = table.text(row, "rock")
    stated = table.text(row, "hatch")
    record["hatch"] = stated if stated in HATCHES else hatch_of(record["rock"])
    record["note"] = "; ".join(n for n in notes if n)
    return record


def _value(table: SmallTable, row: Sequence[Any], name: str) -> tuple[float, str]:
    """(number or NaN, what the cell says instead of a number)."""
    number = table.number(table.cell(row, name))
    if number is None:
        text = table.text(row, name)
        return np.nan, f"{name}: {text}" if text and text not in ("-", "--", "n/a", "NA") else ""
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
