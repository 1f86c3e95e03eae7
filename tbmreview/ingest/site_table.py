"""Tables that a site states beside the logs -> the columns of domain.site: surveyed stations, chainage
equations, delays. Times are local to the drive unless a value or its header says otherwise."""

import datetime as dt
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa

from tbmreview.domain.errors import SiteError
from tbmreview.domain.samples import DAY_US, MICROSECONDS
from tbmreview.domain.setup import DriveFacts
from tbmreview.domain.site import ANCHORS, DELAYS, EQUATIONS, SITE_COLUMNS, site_column
from tbmreview.domain.table import Table
from tbmreview.ingest.find_clock import StampSample, date_order, stated_zone
from tbmreview.ingest.headers import parse_header
from tbmreview.ingest.local_time import LocalTime
from tbmreview.ingest.small_table import Kind, SmallTable, open_table
from tbmreview.ingest.stamp_text import (
    AWARE,
    GOOD,
    is_dated,
    is_time_of_day,
    offset_us,
    parse_text,
    stamp_has_time,
)
from tbmreview.ingest.synonyms import fold_words

WORDS = "site_words.toml"
SPAN_MARGIN_US = DAY_US  # a survey may be a day off the record and still tell how its dates are written
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


def read_stations(path: Path | str, facts: DriveFacts, span_us: tuple[int, int] | None = None) -> Table:
    """Surveyed stations in the columns of domain.site, in the order of the file.

    span_us: of the drive's samples; tells 3 April from 4 March where the dates could be either.
    SiteError names file and row and says what was expected.
    """
    table = open_table(Path(path), _STATIONS)
    times = _Times(table, facts.zone, span_us)
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
    times = _Times(table, zone, span_us)
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
    times = _Times(table, zone, span_us)
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
    value = table.cell(row, "sd")
    if not table.text(row, "sd"):
        return float("nan")
    metres, unit = table.number(value), table.unit("sd", "length")
    if metres is None or metres < 0:
        raise table.fail(number, f"the standard deviation '{value}' is no number of 0 or more")
    if unit is None:
        raise table.fail(
            number, "the standard deviation has no unit; write it in the header, sd [mm] or sd [m]"
        )
    return metres * unit.factor / 1000


# --- times --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Clock:
    """How the times of one column are written: order of the date, offset from UTC (None: local)."""

    order: str
    offset_us: int | None


class _Times:
    """Instants of a table's rows."""

    def __init__(self, table: SmallTable, zone: ZoneInfo, span_us: tuple[int, int] | None) -> None:
        self.table, self.zone, self.span_us = table, zone, span_us
        self._clocks: dict[tuple[str, ...], _Clock] = {}
        self._texts: dict[str, list[str]] = {}

    def instant(
        self,
        number: int,
        row: Sequence[Any],
        column: str,
        dates: Sequence[str],
        *,
        or_midnight: bool = False,
        days: int = 0,
    ) -> int:
        """Microseconds UTC of a row: the column where it is dated, else the first of `dates` with it;
        so many days later on the clock."""
        text = self._text(row, column)
        date = next((name for name in dates if self._text(row, name)), "")
        used: tuple[str, ...] = (column,)
        if not text and date:
            text, used = self._text(row, date), (date,)
        elif is_time_of_day(text) and date:
            text, used = f"{self._text(row, date).split(' 00:00:00')[0]} {text}", (date, column)
        if is_dated(text) and not stamp_has_time(text):
            if not (or_midnight or self._is_timed_workbook(row, used[-1])):
                raise self.table.fail(number, f"'{text}' says no time of day; the face moves metres in a day")
            text = f"{text} 00:00:00"
        if not is_dated(text):
            raise self.table.fail(
                number, f"the {column} '{text}' is no date with time; expected such as 2030-05-02 14:30"
            )
        return self._utc(number, text, self._clock(used), days)

    def _text(self, row: Sequence[Any], column: str) -> str:
        return _stamp(self.table.cell(row, column))

    def _is_timed_workbook(self, row: Sequence[Any], column: str) -> bool:
        """A workbook gives midnight as a bare date; it is one where others of the column have a time."""
        if not isinstance(self.table.cell(row, column), dt.date):
            return False
        return any(stamp_has_time(text) for text in self._column(column))

    def _column(self, column: str) -> list[str]:
        if column not in self._texts:
            self._texts[column] = [text for _, row in self.table if (text := self._text(row, column))]
        return self._texts[column]

    def _clock(self, columns: tuple[str, ...]) -> _Clock:
        if columns not in self._clocks:
            self._clocks[columns] = self._find_clock(columns)
        return self._clocks[columns]

    def _find_clock(self, columns: tuple[str, ...]) -> _Clock:
        samples = []
        for name in columns:
            at = self.table.columns[name]
            samples.append(StampSample(at, parse_header(self.table.header[at]), self._column(name)))
        zone, _ = stated_zone("full", samples)
        offset = {"drive": None, "UTC": 0}.get(zone, offset_us(zone))
        order, choices = date_order(samples, self.table.path.name)
        if not order:
            order = self._order_by_span(columns[0], choices)
        return _Clock(order, offset)

    def _order_by_span(self, column: str, choices: str) -> str:
        """The one order under which the dates fall into the time of the logs."""
        texts = pa.array([text for text in self._column(column) if is_dated(text)])
        fit = []
        for order in ("ymd", "dmy", "mdy"):
            at, status, _ = parse_text(texts, order)
            low, high = self.span_us or (0, -1)
            inside = (at >= low - SPAN_MARGIN_US) & (at <= high + SPAN_MARGIN_US)
            if np.all(status == GOOD) and low <= high and inside.all():
                fit.append(order)
        if len(fit) != 1:
            raise self.table.kind.error(
                f"{self.table.path}: is '{texts[0].as_py()}' {choices}? Write dates such as 2030-05-02"
            )
        return fit[0]

    def _utc(self, number: int, text: str, clock: _Clock, days: int) -> int:
        at, status, aware = parse_text(pa.array([text]), clock.order)
        at = at + days * DAY_US
        if status[0] != GOOD:
            raise self.table.fail(number, f"there is no time '{text}'")
        if aware[0] == AWARE:
            return int(at[0])
        if clock.offset_us is not None:
            return int(at[0]) - clock.offset_us
        local = LocalTime(self.zone)
        utc, missing = local.to_utc(at)
        if missing[0] or local.doubled:
            why = "does not exist" if missing[0] else "comes twice"
            raise self.table.fail(
                number,
                f"{text} {why} in {self.zone.key}, the clock was changed; write it with its offset from UTC, "
                "such as 2030-10-27 02:30+01:00",
            )
        return int(utc[0])


def _stamp(value: Any) -> str:
    """A cell that holds a time as text that stamp_text reads; '' for none."""
    if isinstance(value, dt.datetime):
        return value.replace(microsecond=value.microsecond // 1000 * 1000).isoformat(" ")
    if isinstance(value, dt.timedelta):
        minutes, seconds = divmod(round(value.total_seconds()), 60)
        return f"{minutes // 60:02d}:{minutes % 60:02d}:{seconds:02d}"
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return "" if value is None or value != value else str(value).strip()


def _end(table: SmallTable, times: _Times, at: tuple[int, Sequence[Any]], start: int) -> int:
    number, row = at
    text = _stamp(table.cell(row, "end"))
    if not text and table.text(row, "duration"):
        return start + _duration(table, number, row)
    dates = ("end_date", "start_date", "date")
    end = times.instant(number, row, "end", dates)
    own_day = is_dated(text) or _stamp(table.cell(row, "end_date"))
    return end if own_day or end > start else times.instant(number, row, "end", dates, days=1)


def _duration(table: SmallTable, number: int, row: Sequence[Any]) -> int:
    value = table.cell(row, "duration")
    text, unit = _stamp(value), table.unit("duration", "time")
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
