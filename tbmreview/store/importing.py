"""An import: blocks of many files are spooled, then merged day by day into new chunks."""

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.samples import DAY_US, Samples
from tbmreview.store import disk
from tbmreview.store.chunks import HOUR_US, HOURS_A_DAY, ChunkReader, ChunkWriter
from tbmreview.store.merge import STORED, Conflict, Merged, merge
from tbmreview.store.spool import BUFFER_BYTES, Spool
from tbmreview.store.writing import Writing


@dataclass(slots=True)
class Outcome:
    """What became of the rows of each origin: (origins,) counts; the UTC days that changed."""

    kept: NDArray[np.int64]
    duplicates: NDArray[np.int64]
    conflicts: NDArray[np.int64]
    changed_days: list[int] = field(default_factory=list)


class Import:
    """Samples of several origins (files) on their way into a drive, within one transaction."""

    def __init__(self, work: Writing, origins: int, buffer_bytes: int = BUFFER_BYTES) -> None:
        self._work = work
        self._spool = Spool(work.layout.incoming, buffer_bytes)
        self._stored = work.chunks()
        none = np.zeros(origins, np.int64)
        self._outcome = Outcome(none, none.copy(), none.copy())

    def put(self, origin: int, samples: Samples) -> None:
        """Take in a block; its stamps may be in any order and come twice."""
        self._spool.put(origin, samples)

    def days(self) -> list[int]:
        """UTC days that have new rows."""
        return self._spool.days()

    def merge(
        self,
        preference: Sequence[int],
        told: Callable[[int, tuple[Conflict, ...]], None],
        tick: Callable[[int], None],
    ) -> Outcome:
        """Merge all with what is stored; a day that changes gets a new chunk.

        preference: the origins, the one whose values win first. told(origin, conflicts) is called as
        they are met, tick(day) before each day.
        """
        rank = {origin: place for place, origin in enumerate(preference)}
        for day in self.days():
            tick(day)
            self._merge_day(day, rank, told)
        self._spool.close()
        return self._outcome

    def _merge_day(
        self, day: int, rank: dict[int, int], told: Callable[[int, tuple[Conflict, ...]], None]
    ) -> None:
        """A day without news is read and compared only; the new chunk begins with the first news."""
        chunk = self._stored.get(day)
        channels = self._spool.channels(day).union(chunk.channels if chunk else ())
        passing = self._work.layout.incoming / f"{day}.parquet"
        with ExitStack() as opened:
            stored = (
                opened.enter_context(ChunkReader(self._work.layout.folder / chunk.path)) if chunk else None
            )
            writer: ChunkWriter | None = None
            for hour in range(day * HOURS_A_DAY, (day + 1) * HOURS_A_DAY):
                merged = self._merge_hour(hour, stored, rank)
                self._count(merged, told)
                if merged.changed and writer is None:
                    disk.make_folder(passing.parent)
                    writer = opened.enter_context(ChunkWriter(passing, channels))
                    if stored is not None:
                        writer.add(stored.read(day * DAY_US, hour * HOUR_US))
                if writer is not None:
                    writer.add(merged.samples)
        if writer is not None:
            self._work.put_chunk(day, passing, writer.written())
            self._outcome.changed_days.append(day)

    def _merge_hour(self, hour: int, stored: ChunkReader | None, rank: dict[int, int]) -> Merged:
        parts = sorted(self._spool.parts(hour), key=lambda part: rank[part[0]])
        if stored is not None:
            parts.insert(0, (STORED, stored.read(hour * HOUR_US, (hour + 1) * HOUR_US)))
        return merge(parts, len(rank))

    def _count(self, merged: Merged, told: Callable[[int, tuple[Conflict, ...]], None]) -> None:
        self._outcome.kept += merged.kept
        self._outcome.duplicates += merged.duplicates
        for origin in sorted({c.origin for c in merged.conflicts}):
            own = tuple(c for c in merged.conflicts if c.origin == origin)
            self._outcome.conflicts[origin] += len(own)
            told(origin, own)
