"""An import: blocks of many files are spooled, then merged day by day into new chunks."""

import hashlib
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.samples import DAY_US, Samples
from tbmreview.store import disk
from tbmreview.store.aside import SetAside, put_back, taken_out
from tbmreview.store.catalogue import Chunk
from tbmreview.store.chunks import HOUR_US, HOURS_A_DAY, ChunkReader, ChunkWriter, Written, group_hours
from tbmreview.store.merge import Conflict, Merged
from tbmreview.store.rows_around import Judged, Preference, RowsAround, Rules
from tbmreview.store.spool import BUFFER_BYTES, Part, Spool
from tbmreview.store.writing import Writing

WRITERS = 2  # days merged and written beside each other
Told = Callable[[int, tuple[Conflict, ...]], None]


@dataclass(slots=True)
class Outcome:
    """What became of the rows of each origin: (origins,) counts; the UTC days that changed; how many
    stored rows gave way to rows that correct them; how many stored values rules newly set aside (more), or no
    longer (back), since other rows stand around them."""

    kept: NDArray[np.int64]
    duplicates: NDArray[np.int64]
    conflicts: NDArray[np.int64]
    changed_days: list[int] = field(default_factory=list)
    replaced: int = 0
    more: int = 0
    back: int = 0


@dataclass(slots=True)
class _Day:
    """A day that was merged: its new file, if it has news, and the account of its parts."""

    number: int
    passing: Path
    judged: Judged
    merged: list[Merged] = field(default_factory=list)
    written: Written | None = None
    sha256: str = ""


class Import:
    """Samples of several origins (files) on their way into a drive, within one transaction."""

    def __init__(
        self, work: Writing, origins: int, rules: Rules | None = None, buffer_bytes: int = BUFFER_BYTES
    ) -> None:
        """rules: that look at the rows around a value; None for none."""
        self._work = work
        self._rules = rules or Rules()
        self._spool = Spool(work.layout.incoming, buffer_bytes)
        self._stored = work.chunks()
        none = np.zeros(origins, np.int64)
        self._outcome = Outcome(none, none.copy(), none.copy())

    def put(self, origin: int, samples: Samples, lines: NDArray[np.int64]) -> None:
        """Take in a block; its stamps may be in any order and come twice. lines: (n,) where its rows are written."""
        self._spool.put(Part(origin, samples, lines))

    def merge(self, preference: Preference, told: Told, tick: Callable[[int, int], None]) -> Outcome:
        """Merge all with what is stored; a day that changes gets a new chunk.

        told(origin, conflicts) is called as they are met, tick(days done, days) before each day.
        """
        files = {day: self._work.layout.folder / chunk.path for day, chunk in self._stored.items()}
        around = RowsAround(self._rules, self._spool, files, preference)
        days, new = around.days(), set(self._spool.days())
        ahead: deque[Future[_Day]] = deque()
        with ThreadPoolExecutor(WRITERS) as pool:
            try:
                for done, number in enumerate(days):
                    if len(ahead) > WRITERS:
                        self._take(ahead.popleft().result(), told)
                    tick(done, len(days))
                    judged = around.judged(number)
                    if judged.news or number in new:
                        day = _Day(number, self._work.layout.incoming / f"{number}.parquet", judged)
                        ahead.append(pool.submit(self._merge_day, day, preference))
                for future in ahead:
                    self._take(future.result(), told)
            except BaseException:
                pool.shutdown(cancel_futures=True)
                raise
        tick(len(days), len(days))
        self._spool.close()
        return self._outcome

    def _take(self, day: _Day, told: Told) -> None:
        for merged in day.merged:
            self._count(merged, told)
        self._outcome.more += day.judged.more
        self._outcome.back += day.judged.back
        if day.written is not None:
            self._work.put_chunk(day.number, day.passing, day.sha256, day.written)
            self._outcome.changed_days.append(day.number)

    def _merge_day(self, day: _Day, preference: Preference) -> _Day:
        """A day without news is read and compared only; the new chunk begins with the first news."""
        chunk = self._stored.get(day.number)
        with ExitStack() as opened:
            stored = (
                opened.enter_context(ChunkReader(self._work.layout.folder / chunk.path)) if chunk else None
            )
            old = stored.set_aside if stored else {}
            writer: ChunkWriter | None = None
            step = group_hours(len(self._channels(day.number, chunk)))
            for hour in range(day.number * HOURS_A_DAY, (day.number + 1) * HOURS_A_DAY, step):
                merged = self._merge_hours((hour, step), stored, old, preference)
                if (merged.changed or day.judged.news) and writer is None:
                    writer = opened.enter_context(self._writer(day, chunk))
                    if stored is not None:
                        before = stored.read(day.number * DAY_US, hour * HOUR_US)
                        writer.add(before, stored.print_steps if len(before) else {})
                if writer is not None:
                    writer.add(taken_out(merged.samples, day.judged.aside), merged.steps)
                day.merged.append(_account(merged))
        if writer is not None:
            day.written = writer.written()
            with day.passing.open("rb") as file:
                day.sha256 = hashlib.file_digest(file, "sha256").hexdigest()
        return day

    def _writer(self, day: _Day, chunk: Chunk | None) -> ChunkWriter:
        disk.make_folder(day.passing.parent)
        writer = ChunkWriter(day.passing, self._channels(day.number, chunk))
        writer.tell(day.judged.scales, day.judged.aside)
        return writer

    def _channels(self, day: int, chunk: Chunk | None) -> set[str]:
        return self._spool.channels(day).union(chunk.channels if chunk else ())

    def _merge_hours(
        self, span: tuple[int, int], stored: ChunkReader | None, old: SetAside, preference: Preference
    ) -> Merged:
        """span: the first hour since 1970, and how many."""
        hour, hours = span
        parts = preference.ranked(self._spool.parts(hour, hours))
        if stored is None:
            return preference.merged(parts, None, {})
        measured = put_back(stored.read(hour * HOUR_US, (hour + hours) * HOUR_US), old)
        return preference.merged(parts, measured, stored.print_steps)

    def _count(self, merged: Merged, told: Told) -> None:
        self._outcome.kept += merged.kept
        self._outcome.duplicates += merged.duplicates
        self._outcome.replaced += merged.replaced
        for origin in sorted({c.origin for c in merged.conflicts}):
            own = tuple(c for c in merged.conflicts if c.origin == origin)
            self._outcome.conflicts[origin] += len(own)
            told(origin, own)


def _account(merged: Merged) -> Merged:
    """What was counted, without the samples."""
    return replace(merged, samples=Samples(np.empty(0, np.int64), {}))
