"""Stamps of a log: what instant each row is.

Nothing is assumed in silence: a stamp without an offset is local time of the drive's zone unless its
column says otherwise, and the import report says which.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tbmreview.domain.samples import DAY_US
from tbmreview.ingest.arrow import ArrowArray, flags, floats, whole_numbers
from tbmreview.ingest.arrow import compute as pc
from tbmreview.ingest.local_time import LocalTime
from tbmreview.ingest.stamp_text import AWARE, GOOD, NAIVE, NO_STAMP, offset_name, offset_us, parse_text

NEVER, SKIPPED_HOUR, FAR = 2, 3, 4
NO_SPAN = (-(1 << 62), 1 << 62)
REASONS = {
    NO_STAMP: "no valid stamp",
    NEVER: "a stamp that means 'never'",
    SKIPPED_HOUR: "clock fault: a local time that the change to summer time skips",
    FAR: "clock fault: a stamp more than a year from the rest of the log",
}
# A recorder without a clock writes the zero of its calendar; no machine log is older than this.
_EARLIEST_US = 7_305 * DAY_US  # 1990-01-01
_LATEST_US = 47_482 * DAY_US  # 2100-01-01
_ALL_ZERO = r"^[\s:./T-]*0[\s0:./T-]*$"  # a stamp written with zeros only
_SERIAL_PRINT_S = 0.05  # half of the sixth decimal of a day
_ZERO_DAY = 10_955  # 1999-12-30: the zero day 1899-12-30 written with two digits for its year


@dataclass(frozen=True, slots=True)
class Clock:
    """How stamps are read.

    columns: one column, or date and time. kind: 'text', 'epoch', 'serial' (days since 1899-12-30) or
    'typed' (the file's own stamps). order: of year, month and day in text. tick_us: microseconds in
    one epoch count. zone: 'UTC', an offset such as '+01:00', 'stamp' (each stamp carries its own),
    'drive' (local time of the drive) or an IANA name. late_us: taken off each stamp, where stamps mark
    the end of their interval. rows_per_stamp, unit_us: where stamps are too coarse for the rows, the
    usual number of rows that share one and the time over which they are spread. time_digits: of a time of
    day that stands beside its date as a whole number, 6 (hhmmss) or 4 (hhmm), else 0.
    within_us: lowest and highest instant that is no fault of the clock.
    """

    columns: tuple[int, ...]
    kind: str
    order: str = "ymd"
    tick_us: float = 0.0
    zone: str = "drive"
    said: str = ""
    late_us: int = 0
    rows_per_stamp: int = 1
    unit_us: int = 0
    time_digits: int = 0
    within_us: tuple[int, int] = NO_SPAN


class StampReader:
    """Turns the stamp columns of one block after the other into UTC; carries the doubled hour's state."""

    def __init__(self, clock: Clock, zone: ZoneInfo | None) -> None:
        self.clock = clock
        self.zone = zone
        self._local: LocalTime | None = None
        self.doubled = 0
        self._begun = False

    @property
    def question(self) -> str:
        """What must be asked of the stamps read so far, '' where nothing."""
        if self.clock.zone != "drive" or self._local is None or self._local.unchanged is None:
            return ""
        before, after = self._local.unchanged
        hour = "skips" if after > before else "has twice"
        zones = " or ".join(f"zone = '{offset_name(s)}'" for s in sorted({before, after}))
        return (
            f"did the recorder change to {'summer' if after > before else 'winter'} time? Its rows run on "
            f"without a jump through the hour that {self._local.zone} {hour}, so its clock looks fixed: state "
            f"{zones} under [clock] in the column map; if it did change, state zone = '{self._local.zone}'"
        )

    @property
    def spreads(self) -> bool:
        """Whether rows that share a stamp are spread: all of them must then come in one call of `read`."""
        return self.clock.rows_per_stamp > 1

    def last_group(self, arrays: Sequence[ArrowArray]) -> int:
        """The first of the last rows that share one stamp as written; the number of rows where n = 0."""
        n = len(arrays[0])
        if not n:
            return 0
        other = np.zeros(n, bool)
        for array in arrays:
            other |= ~flags(pc.equal(array, array[n - 1]))
        return int(np.flatnonzero(other)[-1]) + 1 if other.any() else 0

    def read(self, arrays: Sequence[ArrowArray]) -> tuple[NDArray[np.int64], NDArray[np.int8]]:
        """(UTC microseconds, status), each (n,); the status is GOOD or a key of REASONS."""
        time_us, status, aware = self._raw(arrays)
        status[(status == GOOD) & _never(time_us)] = NEVER
        naive = (status == GOOD) & (aware == NAIVE)
        if naive.any():
            time_us = time_us.copy()
            time_us[naive], skipped = self._to_utc(time_us[naive])
            status[np.flatnonzero(naive)[skipped]] = SKIPPED_HOUR
        low, high = self.clock.within_us
        if len(time_us) and (time_us.min() < low or time_us.max() > high):
            status[(status == GOOD) & ((time_us < low) | (time_us > high))] = FAR
        if self.spreads:
            good = np.flatnonzero(status == GOOD)
            time_us = time_us.copy()
            time_us[good] = self._spread(time_us[good])
        return time_us - self.clock.late_us if self.clock.late_us else time_us, status

    def _spread(self, time_us: NDArray[np.int64]) -> NDArray[np.int64]:
        """Rows of one stamp laid evenly over what the stamp stands for.

        A group with fewer rows than usual keeps the usual distance: the first of the file ends its
        interval, as the recorder was switched on within it, any other begins it.
        """
        if not len(time_us):
            return time_us
        start = np.flatnonzero(np.r_[True, time_us[1:] != time_us[:-1]])
        size = np.diff(np.r_[start, len(time_us)])
        place = np.arange(len(time_us)) - np.repeat(start, size)
        usual = self.clock.rows_per_stamp
        if not self._begun and size[0] < usual:
            place[: size[0]] += usual - size[0]
        self._begun = True
        return np.asarray(time_us + place * self.clock.unit_us // np.repeat(np.maximum(size, usual), size))

    def _raw(
        self, arrays: Sequence[ArrowArray]
    ) -> tuple[NDArray[np.int64], NDArray[np.int8], NDArray[np.int8]]:
        kind = self.clock.kind
        if kind == "text":
            text = _joined(arrays, self.clock.time_digits)
            time_us, status, aware = parse_text(text, self.clock.order)
            if (status == NO_STAMP).any():
                zeros = flags(pc.match_substring_regex(text, _ALL_ZERO))
                status[(status == NO_STAMP) & zeros] = NEVER
            return time_us, status, aware
        if kind == "typed":
            return _typed(arrays[0])
        counts = floats(arrays[0])
        serial = kind == "serial"
        scaled = _of_serial(counts) if serial else counts * self.clock.tick_us
        good = np.isfinite(scaled) & (np.abs(scaled) < 9e18)
        time_us = np.rint(np.where(good, scaled, 0)).astype(np.int64)
        return (
            time_us,
            np.where(good, GOOD, NO_STAMP).astype(np.int8),
            np.full(len(counts), NAIVE if serial else AWARE, np.int8),
        )

    def _to_utc(self, local_us: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        name = self.clock.zone
        if name in ("UTC", "stamp"):
            return local_us, np.zeros(len(local_us), bool)
        if re.fullmatch(r"[+-]\d{2}:\d{2}", name):
            return local_us - offset_us(name), np.zeros(len(local_us), bool)
        zone = self.zone if name == "drive" else ZoneInfo(name)
        if zone is None:
            raise ValueError("local stamps need the zone of the drive")
        if self._local is None:
            self._local = LocalTime(zone)
        utc, skipped = self._local.to_utc(local_us)
        self.doubled = self._local.doubled
        return utc, skipped


def _of_serial(days: NDArray[np.float64]) -> NDArray[np.float64]:
    """Microseconds of days since 1899-12-30. They are printed to some 0.1 s: what is that near to a whole
    second is that second, anything else keeps its milliseconds."""
    second = (days - 25_569.0) * 86_400
    whole = np.rint(second)
    return np.where(np.abs(second - whole) < _SERIAL_PRINT_S, whole, np.round(second, 3)) * 1e6


def _joined(arrays: Sequence[ArrowArray], time_digits: int) -> ArrowArray:
    texts: list[ArrowArray] = [pc.cast(array, pa.string()) for array in arrays]
    if len(texts) == 1:
        return texts[0]
    date = pc.replace_substring_regex(texts[0], r"[T ]+0?0[:.]00([:.]00)?([.,]0+)?$", "")
    date = pc.replace_substring_regex(date, r"\.0$", "")
    time = _padded(texts[1], time_digits) if time_digits else texts[1]
    both: ArrowArray = pc.binary_join_element_wise(date, time, " ")
    return both


def _padded(time: ArrowArray, digits: int) -> ArrowArray:
    """Times of day written as whole numbers, with the zeros that hhmmss has."""
    whole: ArrowArray = pc.utf8_lpad(pc.replace_substring_regex(time, r"\.0$", ""), digits, "0")
    if digits == 4:
        whole = pc.binary_join_element_wise(whole, pa.scalar("00"), "")
    return whole


def _typed(array: ArrowArray) -> tuple[NDArray[np.int64], NDArray[np.int8], NDArray[np.int8]]:
    kind = array.type
    aware = AWARE if pa.types.is_timestamp(kind) and kind.tz is not None else NAIVE
    stamps = pc.cast(array, pa.timestamp("us", kind.tz if aware else None), safe=False)
    status = np.where(flags(pc.is_null(array)), NO_STAMP, GOOD).astype(np.int8)
    time_us = whole_numbers(stamps)
    return time_us, status, np.full(len(array), aware, np.int8)


def _never(time_us: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Stamps at the zero of a calendar, or of a century without machine logs."""
    if not len(time_us) or (time_us.min() >= (_ZERO_DAY + 1) * DAY_US and time_us.max() <= _LATEST_US):
        return np.zeros(len(time_us), bool)
    odd = (time_us < _EARLIEST_US) | (time_us > _LATEST_US)
    return np.asarray(odd | (np.floor_divide(time_us, DAY_US) == _ZERO_DAY))
