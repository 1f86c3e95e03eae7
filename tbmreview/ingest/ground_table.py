"""A ground table (geology by interval) in any dialect -> domain.ground.GROUND_COLUMNS."""

import re
import tomllib
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from tbmreview.domain.errors import GroundError
from tbmreview.domain.ground import GROUND_COLUMNS, HATCHES
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table
from tbmreview.ingest.arrow import feather
from tbmreview.ingest.dialect import DELIMITERS, decode_head, number_marks, sniff_encoding, text_rows
from tbmreview.ingest.headers import parse_header, tidy
from tbmreview.ingest.synonyms import fold_words
from tbmreview.ingest.units import Unit, parse_unit

Rows = Sequence[Sequence[Any]]

EXPECTED = "expected columns for where each interval begins and ends (from, to) and what it is made of"
_TEXTS = ("rock", "note", "hatch")
_STATION = re.compile(r"(?:[^\W\d_]{1,4}[. ]*)?([-+]?)(\d+)\s*\+\s*(\d{1,3}(?:[.,]\d+)?)")
_RANGE = re.compile(r"\s*(.+?)\s*(?:\bto\b|\bbis\b|\ba\b|\btil\b|[-–—~～至])\s*(\S.*?)\s*")
_OVERLAP_M = 0.005  # less than a surveyor writes down
_QUANTITY = {"ucs_MPa": "pressure", "bts_MPa": "pressure", "water_l_min": "flow"}


def read_ground(path: Path | str, axis: Axis) -> Table:
    """The table's intervals along the axis, sorted by position, without overlap; gaps stay gaps.

    Columns are GROUND_COLUMNS; text is '' and numbers NaN where not given. A value that is no plain
    number ('50-100') goes into the note as written. GroundError names file, row and what was expected.
    """
    path = Path(path)
    for rows, marks in _tables(path):
        at = _header_row(rows)
        if at is not None:
            return _intervals(rows, at, marks, axis, path)
    raise GroundError(f"{path}: is no ground table; {EXPECTED}")


# --- cells of any kind of file ------------------------------------------------------------------


def _tables(path: Path) -> list[tuple[Rows, tuple[str, str]]]:
    """(rows of cells, (decimal, thousands mark)) of each table a file may hold."""
    try:
        if not path.is_file() or path.stat().st_size == 0:
            raise GroundError(f"{path}: no such file, or it is empty; {EXPECTED}")
        head = path.read_bytes()[:8]
        if head.startswith(b"PAR1"):
            return [(_arrow_rows(pq.read_table(path)), (".", ""))]
        if head.startswith((b"ARROW1", b"FEA1")):
            return [(_arrow_rows(feather.read_table(path)), (".", ""))]
        if head.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
            return [(rows, (".", "")) for rows in _sheets(path)]
        return _text_tables(path.read_bytes())
    except (OSError, pa.ArrowException, BadZipFile) as error:
        raise GroundError(f"{path}: cannot be read ({error}); {EXPECTED}") from error


def _arrow_rows(table: pa.Table) -> Rows:
    columns = [table.column(k).to_pylist() for k in range(table.num_columns)]
    return [table.column_names, *([*row] for row in zip(*columns, strict=True))]


def _sheets(path: Path) -> list[Rows]:
    from python_calamine import CalamineError, CalamineWorkbook

    try:
        book = CalamineWorkbook.from_path(str(path))
        return [book.get_sheet_by_name(name).to_python() for name in book.sheet_names]
    except CalamineError as error:
        raise GroundError(f"{path}: is no workbook that can be read ({error}); {EXPECTED}") from error


def _text_tables(data: bytes) -> list[tuple[Rows, tuple[str, str]]]:
    text = decode_head(data, sniff_encoding(data))
    lines = text.splitlines(keepends=True)
    out: list[tuple[Rows, tuple[str, str]]] = []
    for delimiter in DELIMITERS:
        rows = [cells for _, cells in text_rows(lines, delimiter, limit=100_000)]
        at = _header_row(rows)
        marks = number_marks(rows[at + 1 :], delimiter) if at is not None else (".", "")
        out.append((rows, marks))
    return out


# --- columns ------------------------------------------------------------------------------------


@cache
def _words() -> tuple[Mapping[str, tuple[str, int]], Mapping[str, tuple[str, ...]]]:
    """(spelling -> column and how plainly it names it, 0 best; hatch -> words)."""
    data = tomllib.loads(files("tbmreview.ingest").joinpath("ground_words.toml").read_text("utf-8"))
    columns = {
        fold_words(spelling): (column, rank)
        for column, spellings in data["columns"].items()
        for rank, spelling in enumerate(spellings)
    }
    hatches = {hatch: tuple(fold_words(w) for w in words) for hatch, words in data["hatches"].items()}
    return columns, hatches


def _column_of(cell: str) -> tuple[str, int]:
    """The column a header names and its rank; ('', 0) if none. The whole header counts before a part."""
    columns, _ = _words()
    for text in (tidy(cell), parse_header(cell).text):
        found = columns.get(fold_words(text))
        if found:
            return found
    folded = f" {fold_words(parse_header(cell).text)} "
    hits = [s for s in columns if len(s) > 2 and (f" {s} " in folded or (not s.isascii() and s in folded))]
    if not hits:
        return "", 0
    column, rank = columns[max(hits, key=len)]
    return column, rank + 100


def _header_row(rows: Rows) -> int | None:
    """The first row that names both ends of an interval, or an interval, and something else."""
    for i, row in enumerate(rows[:60]):
        if sum(isinstance(c, str) and bool(tidy(c)) for c in row) < 2:
            continue
        named = _columns([c if isinstance(c, str) else "" for c in row])
        ends = {"from", "to"} <= set(named)
        if ends or {"position_from", "position_to"} <= set(named) or ("range" in named and len(named) > 1):
            return i
    return None


def _columns(header: Sequence[str]) -> dict[str, int]:
    """column -> index of the header that names it most plainly."""
    best: dict[str, tuple[int, int]] = {}
    for k, cell in enumerate(header):
        column, rank = _column_of(cell) if tidy(cell) else ("", 0)
        if column and (column not in best or (rank, k) < best[column]):
            best[column] = (rank, k)
    return {column: k for column, (_, k) in best.items()}


# --- intervals ----------------------------------------------------------------------------------


class _Reader:
    """Cells of one table as numbers and texts; mistakes name the row."""

    def __init__(self, rows: Rows, at: int, marks: tuple[str, str], path: Path) -> None:
        header = ["" if c is None else str(c) for c in rows[at]]
        self.columns = _columns(header)
        self.path, self.marks = path, marks
        first = at + 1
        unit_row = [str(c) for c in rows[first]] if first < len(rows) else []
        filled = [c for c in unit_row if tidy(c)]
        has_units = bool(filled) and sum(bool(parse_unit(c)) or tidy(c) in "-%°" for c in filled) * 2 > len(
            filled
        )
        has_units = has_units and not any(re.search(r"\d", c) and not parse_unit(c) for c in filled)
        pad = [""] * len(header)
        self.units = [
            parse_header(h, u).units
            for h, u in zip(header, [*unit_row, *pad] if has_units else pad, strict=False)
        ]
        self.rows = rows[first + has_units :]
        self.first_row = first + has_units + 1

    def cell(self, row: Sequence[Any], column: str) -> Any:
        k = self.columns.get(column)
        value = row[k] if k is not None and k < len(row) else None
        return value.strip() if isinstance(value, str) else value

    def number(self, value: Any) -> float | None:
        """A number, or None where the cell holds none."""
        if isinstance(value, bool) or value is None:
            return None
        if isinstance(value, int | float):
            return float(value) if np.isfinite(value) else None
        text = str(value).strip().rstrip("%°").strip()
        decimal, thousands = self.marks
        if thousands:
            text = text.replace(thousands, "")
        if decimal == ",":
            text = text.replace(",", ".")
        try:
            return float(text) if re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?", text) else None
        except ValueError:
            return None

    def metres(self, value: Any, column: str) -> float | None:
        """A chainage such as 12345.6, 12+345.60 or (in km) 12.3456, in m."""
        if isinstance(value, str) and (match := _STATION.fullmatch(value)):
            metres = int(match[2]) * 1000 + float(match[3].replace(",", "."))
            return -metres if match[1] == "-" else metres
        number = self.number(value)
        unit = self._unit(column, "length")
        return None if number is None else number * (unit.factor / 1000 if unit else 1.0)

    def _unit(self, column: str, quantity: str) -> Unit | None:
        units = self.units[self.columns[column]] if column in self.columns else ()
        return next((u for u in units if u.quantity == quantity), None)

    def ends(self, row: Sequence[Any]) -> tuple[float | None, float | None, str]:
        """(one end, other end, 'position' or 'chainage')."""
        if "position_from" in self.columns and "position_to" in self.columns:
            a, b = (self.number(self.cell(row, f"position_{end}")) for end in ("from", "to"))
            return a, b, "position"
        if "from" in self.columns and "to" in self.columns:
            return (
                self.metres(self.cell(row, "from"), "from"),
                self.metres(self.cell(row, "to"), "to"),
                "chainage",
            )
        match = _RANGE.fullmatch(str(self.cell(row, "range") or ""))
        if match is None:
            return None, None, "chainage"
        return self.metres(match[1], "range"), self.metres(match[2], "range"), "chainage"


def _intervals(rows: Rows, at: int, marks: tuple[str, str], axis: Axis, path: Path) -> Table:
    reader = _Reader(rows, at, marks, path)
    records: list[dict[str, Any]] = []
    for i, row in enumerate(reader.rows):
        if all(c is None or not str(c).strip() for c in row):
            continue
        records.append(_record(reader, row, i + reader.first_row, axis))
    if not records:
        raise GroundError(f"{path}: the ground table has a header but no rows; {EXPECTED}")
    records.sort(key=lambda r: (r["position_from_m"], r["position_to_m"]))
    _check_overlaps(records, path)
    return Table(
        {
            name: np.array([r[name] for r in records], object if name in _TEXTS else np.float64)
            for name, _, _ in GROUND_COLUMNS
        }
    )


def _record(reader: _Reader, row: Sequence[Any], line: int, axis: Axis) -> dict[str, Any]:
    a, b, kind = reader.ends(row)
    if a is None or b is None:
        raise GroundError(
            f"{reader.path}, row {line}: where the interval begins or ends is no number; expected metres such as "
            "4180.5 or 4+180.50"
        )
    ends = np.array([a, b]) if kind == "position" else axis.position_m(np.array([a, b]))
    if ends[0] == ends[1]:
        raise GroundError(
            f"{reader.path}, row {line}: the interval begins and ends at {a:g}; expected some length"
        )
    record: dict[str, Any] = {
        "position_from_m": float(ends.min()) + 0.0,  # no minus zero
        "position_to_m": float(ends.max()),
        "row": line,
    }
    notes = [_text(reader.cell(row, "note"))]
    for name, _, _ in GROUND_COLUMNS[2:]:
        if name not in _TEXTS:
            record[name], odd = _value(reader, row, name)
            notes.append(odd)
    record["rock"] = _text(reader.cell(row, "rock"))
    stated = _text(reader.cell(row, "hatch"))
    record["hatch"] = stated if stated in HATCHES else hatch_of(record["rock"])
    record["note"] = "; ".join(n for n in notes if n)
    return record


def _text(value: Any) -> str:
    return "" if value is None or value != value else re.sub(r"\s+", " ", str(value)).strip()


def _value(reader: _Reader, row: Sequence[Any], name: str) -> tuple[float, str]:
    """(number or NaN, what the cell says instead of a number)."""
    cell = reader.cell(row, name)
    number = reader.number(cell)
    if number is None:
        text = _text(cell)
        return np.nan, f"{name}: {text}" if text and text not in ("-", "--", "n/a", "NA") else ""
    quantity = _QUANTITY.get(name)
    unit = reader._unit(name, quantity) if quantity else None
    if unit is None:
        return number, ""
    return number * (unit.factor / 10 if quantity == "pressure" else unit.factor), ""


def hatch_of(rock: str) -> str:
    """How a rock is drawn, from the words of its name; 'other' where none is known."""
    folded = fold_words(rock)
    _, hatches = _words()
    return next((hatch for hatch, words in hatches.items() if any(w in folded for w in words)), "other")


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
