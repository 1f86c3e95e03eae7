"""Stamps written as text -> microseconds: rows of one shape are parsed together from their bytes."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tbmreview.domain.samples import DAY_US, MICROSECONDS
from tbmreview.ingest.arrow import ArrowArray

GOOD, NO_STAMP = 0, 1
NAIVE, AWARE = 0, 1
_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan janv januar january janvier enero ene gennaio gen",
            "feb febr februar february fevr fevrier février febrero febbraio",
            "mar mars mrz märz maerz march marzo",
            "apr avr april avril abril abr aprile",
            "may mai mayo maggio mag",
            "jun juin june juni junio giugno giu",
            "jul juil july juli juillet julio luglio lug",
            "aug aout août august agosto ago",
            "sep sept september septembre septiembre settembre set",
            "oct okt october oktober octobre octubre ottobre ott",
            "nov november novembre noviembre",
            "dec dez des december dezember desember décembre diciembre dicembre dic",
        ),
        start=1,
    )
    for name in names.split()
}
_STAMP = re.compile(
    r"""\s*(?:\w{2,10}[,.]?\s+(?=\d))?
    (?:(?P<a>\d{4}|\d{1,2})\s*(?P<sep>[-./年\s])\s*(?P<b>\d{1,2}|[^\W\d_]{3,10}\.?)\s*(?:(?P=sep)|月|\s)\s*(?P<c>\d{4}|\d{1,2})日?
      |(?P<y>\d{4})(?P<m>\d{2})(?P<d>\d{2}))
    (?:(?:\s*[T,_\s]\s*|-(?=\d\d:))
      (?P<H>\d{1,2})\s*[:.h時时]\s*(?P<M>\d{2})(?:\s*[:.'m分]\s*(?P<S>\d{2})秒?s?(?:[.,:](?P<f>\d{1,9}))?)?分?
      |[T_\s]?(?P<H2>\d{2})(?P<M2>\d{2})(?P<S2>\d{2})(?:[.,](?P<f2>\d{1,9}))?)?
    \s*(?P<ap>[AaPp]\.?\s?[Mm]\.?)?
    \s*(?P<z>Z|UTC|GMT|(?:UTC|GMT)?\s*[+-]\d{2}:?\d{2}|(?:UTC|GMT)?\s*[+-]\d{2})?\s*""",
    re.X,
)
_PLAIN_NUMBER = re.compile(r"[-+]?\d*[.,]?\d*$")
_COMPACT = (8, 14)  # digits of yyyymmdd and yyyymmddhhmmss
_TIME = re.compile(
    r"\s*\d{1,2}(?P<sep>[:.h時时])\d{2}(?:[:.'m分]\d{2}秒?s?(?:[.,:]\d{1,9})?)?分?"
    r"\s*(?P<ap>[AaPp]\.?\s?[Mm]\.?)?\s*(?:Z|[+-]\d{2}:?\d{2})?\s*"
)
_DOTTED_TIME = re.compile(r"\s*(?:[01]?\d|2[0-4])\.[0-5]\d\.[0-5]\d\s*")
_NEARLY_ALL = 0.95
ORDERS = ("ymd", "dmy", "mdy")


@lru_cache(1 << 14)  # a log repeats its cells, and each is looked at more than once
def looks_like_stamp(cell: str) -> bool:
    """A cell that reads as a date, a date with time, or a time of day."""
    text = cell.strip()
    if not 4 <= len(text) <= 40 or not any(map(str.isdigit, text)):
        return False
    if _PLAIN_NUMBER.match(text) and len(text) not in _COMPACT:
        return False
    match = _STAMP.fullmatch(text)
    if match and (match["y"] is None or match["H"] or match["H2"]):
        return (
            ":" in text
            or match["sep"] in tuple("-./年")
            or match["y"] is not None
            or not match["b"].isdigit()
        )
    return is_time_of_day(text)


def is_time_of_day(cell: str) -> bool:
    """06:00, 06h00m00 or 6.00 PM; with dots alone it may be a number or a date: see `are_dotted_times`."""
    match = _TIME.fullmatch(cell)
    return match is not None and (match["sep"] != "." or ":" in cell or match["ap"] is not None)


def are_dotted_times(cells: Sequence[str]) -> bool:
    """Whether all are times such as 06.00.00 and cannot all be dates."""
    return (
        bool(cells) and all(_DOTTED_TIME.fullmatch(cell) for cell in cells) and not orders_that_fit(cells)[0]
    )


def digits_of_times(cells: Sequence[str]) -> int:
    """6 where nearly all are times of day as whole numbers, hhmmss with or without zeros before them; 4 where
    they are written hhmm; else 0."""
    whole = [cell for cell in cells if cell.isascii() and cell.isdigit() and len(cell) <= 6]
    digits = 4 if all(len(cell) == 4 for cell in whole) else 6 if max(map(len, whole)) > 4 else 0
    times = [f"{cell:0>6}" if digits == 6 else f"{cell}00" for cell in whole]
    good = sum(t[:2] <= "24" and t[2:4] < "60" and t[4:] < "60" for t in times)
    return digits if whole and good > _NEARLY_ALL * len(cells) else 0


def is_dated(cell: str) -> bool:
    match = _STAMP.fullmatch(cell)
    return match is not None


def orders_that_fit(cells: Sequence[str]) -> tuple[tuple[str, ...], bool]:
    """(orders under which every dated cell is a date, whether the separators are dots)."""
    fit = set(ORDERS)
    dots = True
    seen = False
    for cell in cells:
        match = _STAMP.fullmatch(cell)
        if match is None:
            continue
        seen = True
        dots = dots and match["sep"] == "."
        if match["y"]:
            fit &= {"ymd"}
            continue
        if _is_never_text(cell):
            continue
        if not match["b"].isdigit():  # a month in words leaves nothing open
            fit &= {"ymd" if len(match["a"]) == 4 else "dmy"}
            continue
        fit &= {order for order in ORDERS if _date_fits(match, order)}
    return tuple(o for o in ORDERS if o in fit), dots and seen


def _is_never_text(cell: str) -> bool:
    digits = re.sub(r"\D", "", cell)
    return not digits.strip("0") or any(
        digits.startswith(x) for x in ("19700101", "18991230", "991230", "19991230")
    )


def _parts(match: "re.Match[str]", order: str) -> tuple[int, int, int]:
    """(year, month, day); ValueError where a word is no month."""
    if match["y"]:
        return int(match["y"]), int(match["m"]), int(match["d"])
    middle = match["b"].rstrip(".").casefold()
    b = int(middle) if middle.isdigit() else _MONTHS.get(middle, 0)
    if not middle.isdigit():
        first_is_year = len(match["a"]) == 4
        year, day = (match["a"], match["c"]) if first_is_year else (match["c"], match["a"])
        return _full_year(year), b, int(day)
    triple = {"y": "", "m": "", "d": ""}
    for letter, text in zip(order, (match["a"], str(b), match["c"]), strict=True):
        triple[letter] = text
    return _full_year(triple["y"]), int(triple["m"]), int(triple["d"])


def _full_year(text: str) -> int:
    year = int(text)
    if len(text) > 2:
        return year
    return year + (2000 if year < 70 else 1900)


def _date_fits(match: "re.Match[str]", order: str) -> bool:
    if (len(match["a"]) == 4 and order != "ymd") or (len(match["c"]) == 4 and order == "ymd"):
        return False
    try:
        datetime(*_parts(match, order), tzinfo=UTC)
    except ValueError:
        return False
    return True


def parse_text(array: ArrowArray, order: str) -> tuple[NDArray[np.int64], NDArray[np.int8], NDArray[np.int8]]:
    """(local microseconds, status, aware or naive), each (n,); aware stamps come back in UTC.

    Rows that share the shape of a stamp are parsed together from their bytes.
    """
    text: ArrowArray = array.cast(pa.string())
    if text.null_count:
        text = text.fill_null("")
    n = len(text)
    time_us, status = np.zeros(n, np.int64), np.full(n, NO_STAMP, np.int8)
    aware = np.zeros(n, np.int8)
    start, data = _buffers(text)
    length = np.diff(start)
    waiting = np.arange(n)
    while len(waiting):
        i = int(waiting[0])
        same = waiting[length[waiting] == length[i]]
        span = bytes(data[start[i] : start[i + 1]])
        template = _Template.of(span, order)
        places = _places(data, start, same, int(length[i]))
        hit = (
            template.rows_like(places)
            if template
            else np.all(places == np.frombuffer(span, np.uint8)[:, None], axis=0)
        )
        alike = bool(hit.all())
        rows = same if alike else same[hit]
        if template:
            time_us[rows], status[rows] = template.times(places if alike else places[:, hit])
            aware[rows] = template.aware
        waiting = (
            waiting[:0] if len(rows) == len(waiting) else np.setdiff1d(waiting, rows, assume_unique=True)
        )
    return time_us, status, aware


def _places(
    data: NDArray[np.uint8], start: NDArray[np.int64], rows: NDArray[np.int64], length: int
) -> NDArray[np.uint8]:
    """(length, rows) bytes of texts of one length, a place in the text a row of the matrix."""
    if len(rows) == len(start) - 1:
        return np.ascontiguousarray(data[start[0] : start[-1]].reshape(len(rows), length).T)
    return np.asarray(data[start[rows] + np.arange(length)[:, None]])


def _buffers(text: Any) -> tuple[NDArray[np.int64], NDArray[np.uint8]]:
    _, offsets, data = text.buffers()
    start = np.frombuffer(offsets, np.int32)[text.offset : text.offset + len(text) + 1].astype(np.int64)
    return start, np.frombuffer(data, np.uint8) if data is not None else np.empty(0, np.uint8)


@dataclass(frozen=True, slots=True)
class _Template:
    """The shape of a stamp: where its digits stand and what every other byte is."""

    sample: NDArray[np.uint8]
    digits: NDArray[np.bool_]
    spans: dict[str, tuple[int, int]]
    fixed: dict[str, int]
    offset_us: int
    aware: int

    @classmethod
    def of(cls, span: bytes, order: str) -> "_Template | None":
        text = span.decode("utf-8", errors="replace")
        match = _STAMP.fullmatch(text)
        if match is None:
            return None
        spans, fixed = _date_spans(match, order)
        for key, names in {"H": ("H", "H2"), "M": ("M", "M2"), "S": ("S", "S2"), "f": ("f", "f2")}.items():
            for name in names:
                if match[name] is not None:
                    spans[key] = match.span(name)
        fixed["pm"] = {"": 0, "a": 1, "p": 2}[(match["ap"] or "")[:1].casefold()]
        at = [len(text[:i].encode()) for i in range(len(text) + 1)]
        spans = {key: (at[i], at[j]) for key, (i, j) in spans.items()}
        sample = np.frombuffer(span, np.uint8)
        digits = np.zeros(len(sample), bool)
        for i, j in spans.values():
            digits[i:j] = True
        zone = match["z"]
        return cls(sample, digits, spans, fixed, offset_us(zone or ""), AWARE if zone else NAIVE)

    def rows_like(self, places: NDArray[np.uint8]) -> NDArray[np.bool_]:
        """(n,) which of the texts, (length, n) bytes, have this shape."""
        fixed_good = np.all(places[~self.digits] == self.sample[~self.digits, None], axis=0)
        return np.asarray(fixed_good & np.all(places[self.digits] - np.uint8(48) <= 9, axis=0))

    def times(self, places: NDArray[np.uint8]) -> tuple[NDArray[np.int64], NDArray[np.int8]]:
        """(local microseconds, status), each (n,), of texts of this shape, (length, n) bytes."""
        n = places.shape[1]
        if not n:
            return np.empty(0, np.int64), np.empty(0, np.int8)
        days, good = self._days(places)
        part = {key: _number(places[i:j]) for key, (i, j) in self.spans.items() if key in "HMSf"}
        none = np.zeros(n, np.int64)
        hour, minute, second = (part.get(key, none) for key in "HMS")
        if self.fixed["pm"]:
            good = good & (hour >= 1) & (hour <= 12)
            hour = hour % 12 + (12 if self.fixed["pm"] == 2 else 0)
        good = good & (minute < 60) & (second < 60)
        good &= (hour < 24) | ((hour == 24) & (minute == 0) & (second == 0))
        time_us = days * DAY_US + (hour * 3600 + minute * 60 + second) * MICROSECONDS
        if "f" in self.spans:
            count = self.spans["f"][1] - self.spans["f"][0]
            time_us = time_us + np.rint(part["f"] * 10.0 ** (6 - count)).astype(np.int64)
        return time_us - self.offset_us, np.where(good, GOOD, NO_STAMP).astype(np.int8)

    def _days(self, places: NDArray[np.uint8]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """Days since 1970-01-01 and whether there is such a day, each (n,); rows in a row share theirs."""
        dated = [at for key, span in self.spans.items() if key in "ymd" for at in range(*span)]
        date = places[dated]
        start = np.flatnonzero(np.r_[True, (date[:, 1:] != date[:, :-1]).any(axis=0)])
        first = places[:, start]
        part = {key: _number(first[i:j]) for key, (i, j) in self.spans.items() if key in "ymd"}
        none = np.zeros(len(start), np.int64)
        year = part.get("y", none + self.fixed.get("y", 0))
        if "y" in self.spans and self.spans["y"][1] - self.spans["y"][0] <= 2:
            year = year + np.where(year < 70, 2000, 1900)
        month = part.get("m", none + self.fixed.get("m", 0))
        days, good = _days(year, month, part["d"])
        shared = np.diff(np.r_[start, places.shape[1]])
        return np.repeat(days, shared), np.repeat(good, shared)


def _date_spans(match: "re.Match[str]", order: str) -> tuple[dict[str, tuple[int, int]], dict[str, int]]:
    if match["y"] is not None:
        return {key: match.span(key) for key in "ymd"}, {}
    if not match["b"].isdigit():
        year, day = ("a", "c") if len(match["a"]) == 4 else ("c", "a")
        month = _MONTHS.get(match["b"].rstrip(".").casefold(), 0)
        return {"y": match.span(year), "d": match.span(day)}, {"m": month}
    first_is_year = len(match["a"]) == 4
    use = "ymd" if first_is_year else order
    return {letter: match.span(group) for letter, group in zip(use, "abc", strict=True)}, {}


def _number(digits: NDArray[np.uint8]) -> NDArray[np.int64]:
    """(k, n) bytes of digits -> (n,) whole numbers."""
    total = np.zeros(digits.shape[1], np.int64)
    for place in digits:
        total = total * 10 + (place - np.uint8(48))
    return total


def _days(
    year: NDArray[np.int64], month: NDArray[np.int64], day: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Days since 1970-01-01 and whether there is such a day."""
    good = (month >= 1) & (month <= 12) & (day >= 1) & (year >= 1600)
    months = (year - 1970) * 12 + np.clip(month, 1, 12) - 1
    first = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    following = (months + 1).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    days = first + day - 1
    return days, good & (days < following)


def offset_us(zone: str) -> int:
    match = re.search(r"([+-])(\d{1,2}):?(\d{2})?$", zone)
    if match is None:
        return 0
    minutes = int(match[2]) * 60 + int(match[3] or 0)
    return (1 if match[1] == "+" else -1) * minutes * 60 * MICROSECONDS


def offset_name(seconds: float) -> str:
    """An offset from UTC [s] as '+01:00'."""
    minutes = round(abs(seconds) / 60)
    return f"{'-' if seconds < 0 else '+'}{minutes // 60:02d}:{minutes % 60:02d}"


def stamp_has_time(cell: str) -> bool:
    match = _STAMP.fullmatch(cell)
    return match is not None and (match["H"] is not None or match["H2"] is not None)


def stamp_has_zone(cell: str) -> bool:
    match = _STAMP.fullmatch(cell)
    return match is not None and match["z"] is not None
