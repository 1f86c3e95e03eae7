"""The samples of the reduction's windows: each day is decoded once, the next one while a day is reduced."""

from collections.abc import Collection, Sequence
from concurrent.futures import Executor, Future
from typing import Protocol

from tbmreview.domain.samples import DAY_US, Samples, join
from tbmreview.motion.record import CHANNELS_READ


class Read(Protocol):
    """What a window needs of a drive."""

    def samples(self, start_us: int, end_us: int, channels: Sequence[str] | None = None) -> Samples:
        """Samples with start_us <= time < end_us."""


class Windows:
    """Windows that follow each other along a drive. `days`: the UTC days with samples, rising; `kept`: those
    that may not be asked for, so that they are not decoded ahead.

    A window reaches from some hours before its day, seldom further, to the day's end: so the day and the one
    before it stay in memory. helpers: one of them decodes.
    """

    def __init__(self, drive: Read, days: Sequence[int], kept: Collection[int], helpers: Executor) -> None:
        self._drive, self._days, self._kept, self._helpers = drive, days, kept, helpers
        self._held: dict[int, Samples] = {}
        self._ahead: dict[int, Future[Samples]] = {}

    def samples(self, spans: Sequence[tuple[int, int]]) -> Samples:
        """The samples with from <= time < to of one of the spans (from, to), which rise; the last one ends with
        the window's day."""
        day = spans[-1][1] // DAY_US - 1
        ahead = self._ahead.pop(day, None)
        whole = ahead.result() if ahead is not None else self._read(day, 0, spans[-1][1])
        self._held = {**{d: self._held[d] for d in sorted(self._held)[-1:]}, day: whole}
        parts = [
            self._held[d].between(start, end) if d in self._held else self._read(d, start, end)
            for start, end in spans
            for d in self._days
            if d * DAY_US < end and (d + 1) * DAY_US > start
        ]
        self._begin(self._days[self._days.index(day) + 1 :][:1])
        return join(parts)

    def _begin(self, following: Sequence[int]) -> None:
        """Decode the day that follows, if one does, while this one is reduced."""
        self._ahead = {
            day: self._helpers.submit(self._read, day, 0, (day + 1) * DAY_US)
            for day in following
            if day not in self._kept
        }

    def _read(self, day: int, start_us: int, end_us: int) -> Samples:
        """What a day has of a span."""
        start, end = max(start_us, day * DAY_US), min(end_us, (day + 1) * DAY_US)
        return self._drive.samples(start, end, CHANNELS_READ)
