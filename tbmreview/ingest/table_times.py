"""Instants of the rows of a table that people write: times local to the drive unless a value or its header says
otherwise; a date of its own column, or none where midnight will do."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa

from tbmreview.domain.samples import DAY_US
from tbmreview.ingest.find_clock import StampSample, date_order, stated_zone
from tbmreview.ingest.headers import parse_header
from tbmreview.ingest.local_time import LocalTime
from tbmreview.ingest.small_table import SmallTable
from tbmreview.ingest.stamp_text import (
    AWARE,
    GOOD,
    is_dated,
    is_time_of_day,
    offset_us,
    parse_text,
    stamp_has_time,
)

SPAN_MARGIN_US = DAY_US  # a table may be a day off the record and still tell how its dates are written


@dataclass(frozen=True, slots=True)
class _Clock:
    """How the times of one column are written: order of the date, offset from UTC (None: local)."""

    order: str
    offset_us: int | None


class Times:
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
        return stamp_text_of(self.table.cell(row, column))

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


def stamp_text_of(value: Any) -> str:
    """A cell that holds a time as text that stamp_text reads; '' for none."""
    if isinstance(value, dt.datetime):
        return value.replace(microsecond=value.microsecond // 1000 * 1000).isoformat(" ")
    if isinstance(value, dt.timedelta):
        minutes, seconds = divmod(round(value.total_seconds()), 60)
        return f"{minutes // 60:02d}:{minutes % 60:02d}:{seconds:02d}"
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return "" if value is None or value != value else str(value).strip()
