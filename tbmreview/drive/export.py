"""Tables as files and as text. The suffix of the path chooses the format."""

import contextlib
import csv
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from tbmreview.domain.errors import TbmReviewError, UsageError
from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.table import Column, Table
from tbmreview.drive.columns_of_pads import pad_column
from tbmreview.drive.columns_on_request import ON_REQUEST, RESPONSE_COLUMNS
from tbmreview.drive.columns_text import (
    BY_NAME,
    LABEL_COLUMNS,
    TABLE_COLUMNS,
    TERMINAL_COLUMNS,
    TEXT,
    TIME,
    WHOLE,
    TextColumn,
)
from tbmreview.drive.reading import NO_TIME

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # a spreadsheet would run a text that begins so
XLSX_ROWS = 1_048_576
GEOJSON = ".geojson"  # of rows with a place on the axis, see drive.geojson


def write_table(table: Table, path: Path, told: Mapping[str, str] = MappingProxyType({})) -> None:
    """Write to .csv, .parquet or .xlsx, all or nothing; an existing file is replaced.

    One header row, full precision (16 digits in xlsx), decimal point, comma, UTF-8, missing empty (null
    in Parquet). Times are ISO 8601 in UTC in CSV, timestamps elsewhere. Text that a spreadsheet would
    take for a formula gets an apostrophe before it in CSV and xlsx. UsageError for another suffix. told: what
    the file says of itself, in the metadata of Parquet and the properties of xlsx; CSV has no place for it.
    """
    write = _WRITERS.get(path.suffix.lower())
    if write is None:
        known = [*_WRITERS, *([GEOJSON] if "position_from_m" in table else [])]
        raise UsageError(f"{path}: the suffix chooses the format; expected one of {', '.join(known)}")
    with replaced(path) as part:
        write(table, part, told)


@contextlib.contextmanager
def replaced(path: Path) -> Iterator[Path]:
    """A file to write beside `path`, which takes its place when all went well; TbmReviewError if it cannot."""
    if not path.parent.is_dir():
        raise TbmReviewError(f"{path}: there is no folder {path.parent}")
    part = path.with_name(f".{path.stem}.{os.getpid()}.passing{path.suffix}")
    try:
        yield part
        part.replace(path)
    except OSError as error:
        raise TbmReviewError(f"{path}: cannot be written ({error.strerror or error})") from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


def _column(name: str) -> TextColumn:
    """A column; one that the site named, such as a delay code's, is told by its name."""
    if name in ON_REQUEST:
        return ON_REQUEST[name]
    if name in BY_NAME or not name.endswith("_h"):
        return BY_NAME.get(name) or pad_column(name) or TextColumn(name, name)
    return TextColumn(name, name.removesuffix("_h").replace("_", " "), "h")


def _kind(name: str, values: Column) -> str:
    return TEXT if values.dtype == object else _column(name).kind


def _write_csv(table: Table, path: Path, told: Mapping[str, str]) -> None:
    columns = [_csv_cells(_kind(name, table[name]), table[name]) for name in table]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(table.names)
        writer.writerows(zip(*columns, strict=True))


def _csv_cells(kind: str, values: Column) -> list[Any]:
    if kind == TEXT:
        return [_harmless(text) for text in values.tolist()]
    if kind == TIME:
        digits = "microseconds" if np.any(values[values != NO_TIME] % MICROSECONDS) else "seconds"
        return [iso_utc(us, digits) for us in values.tolist()]
    if values.dtype.kind != "f":
        return list(values.tolist())
    missing = np.isnan(values)
    cells = values.astype(object)
    if kind == WHOLE:
        cells[~missing] = values[~missing].astype(np.int64)
    cells[missing] = ""
    return list(cells.tolist())


def iso_utc(time_us: int, digits: str = "auto") -> str:
    """Microseconds UTC as 2030-03-04T06:00:00Z; '' for NO_TIME. digits: as datetime.isoformat's timespec; one
    for a whole column, since readers take the form of its first cell for all."""
    if time_us == NO_TIME:
        return ""
    moment = _EPOCH + timedelta(microseconds=time_us)
    return moment.replace(tzinfo=None).isoformat(timespec=digits) + "Z"


def _harmless(text: str) -> str:
    return "'" + text if text.startswith(_FORMULA) else text


def _write_parquet(table: Table, path: Path, told: Mapping[str, str]) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    columns = {name: _arrow(_kind(name, table[name]), table[name]) for name in table}
    pq.write_table(pa.table(columns, metadata=dict(told)), path)


def _arrow(kind: str, values: Column) -> Any:
    import pyarrow as pa

    if kind == TEXT:
        return pa.array([text or None for text in values.tolist()], pa.string())
    if kind == TIME:
        return pa.array(values, pa.timestamp("us", tz="UTC"), mask=values == NO_TIME)
    if values.dtype.kind != "f":
        return pa.array(values)
    missing = np.isnan(values)
    if kind == WHOLE:
        return pa.array(np.where(missing, 0, values).astype(np.int64), mask=missing)
    return pa.array(values, mask=missing)


def _write_xlsx(table: Table, path: Path, told: Mapping[str, str]) -> None:
    from xlsxwriter import Workbook
    from xlsxwriter.exceptions import XlsxWriterException

    if len(table) >= XLSX_ROWS:
        raise TbmReviewError(f"{len(table)} rows are more than an xlsx sheet holds; write .csv or .parquet")
    options = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    try:
        with Workbook(str(path), options) as book:
            for name, text in told.items():
                book.set_custom_property(name, text, "text")
            _fill_sheet(book, table)
    except XlsxWriterException as error:
        raise TbmReviewError(f"{path.parent}: cannot write xlsx there: {error}") from error


def _fill_sheet(book: Any, table: Table) -> None:
    sheet = book.add_worksheet("table")
    stamp = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
    sheet.write_row(0, 0, table.names, book.add_format({"bold": True}))
    sheet.freeze_panes(1, 0)
    kinds = [_kind(name, table[name]) for name in table]
    columns = [
        table[name].tolist() if kind == TIME else _csv_cells(kind, table[name])
        for kind, name in zip(kinds, table, strict=True)
    ]
    for row, cells in enumerate(zip(*columns, strict=True), start=1):
        for number, (kind, cell) in enumerate(zip(kinds, cells, strict=True)):
            if kind == TIME and cell != NO_TIME:
                moment = _EPOCH + timedelta(microseconds=cell)
                sheet.write_datetime(row, number, moment.replace(tzinfo=None), stamp)
            elif kind == TEXT and cell:
                sheet.write_string(row, number, cell)
            elif kind not in (TIME, TEXT) and cell != "":
                sheet.write_number(row, number, cell)


_WRITERS: dict[str, Callable[[Table, Path, Mapping[str, str]], None]] = {
    ".csv": _write_csv,
    ".parquet": _write_parquet,
    ".xlsx": _write_xlsx,
}


def text_table(table: Table, zone: ZoneInfo, columns: Sequence[str] | None = None) -> str:
    """Aligned text for a terminal: a heading, a unit below it, few decimals; missing is blank.

    Times are local to `zone`, whose name stands for their unit. columns: names in order; by default those
    worth a look in a terminal, without labels that are mostly empty.
    """
    names = _worth_a_look(table) if columns is None else tuple(columns)
    if not len(table):
        return "no rows"
    written = [_text_column(name, table[name], zone) for name in names]
    for i, name in enumerate(names):
        if f"{name}_u95" in table:
            written[i] = _with_half_width(*written[i], table[f"{name}_u95"], _column(name).decimals)
    return "\n".join(_lines(written))


def _worth_a_look(table: Table) -> tuple[str, ...]:
    wanted = (*TERMINAL_COLUMNS, *RESPONSE_COLUMNS) if set(TABLE_COLUMNS) <= set(table) else table.names
    return tuple(n for n in wanted if n in table and not (n in LABEL_COLUMNS and _mostly_missing(table[n])))


def _mostly_missing(values: Column) -> bool:
    missing = values == "" if values.dtype == object else np.isnan(values)
    return 2 * int(np.count_nonzero(missing)) > len(values)


def _text_column(name: str, values: Column, zone: ZoneInfo) -> tuple[bool, list[str]]:
    """(whether it reads from the left, heading, unit and cells)."""
    column, kind = _column(name), _kind(name, values)
    unit = column.unit
    if kind == TEXT:
        cells = values.tolist()
    elif kind == TIME:
        unit = zone.key
        cells = [_local(us, zone) for us in values.tolist()]
    else:
        decimals = 0 if kind == WHOLE or values.dtype.kind != "f" else column.decimals
        cells = ["" if value != value else f"{value:.{decimals}f}" for value in values.tolist()]
    return kind == TEXT, [column.heading, unit, *cells]


def _with_half_width(left: bool, cells: list[str], half: Column, decimals: int) -> tuple[bool, list[str]]:
    """A text column with ± behind each value whose uncertainty is known; the signs stand below each other."""
    heading, unit, *values = cells
    marks = [
        "" if h != h or not value else f" ± {h:.{decimals}f}"
        for value, h in zip(values, half.tolist(), strict=True)
    ]
    width = max(map(len, marks), default=0)
    return left, [
        heading,
        unit,
        *(value + mark.ljust(width) for value, mark in zip(values, marks, strict=True)),
    ]


def _local(time_us: int, zone: ZoneInfo) -> str:
    if time_us == NO_TIME:
        return ""
    return f"{(_EPOCH + timedelta(microseconds=time_us)).astimezone(zone):%Y-%m-%d %H:%M}"


def _lines(columns: list[tuple[bool, list[str]]]) -> list[str]:
    padded = []
    for left, cells in columns:
        width = max(map(len, cells))
        padded.append([c.ljust(width) if left else c.rjust(width) for c in cells])
    return ["  ".join(cells).rstrip() for cells in zip(*padded, strict=True)]
