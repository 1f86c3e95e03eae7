"""How a text log is written: encoding, delimiter, decimal mark, header, unit row, first data line."""

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from charset_normalizer import from_bytes

from tbmreview.domain.errors import LogError
from tbmreview.ingest.headers import tidy
from tbmreview.ingest.stamp_text import is_dated, is_time_of_day, looks_like_stamp
from tbmreview.ingest.synonyms import vocabulary_letters
from tbmreview.ingest.units import parse_unit

HEAD_BYTES = 1 << 18
_CODE_PAGES = ("cp1252", "gb18030", "cp932", "big5", "cp1250", "euc_jp", "euc_kr", "cp850", "mac_roman")
DELIMITERS = (";", "\t", ",", "|")
_ANY_NUMBER = re.compile(r"[-+]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][-+]?\d+)?$")
_POINT = re.compile(r"[-+]?\d*\.\d+(?:[eE][-+]?\d+)?$|[-+]?\d+\.$")
_COMMA = re.compile(r"[-+]?\d*,\d+(?:[eE][-+]?\d+)?$")
_GROUPED = {
    (",", "."): re.compile(r"[-+]?\d{1,3}(?:\.\d{3})+(?:,\d+)?$"),
    (".", ","): re.compile(r"[-+]?\d{1,3}(?:,\d{3})+(?:\.\d+)?$"),
    (".", "'"): re.compile(r"[-+]?\d{1,3}(?:'\d{3})+(?:\.\d+)?$"),
    (",", " "): re.compile(r"[-+]?\d{1,3}(?:[ \u00a0\u202f]\d{3})+(?:,\d+)?$"),
}
_MISSING = {"", "-", "--", "---", "na", "n/a", "#n/a", "nan", "null", "none", "inf", "-inf", "+inf"}


@dataclass(frozen=True, slots=True)
class Dialect:
    """skip_lines: physical lines before the first data row. names, units: one a column ('' if none).

    blanks: how many blanks or more part two cells, 0 where a delimiter does; the rows are then read with
    a tab in their place (`tabbed`).
    """

    encoding: str
    delimiter: str
    decimal: str
    thousands: str
    skip_lines: int
    names: tuple[str, ...]
    units: tuple[str, ...]
    notes: tuple[str, ...] = ()
    blanks: int = 0

    @property
    def width(self) -> int:
        return len(self.names)


def is_missing(cell: str) -> bool:
    """A cell that says *no value* in words."""
    return cell.strip().casefold() in _MISSING


@lru_cache(1 << 14)  # a log repeats its cells, and each is looked at more than once
def is_number(cell: str) -> bool:
    """A cell that reads as a number in some dialect."""
    text = cell.strip()
    return bool(_ANY_NUMBER.match(text)) or any(pattern.match(text) for pattern in _GROUPED.values())


def sniff(head: bytes, name: str) -> Dialect:
    """The dialect of a text that begins with `head`; LogError where it is no table."""
    encoding = sniff_encoding(head)
    text = decode_head(head, encoding)
    if _binary(text):
        raise LogError(f"{name}: is no text table; expected a CSV or text table, Parquet or Feather")
    lines = text.splitlines(keepends=True)
    complete = lines if len(head) < HEAD_BYTES or len(lines) < 2 else lines[:-1]
    delimiter = _best_delimiter(complete)
    if delimiter:
        return _layout(text_rows(complete, delimiter), delimiter, encoding, name)
    tables = []
    for blanks in (2, 1):
        apart = [tabbed(line.encode(), blanks).decode() for line in complete]
        if _best_delimiter(apart) == "\t":
            found = _layout(text_rows(apart, "\t"), "\t", encoding, name, exact=True)
            tables.append(replace(found, blanks=blanks, notes=(*found.notes, "blanks part the columns")))
    if tables:
        return max(tables, key=lambda table: any(table.names))  # the first of equals: two blanks or more
    raise LogError(f"{name}: no columns found; expected cells parted by semicolon, tab, comma, bar or blanks")


def tabbed(rows: bytes, blanks: int) -> bytes:
    """Rows in UTF-8 with a tab for every run of `blanks` or more blanks; none at the ends of a row."""
    return re.sub(rb" {%d,}" % blanks, b"\t", re.sub(rb"(?m)^ +| +(?=\r?$)", b"", rows))


def sniff_encoding(head: bytes) -> str:
    """Byte order mark, strict UTF-8, then the code page whose letters are those of the trade's words."""
    if head.startswith(b"\xef\xbb\xbf"):
        return "utf-8"
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16-le" if head[0] == 0xFF else "utf-16-be"
    zeros = head[:2000]
    if zeros[1::2].count(0) > len(zeros) // 3:
        return "utf-16-le"
    if zeros[0::2].count(0) > len(zeros) // 3:
        return "utf-16-be"
    if _decodes(head, "utf-8"):
        return "utf-8"
    scores = {page: _letters_known(head, page) for page in _CODE_PAGES if _decodes(head, page)}
    if not scores:
        return "cp1252"
    top = max(scores.values())
    tied = [page for page, score in scores.items() if score == top]
    if len(tied) == 1 or top > 0:
        return tied[0]
    guess = from_bytes(head, cp_isolation=tied).best()
    return guess.encoding if guess is not None and guess.encoding in tied else tied[0]


def decode_head(head: bytes, encoding: str) -> str:
    """The text of a head, without its byte order mark; a character cut at the end becomes U+FFFD."""
    return head.decode(encoding, errors="replace").removeprefix("\ufeff")


def _decodes(head: bytes, encoding: str) -> bool:
    for cut in range(4 if len(head) > 4 else 1):  # the head may end inside a character
        try:
            head[: len(head) - cut].decode(encoding)
        except UnicodeDecodeError:
            continue
        return True
    return False


def _letters_known(head: bytes, encoding: str) -> int:
    """Letters beyond ASCII that occur in our words or units, less twice those that do not."""
    known = vocabulary_letters()
    beyond = [c for c in decode_head(head, encoding) if ord(c) > 127]
    good = sum(c in known for c in beyond)
    return 3 * good - 2 * len(beyond)


def _binary(text: str) -> bool:
    sample = text[:4000]
    odd = sum(1 for c in sample if (ord(c) < 32 and c not in "\t\r\n\x0c\x1a") or c == "\ufffd")
    return odd > 0.1 * len(sample)


def text_rows(lines: Sequence[str], delimiter: str, limit: int = 200) -> list[tuple[int, list[str]]]:
    """(physical lines up to and including this row, cells) for each row that is not blank."""
    reader = csv.reader(lines, delimiter=delimiter)
    rows: list[tuple[int, list[str]]] = []
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows.append((reader.line_num, cells))
            if len(rows) >= limit:
                break
    except csv.Error:
        pass  # a field over the limit or a NUL: what was read so far is judged
    return rows


def _best_delimiter(lines: Sequence[str]) -> str:
    """The one that makes a table of values of the tail of the head; '' where none does."""
    best, best_score = "", 0.0
    for delimiter in DELIMITERS:
        rows = text_rows(lines, delimiter)
        if not rows:
            continue
        # the tail of the head is data, whatever stands above it
        tail = rows[len(rows) // 2 :]
        width, count = Counter(len(cells) for _, cells in tail).most_common(1)[0]
        values = sum(is_number(c) or is_missing(c) or looks_like_stamp(c) for _, r in tail for c in r)
        clean = values / max(1, sum(len(cells) for _, cells in tail))
        score = count / len(tail) * (0.2 + clean) if width > 1 else 0.0
        if score > best_score * 1.05:
            best, best_score = delimiter, score
    return best


def _layout(
    rows: list[tuple[int, list[str]]], delimiter: str, encoding: str, name: str, exact: bool = False
) -> Dialect:
    """exact: names count only where there is one for each column (blanks may also stand inside names)."""
    first = _first_data_row(rows)
    if first is None:
        raise LogError(f"{name}: no rows of numbers found; expected a table with a row for each instant")
    data = [cells for _, cells in rows[first:]]
    width = Counter(len(cells) for cells in data).most_common(1)[0][0]
    above = [(line, cells) for line, cells in rows[:first] if len(cells) >= max(2, width * 0.6)]
    if exact:
        above = [(line, _named_date_and_time(cells, data[0], width)) for line, cells in above]
        above = [(line, cells) for line, cells in above if len(cells) == width]
    names, units, notes = _name_and_unit_rows(above, width)
    decimal, thousands = number_marks(data, delimiter)
    skip = rows[first - 1][0] if first else 0
    return Dialect(encoding, delimiter, decimal, thousands, skip, names, units, notes)


def _named_date_and_time(names: list[str], data: Sequence[str], width: int) -> list[str]:
    """Names, one more where a stamp with a blank inside falls into two columns under one name."""
    if len(names) == width - 1:
        for k in range(width - 1):
            if is_dated(data[k]) and is_time_of_day(data[k + 1]):
                return [*names[: k + 1], f"{names[k]} (time of day)", *names[k + 1 :]]
    return names


def _first_data_row(rows: list[tuple[int, list[str]]]) -> int | None:
    """The first row from which this row and the next two hold values, not words."""
    like = [_is_data(cells) for _, cells in rows]
    for i in range(len(rows)):
        if len(rows[i][1]) > 1 and all(like[i : i + 3]):
            return i
    return None


def _is_data(cells: Sequence[str]) -> bool:
    filled = [c for c in cells if not is_missing(c)]
    values = sum(is_number(c) or looks_like_stamp(c) for c in filled)
    return bool(filled) and values * 2 >= len(filled) and values >= 1


def _name_and_unit_rows(
    above: list[tuple[int, list[str]]], width: int
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    units: list[str] = []
    names: list[str] = []
    for _, cells in above:
        filled = [tidy(c) for c in cells if tidy(c)]
        if filled and sum(bool(parse_unit(c)) or c in "-/" for c in filled) * 2 > len(filled):
            units = cells
        elif (
            filled
            and sum(is_number(c) for c in filled) * 2 <= len(filled)
            and (len(set(filled)) * 2 > len({tidy(n) for n in names if tidy(n)}))
        ):
            names = cells
    notes = () if names else ("the table has no row of column names",)
    pad = [""] * width
    return tuple([*names, *pad][:width]), tuple([*units, *pad][:width]), notes


def number_marks(data: Sequence[Sequence[str]], delimiter: str) -> tuple[str, str]:
    """(decimal mark, thousands mark or '')."""
    cells = [c.strip() for row in data for c in row if c.strip() and not looks_like_stamp(c)]
    point = sum(bool(_POINT.match(c)) for c in cells)
    comma = sum(bool(_COMMA.match(c)) for c in cells)
    for (decimal, thousands), pattern in _GROUPED.items():
        grouped = [c for c in cells if pattern.match(c)]
        sure = [c for c in grouped if decimal in c or c.count(thousands) > 1 or thousands in "' "]
        if not sure:
            continue
        others = [c for c in cells if (_COMMA if decimal == "," else _POINT).match(c)]
        stray = [c for c in cells if (_POINT if decimal == "," else _COMMA).match(c) and not pattern.match(c)]
        if len(stray) <= (len(others) + len(sure)) // 20:
            return decimal, thousands
    if delimiter == "," and comma <= point:
        return ".", ""
    return (",", "") if comma > point else (".", "")
