"""Text logs in blocks of rows: Arrow's CSV reader where the block is clean, a tolerant one where not."""

import csv
import math
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tbmreview.ingest.arrow import floats, one_array
from tbmreview.ingest.arrow import text_reader as pa_csv
from tbmreview.ingest.dialect import Dialect, is_missing, tabbed
from tbmreview.ingest.raw import RawBlock, join_blocks
from tbmreview.ingest.report import Quarantined
from tbmreview.ingest.source import Source

BLOCK_BYTES = 1 << 23
_MARK = "\ufeff".encode()
_SLOW_BYTES = 1 << 16
_FAST_BYTES = 1 << 20
_NULLS = [
    "",
    "-",
    "--",
    "---",
    "NA",
    "N/A",
    "n/a",
    "#N/A",
    "NaN",
    "nan",
    "NAN",
    "null",
    "NULL",
    "None",
    "none",
]
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_INFINITE = {
    "inf": math.inf,
    "infinity": math.inf,
    "+inf": math.inf,
    "-inf": -math.inf,
    "-infinity": -math.inf,
}
_TORN = "torn row: {found} of {width} fields"


@dataclass(frozen=True, slots=True)
class TextPlan:
    """Which columns are wanted: stamps as text, numbers as float64. nulls: further words for missing."""

    dialect: Dialect
    stamps: tuple[int, ...]
    numbers: tuple[int, ...]
    nulls: tuple[str, ...] = ()


def text_blocks(
    source: Source, dialect: Dialect, size: int = BLOCK_BYTES
) -> Iterator[tuple[int, bytes, int]]:
    """(line number of the first row, whole rows in UTF-8, bytes of the file read so far)."""
    line, skip, rest, done = 1, dialect.skip_lines, b"", 0
    with source.open() as stream:
        while chunk := stream.read(size):
            done += len(chunk)
            cut = _after_last_newline(chunk, dialect.encoding)
            if not cut:
                rest += chunk
                continue
            rows = _utf8(b"".join((rest, memoryview(chunk)[:cut])), dialect)
            rest = chunk[cut:]
            if rows and line == 1:
                rows = rows.removeprefix(_MARK)
            line, skip, rows = _skip(line, skip, rows)
            if rows:
                yield line, rows, done
                line += _newlines(rows)
    rows = _utf8(rest, dialect)
    line, skip, rows = _skip(line, skip, rows.removeprefix(_MARK) if line == 1 else rows)
    if rows.strip(b"\x1a\r\n \t\x00") and not skip:
        yield line, rows.rstrip(b"\x1a"), done


def _newlines(data: bytes) -> int:
    # four times as fast as bytes.count where lines are short
    return int(np.count_nonzero(np.frombuffer(data, np.uint8) == ord("\n")))


def _after_last_newline(data: bytes, encoding: str) -> int:
    """Where the last, unfinished row begins. A line feed is no part of another character in any encoding
    but UTF-16, where it is two bytes at an even place."""
    newline = "\n".encode(encoding)
    at = data.rfind(newline)
    while at > 0 and at % len(newline):
        at = data.rfind(newline, 0, at + len(newline) - 1)
    return 0 if at < 0 else at + len(newline)


def _utf8(data: bytes, dialect: Dialect) -> bytes:
    """Nearly all of a log is ASCII, which needs no work in any encoding but UTF-16."""
    if not data.isascii() or dialect.encoding.startswith("utf-16"):
        data = data.decode(dialect.encoding, "replace").encode("utf-8", "replace")
    return tabbed(data, dialect.blanks) if dialect.blanks else data


def _skip(line: int, skip: int, rows: bytes) -> tuple[int, int, bytes]:
    at = 0
    while skip and (end := rows.find(b"\n", at)) >= 0:
        at, skip, line = end + 1, skip - 1, line + 1
    return line, skip, rows[at:]


def sample_pieces(
    source: Source, dialect: Dialect, pieces: int, piece_bytes: int
) -> Iterator[tuple[int, bytes]]:
    """Whole rows from places spread over the file, as (0, rows); from the start the true line number."""
    spread = range(pieces) if source.size > pieces * piece_bytes else range(0)
    if not spread:
        for line, data, _ in text_blocks(source, dialect):
            yield line, data
        return
    with source.open() as stream:
        for k in spread:
            at = (source.size - piece_bytes) * k // (pieces - 1) // 2 * 2
            stream.seek(at)
            rows = _utf8(stream.read(piece_bytes), dialect)
            if k == 0:
                _, _, rows = _skip(1, dialect.skip_lines, rows)
            else:
                rows = rows[rows.find(b"\n") + 1 :]
            rows = rows[: rows.rfind(b"\n") + 1]
            if rows:
                yield 0, rows


def parse_rows(data: bytes, first_line: int, plan: TextPlan) -> RawBlock:
    """Rows of a block; a block that the fast reader refuses is halved until only the bad part is slow."""
    fast = _fast(data, first_line, plan)
    if fast is not None:
        return fast
    cut = data.find(b"\n", len(data) // 2) + 1
    if len(data) <= _SLOW_BYTES or cut in (0, len(data)) or _inside_quotes(data[:cut]):
        return parse_slowly(data, first_line, plan)
    head = parse_rows(data[:cut], first_line, plan)
    tail = parse_rows(data[cut:], first_line + data.count(b"\n", 0, cut), plan)
    return join_blocks([head, tail])


def _inside_quotes(data: bytes) -> bool:
    return data.count(b'"') % 2 == 1


def _fast(data: bytes, first_line: int, plan: TextPlan) -> RawBlock | None:
    """Arrow's reading, or None where a row or a value does not fit."""
    dialect = plan.dialect
    if b"\0" in data or dialect.thousands:
        return None
    names = [str(k) for k in range(dialect.width)]
    wanted = [*plan.stamps, *plan.numbers]
    types = {str(k): pa.float64() for k in plan.numbers} | {str(k): pa.string() for k in plan.stamps}
    try:
        table = pa_csv.read_csv(
            pa.BufferReader(data),
            # On this thread, in pieces that fit the processor's cache; blocks are parsed beside each other.
            read_options=pa_csv.ReadOptions(column_names=names, use_threads=False, block_size=_FAST_BYTES),
            parse_options=pa_csv.ParseOptions(delimiter=dialect.delimiter),
            convert_options=pa_csv.ConvertOptions(
                column_types=types,
                include_columns=[str(k) for k in wanted],
                null_values=[*_NULLS, *plan.nulls],
                decimal_point=dialect.decimal,
            ),
        )
    except pa.ArrowInvalid:
        return None
    rows = _newlines(data) + (not data.endswith(b"\n"))
    if table.num_rows != rows:
        return None
    numbers = {k: floats(one_array(table.column(str(k)))) for k in plan.numbers}
    stamps = tuple(one_array(table.column(str(k))) for k in plan.stamps)
    lines = np.arange(first_line, first_line + rows, dtype=np.int64)
    return RawBlock(lines, stamps, numbers, (), {}, _row_text(data))


def _row_text(data: bytes) -> Callable[[int], str]:
    rows: list[bytes] = []

    def text(i: int) -> str:
        if not rows:
            rows.extend(data.split(b"\n"))
        return rows[i].rstrip(b"\r").decode("utf-8", "replace")

    return text


def parse_slowly(data: bytes, first_line: int, plan: TextPlan) -> RawBlock:
    """Row by row: a torn row, a NUL byte or an odd quote costs that row, a strange value costs itself."""
    width, dialect = plan.dialect.width, plan.dialect
    kept: list[list[str]] = []
    lines: list[int] = []
    texts: list[str] = []
    torn: list[Quarantined] = []
    for line, text in _logical_rows(data.decode("utf-8", "replace"), first_line, dialect):
        if not text.strip(" \t\x1a"):
            continue
        cells = _cells(text, dialect)
        if cells is None or "\0" in text:
            reason = "torn row: NUL bytes" if "\0" in text else "torn row: quotes do not match"
            torn.append(Quarantined(line, reason, text.replace("\0", "\ufffd")[:2000]))
            continue
        while len(cells) > width and not cells[-1].strip():
            cells.pop()
        if len(cells) != width:
            torn.append(Quarantined(line, _TORN.format(found=len(cells), width=width), text[:2000]))
            continue
        kept.append(cells)
        lines.append(line)
        texts.append(text)
    return _assemble(kept, lines, texts, tuple(torn), plan)


def _logical_rows(text: str, first_line: int, dialect: Dialect) -> Iterator[tuple[int, str]]:
    """(line, row): a row whose quotes are open takes up to three lines more if that completes it."""
    lines = text.split("\n")
    if lines and not lines[-1]:
        lines.pop()
    i = 0
    while i < len(lines):
        row = lines[i].rstrip("\r")
        taken = 1
        if row.count('"') % 2:
            for more in range(1, 4):
                longer = "\n".join(part.rstrip("\r") for part in lines[i : i + 1 + more])
                cells = _cells(longer, dialect) if longer.count('"') % 2 == 0 else None
                if cells is not None and len(cells) == dialect.width:
                    row, taken = longer, more + 1
                    break
        yield first_line + i, row
        i += taken


def _cells(text: str, dialect: Dialect) -> list[str] | None:
    try:
        return next(csv.reader([text], delimiter=dialect.delimiter, strict=True), [])
    except csv.Error:
        return None


def _assemble(
    kept: list[list[str]], lines: list[int], texts: list[str], torn: tuple[Quarantined, ...], plan: TextPlan
) -> RawBlock:
    numbers: dict[int, NDArray[np.float64]] = {}
    bad: dict[int, tuple[int, int]] = {}
    for k in plan.numbers:
        column = np.empty(len(kept))
        for i, cells in enumerate(kept):
            value = number(cells[k], plan)
            if value is None:
                count, first = bad.get(k, (0, lines[i]))
                bad[k] = (count + 1, first)
            column[i] = math.nan if value is None else value
        numbers[k] = column
    stamps = tuple(pa.array([cells[k] for cells in kept], pa.string()) for k in plan.stamps)
    return RawBlock(np.array(lines, np.int64), stamps, numbers, torn, bad, texts.__getitem__)


def number(cell: str, plan: TextPlan) -> float | None:
    """The number in a cell, NaN where it says *missing*, None where it is something else."""
    text = cell.strip()
    if text in plan.nulls:
        return math.nan
    known = _INFINITE.get(text.casefold())
    if known is not None:
        return known
    if is_missing(text):
        return math.nan
    if plan.dialect.thousands == " ":
        text = re.sub(r"(?<=\d)[ \u00a0\u202f](?=\d{3})", "", text)
    elif plan.dialect.thousands:
        text = text.replace(plan.dialect.thousands, "")
    if plan.dialect.decimal == ",":
        if "." in text:
            return None
        text = text.replace(",", ".")
    return float(text) if _NUMBER.fullmatch(text) else None


def column_texts(data: bytes, plan: TextPlan, limit: int) -> Sequence[list[str]]:
    """The first `limit` rows of a block as cells, torn rows left out."""
    rows = []
    for _, text in _logical_rows(data[: 1 << 22].decode("utf-8", "replace"), 1, plan.dialect):
        cells = _cells(text, plan.dialect)
        if cells is not None and len(cells) == plan.dialect.width:
            rows.append(cells)
        if len(rows) >= limit:
            break
    return rows
