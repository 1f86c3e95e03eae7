"""Tables that people write (ground, surveyed stations, delays), in any dialect: cells under known columns."""

import re
import tomllib
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from tbmreview.domain.errors import TbmReviewError
from tbmreview.ingest.arrow import feather
from tbmreview.ingest.dialect import DELIMITERS, decode_head, number_marks, sniff_encoding, text_rows
from tbmreview.ingest.headers import parse_header, tidy
from tbmreview.ingest.synonyms import fold_words
from tbmreview.ingest.units import Unit, parse_unit

Rows = Sequence[tuple[int, Sequence[Any]]]  # (number of the row in its file, its cells)

HEADER_WITHIN = 60  # rows above which a header is looked for
LONGEST = 100_000  # rows that such a table may have
_STATION = re.compile(r"(?:[^\W\d_]{1,4}[. ]*)?([-+]?)(\d+)\s*\+\s*(\d{1,3}(?:[.,]\d+)?)")


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of table: its name in messages, what is expected of it, the error where it is not met, the
    file and section of its words, and whether columns make a header of it."""

    what: str
    expected: str
    error: type[TbmReviewError]
    words: tuple[str, str]
    complete: Callable[[Collection[str]], bool]


@cache
def words_of(place: tuple[str, str]) -> dict[str, tuple[str, int]]:
    """Spelling -> (column, how plainly it names it, 0 best), of a section of a file of words."""
    data = tomllib.loads(files("tbmreview.ingest").joinpath(place[0]).read_text("utf-8"))
    return {
        fold_words(spelling): (column, rank)
        for column, spellings in data[place[1]].items()
        for rank, spelling in enumerate(spellings)
    }


class SmallTable:
    """One table of a kind: rows under columns, cells as numbers, metres and texts."""

    def __init__(self, kind: Kind, path: Path, rows: Rows, marks: tuple[str, str]) -> None:
        header = ["" if c is None else str(c) for c in rows[0][1]]
        self.kind, self.path, self.marks, self.header = kind, path, marks, header
        self.columns = _columns(header, words_of(kind.words))
        below = [str(c) for c in rows[1][1]] if len(rows) > 1 else []
        units = below if _is_unit_row(below) else []
        padded = [*units, *[""] * len(header)]
        self.units = [parse_header(h, u).units for h, u in zip(header, padded, strict=False)]
        self._rows = rows[1 + bool(units) :]

    def __iter__(self) -> Iterator[tuple[int, Sequence[Any]]]:
        """(number of the row in the file, cells) of each row that is not blank."""
        return ((n, r) for n, r in self._rows if any(c is not None and str(c).strip() for c in r))

    def fail(self, row: int, says: str) -> TbmReviewError:
        """The error that names file and row."""
        return self.kind.error(f"{self.path}, row {row}: {says}")

    def cell(self, row: Sequence[Any], column: str) -> Any:
        """The cell under a column; None where the table has none."""
        k = self.columns.get(column)
        value = row[k] if k is not None and k < len(row) else None
        return value.strip() if isinstance(value, str) else value

    def text(self, row: Sequence[Any], column: str) -> str:
        """The cell as text in one line; '' where there is none."""
        return as_text(self.cell(row, column))

    def number(self, value: Any) -> float | None:
        """A number, or None where the value is none."""
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
        return float(text) if re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?", text) else None

    def metres(self, value: Any, column: str) -> float | None:
        """A chainage such as 12345.6, 12+345.60 or (in km) 12.3456, or a length, in m."""
        if isinstance(value, str) and (match := _STATION.fullmatch(value)):
            metres = int(match[2]) * 1000 + float(match[3].replace(",", "."))
            return -metres if match[1] == "-" else metres
        number = self.number(value)
        unit = self.unit(column, "length")
        return None if number is None else number * (unit.factor / 1000 if unit else 1.0)

    def unit(self, column: str, quantity: str) -> Unit | None:
        """What the header or the row of units says of a column."""
        units = self.units[self.columns[column]] if column in self.columns else ()
        return next((u for u in units if u.quantity == quantity), None)


def as_text(value: Any) -> str:
    """A cell as text in one line; '' for none."""
    if isinstance(value, float) and value.is_integer():  # workbooks know no whole numbers
        value = int(value)
    return "" if value is None or value != value else re.sub(r"\s+", " ", str(value)).strip()


def open_table(path: Path, kind: Kind) -> SmallTable:
    """The first table of the kind in a file; the kind's error where there is none or it has no rows."""
    words = words_of(kind.words)
    for rows, marks in _tables(path, kind, words):
        at = _header_row(rows, kind, words)
        if at is None:
            continue
        table = SmallTable(kind, path, rows[at:], marks)
        if not any(True for _ in table):
            raise kind.error(f"{path}: the {kind.what} has a header but no rows; {kind.expected}")
        return table
    raise kind.error(f"{path}: is no {kind.what}; {kind.expected}")


# --- cells of any kind of file ------------------------------------------------------------------


def _tables(
    path: Path, kind: Kind, words: Mapping[str, tuple[str, int]]
) -> list[tuple[Rows, tuple[str, str]]]:
    """(rows of cells, (decimal, thousands mark)) of each table a file may hold."""
    try:
        if not path.is_file() or path.stat().st_size == 0:
            raise kind.error(f"{path}: no such file, or it is empty; {kind.expected}")
        head = path.read_bytes()[:8]
        if head.startswith(b"PAR1"):
            return [(_arrow_rows(pq.read_table(path)), (".", ""))]
        if head.startswith((b"ARROW1", b"FEA1")):
            return [(_arrow_rows(feather.read_table(path)), (".", ""))]
        if head.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
            return [(rows, (".", "")) for rows in _sheets(path, kind)]
        return _text_tables(path.read_bytes(), kind, words)
    except (OSError, pa.ArrowException, BadZipFile) as error:
        raise kind.error(f"{path}: cannot be read ({error}); {kind.expected}") from error


def _arrow_rows(table: pa.Table) -> Rows:
    columns = [table.column(k).to_pylist() for k in range(table.num_columns)]
    rows = [table.column_names, *([*row] for row in zip(*columns, strict=True))]
    return list(enumerate(rows, start=1))


def _sheets(path: Path, kind: Kind) -> list[Rows]:
    from python_calamine import CalamineError, CalamineWorkbook

    try:
        book = CalamineWorkbook.from_path(str(path))
        sheets = [book.get_sheet_by_name(name) for name in book.sheet_names]
        return [list(enumerate(sheet.to_python(skip_empty_area=False), start=1)) for sheet in sheets]
    except CalamineError as error:
        raise kind.error(f"{path}: is no workbook that can be read ({error}); {kind.expected}") from error


def _text_tables(
    data: bytes, kind: Kind, words: Mapping[str, tuple[str, int]]
) -> list[tuple[Rows, tuple[str, str]]]:
    lines = decode_head(data, sniff_encoding(data)).splitlines(keepends=True)
    out: list[tuple[Rows, tuple[str, str]]] = []
    for delimiter in DELIMITERS:
        rows = text_rows(lines, delimiter, limit=LONGEST)
        at = _header_row(rows, kind, words)
        marks = number_marks([c for _, c in rows[at + 1 :]], delimiter) if at is not None else (".", "")
        out.append((rows, marks))
    return out


# --- columns ------------------------------------------------------------------------------------


def _header_row(rows: Rows, kind: Kind, words: Mapping[str, tuple[str, int]]) -> int | None:
    """The first row whose columns make a header of the kind."""
    for i, (_, row) in enumerate(rows[:HEADER_WITHIN]):
        if sum(isinstance(c, str) and bool(tidy(c)) for c in row) < 2:
            continue
        if kind.complete(_columns([c if isinstance(c, str) else "" for c in row], words)):
            return i
    return None


def _columns(header: Sequence[str], words: Mapping[str, tuple[str, int]]) -> dict[str, int]:
    """column -> index of the header that names it most plainly."""
    best: dict[str, tuple[int, int]] = {}
    for k, cell in enumerate(header):
        column, rank = _column_of(cell, words) if tidy(cell) else ("", 0)
        if column and (column not in best or (rank, k) < best[column]):
            best[column] = (rank, k)
    return {column: k for column, (_, k) in best.items()}


def _column_of(cell: str, words: Mapping[str, tuple[str, int]]) -> tuple[str, int]:
    """The column a header names and its rank; ('', 0) if none. The whole header counts before a part."""
    for text in (tidy(cell), parse_header(cell).text):
        found = words.get(fold_words(text))
        if found:
            return found
    folded = f" {fold_words(parse_header(cell).text)} "
    hits = [s for s in words if len(s) > 2 and (f" {s} " in folded or (not s.isascii() and s in folded))]
    if not hits:
        return "", 0
    column, rank = words[max(hits, key=len)]
    return column, rank + 100


def _is_unit_row(cells: Sequence[str]) -> bool:
    filled = [c for c in cells if tidy(c)]
    units = sum(bool(parse_unit(c)) or tidy(c) in "-%°" for c in filled)
    if not filled or units * 2 <= len(filled):
        return False
    return not any(re.search(r"\d", c) and not parse_unit(c) for c in filled)
