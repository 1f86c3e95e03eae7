"""Local time of a zone to UTC, with the hours that come twice or not at all."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.samples import DAY_US, MICROSECONDS

_FALL_BACK_US = 60 * MICROSECONDS  # a smaller step back is an unordered row
_RUNS_ON_US = 600 * MICROSECONDS  # rows no further apart follow each other without a change of the clock
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class LocalTime:
    """Local stamps of a zone to UTC, in the order of the file.

    In the doubled hour the second pass begins where the stamps fall back; a stamp in the skipped hour
    is a fault of the clock. `doubled` counts stamps of the doubled hour. `unchanged` is set once rows run
    on through an hour that the zone skips or doubles: the offsets [s] before and after that change, which
    the clock did not make.
    """

    def __init__(self, zone: ZoneInfo) -> None:
        self.zone = zone
        self.doubled = 0
        self.unchanged: tuple[int, int] | None = None
        self._tail, self._tail_odd = np.empty(0, np.int64), np.empty(0, bool)
        self._first = self._last = 0
        self._at = self._offset = np.empty(0, np.int64)
        self._before: int | None = None
        self._in_doubled = self._second = False

    def to_utc(self, local_us: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """(UTC microseconds, whether the local time does not exist), each (n,); n > 0."""
        self._cover(int(local_us.min()), int(local_us.max()))
        # by the offset before each change and by the one after it: they differ where the local hour
        # comes twice and where it does not come at all
        by_old = np.searchsorted(self._at[1:] + self._offset[:-1], local_us, "right")
        by_new = np.searchsorted(self._at[1:] + self._offset[1:], local_us, "right")
        doubled = by_new > by_old
        utc = local_us - self._offset[by_old]
        if doubled.any():
            self.doubled += int(doubled.sum())
            rows = np.flatnonzero(doubled)
            second = rows[self._second_pass_of(rows, local_us)]
            utc[second] = local_us[second] - self._offset[by_new[second]]
        self._before, self._in_doubled = int(local_us[-1]), bool(doubled[-1])
        self._watch(local_us, by_old != by_new)
        return utc, by_old > by_new

    def _watch(self, local_us: NDArray[np.int64], odd: NDArray[np.bool_]) -> None:
        """Look for rows that run on through an odd hour, from before it to after it, over blocks too."""
        if len(self._tail) > 1 or odd.any():
            local_us, odd = np.r_[self._tail, local_us], np.r_[self._tail_odd, odd]
            step = np.diff(local_us)
            broken = np.r_[0, np.cumsum((step < -_FALL_BACK_US) | (step > _RUNS_ON_US))]
            edges = np.flatnonzero(np.diff(odd.astype(np.int8)))
            for enter, leave in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
                if odd[enter + 1] and broken[enter] == broken[leave + 1]:
                    change = int(
                        np.searchsorted(self._at[1:] + self._offset[:-1], local_us[leave + 1], "right")
                    )
                    before, after = self._offset[change - 1 : change + 1] // MICROSECONDS
                    self.unchanged = self.unchanged or (int(before), int(after))
        start = len(odd) - 1
        if odd[start]:
            ordinary = np.flatnonzero(~odd)
            start = int(ordinary[-1]) if len(ordinary) else 0
        self._tail, self._tail_odd = local_us[start:].copy(), odd[start:].copy()

    def _second_pass_of(self, rows: NDArray[np.int64], local_us: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Which rows of the doubled hour (given by number, rising) come after the clock fell back."""
        out = np.zeros(len(rows), bool)
        for k, i in enumerate(rows.tolist()):
            inside = self._in_doubled if i == 0 else k > 0 and rows[k - 1] == i - 1
            before = self._before if i == 0 else int(local_us[i - 1])
            if not inside:
                self._second = False
            elif before is not None and before - int(local_us[i]) > _FALL_BACK_US:
                self._second = True
            out[k] = self._second
        return out

    def _cover(self, first_us: int, last_us: int) -> None:
        """Know the offset changes from two days before first_us to two days after last_us."""
        if len(self._at) and self._first <= first_us and last_us <= self._last:
            return
        margin = 2 * DAY_US
        self._first, self._last = first_us - margin, last_us + margin
        start, end = self._first // MICROSECONDS, self._last // MICROSECONDS + 86_400
        at, offset = [start], [_offset_s(self.zone, start)]
        for day in range(start + 86_400, end + 1, 86_400):
            if _offset_s(self.zone, day) != offset[-1]:
                at.append(_change_between(self.zone, day - 86_400, day))
                offset.append(_offset_s(self.zone, day))
        self._at = np.array(at, np.int64) * MICROSECONDS
        self._offset = np.array(offset, np.int64) * MICROSECONDS


def _offset_s(zone: ZoneInfo, utc_s: int) -> int:
    offset = (_EPOCH + timedelta(seconds=utc_s)).astimezone(zone).utcoffset()
    return 0 if offset is None else round(offset.total_seconds())


def _change_between(zone: ZoneInfo, low: int, high: int) -> int:
    """The first second in (low, high] with the offset of `high`."""
    new = _offset_s(zone, high)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if _offset_s(zone, middle) == new else (middle, high)
    return high
