"""Tables made from the samples of each UTC day alone and kept in one file; only new or changed days are made.

What needs the days before it (states, strokes, positions) is `reduce`; what is made here is looked at without reading
samples again.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from tbmreview.domain.samples import DAY_US, Samples
from tbmreview.domain.setup import Setup
from tbmreview.domain.table import Table, stack
from tbmreview.drive.progress import Progress
from tbmreview.drive.reduce import Chunk
from tbmreview.store.derived import read_derived, write_derived


class Sampled(Protocol):
    """A drive with its samples by day."""

    @property
    def folder(self) -> Path:
        """Where it lies."""

    @property
    def setup(self) -> Setup:
        """What people stated."""

    def days(self) -> Mapping[int, Chunk]:
        """UTC day since 1970 -> its chunk."""

    def samples(self, start_us: int, end_us: int, channels: Sequence[str] | None = None) -> Samples:
        """Samples with start_us <= time < end_us."""


@dataclass(frozen=True, slots=True)
class OfDays:
    """A table that is kept: name of its file; what decides beside the samples whether it holds; the channels that it
    reads; rows (n,) of a day from its samples, and the same columns without rows. beside: what else the rows of a day
    follow from, as a text by day."""

    name: str
    settings: str
    channels: Sequence[str]
    of_day: Callable[[int, Samples], Table]
    empty: Table
    beside: Callable[[int], str] = lambda day: ""


@dataclass(frozen=True, slots=True)
class _Kept:
    """days: UTC day -> (hash of what its rows were made from, first row, row after the last)."""

    days: Mapping[int, tuple[str, int, int]]
    table: Table


def by_day(drive: Sampled, of: OfDays, progress: Progress | None = None) -> tuple[Table, dict[int, slice]]:
    """(the rows of all days in order, the rows of each day). Makes what is not kept, and keeps it where the folder can
    be written. progress: called with (days done, days in all)."""
    contents = {day: chunk.content_hash + of.beside(day) for day, chunk in sorted(drive.days().items())}
    kept = _read(drive.folder, of)
    if contents == {day: content for day, (content, _, _) in kept.days.items()}:
        return kept.table, {day: slice(first, last) for day, (_, first, last) in kept.days.items()}
    parts, rows, at = [of.empty], {}, 0
    for number, (day, content) in enumerate(contents.items()):
        known = kept.days.get(day)
        if known is not None and known[0] == content:
            part = kept.table.rows(slice(known[1], known[2]))
        else:
            part = of.of_day(day, drive.samples(day * DAY_US, (day + 1) * DAY_US, of.channels))
        rows[day] = slice(at, at + len(part))
        at += len(part)
        parts.append(part)
        if progress is not None:
            progress(number + 1, len(contents))
    table = stack(parts)
    ledger = [[day, contents[day], part.start, part.stop] for day, part in rows.items()]
    with suppress(OSError):  # disposable: where the folder cannot be written the results live in memory
        write_derived(drive.folder, of.name, table, {"settings": of.settings, "ledger": json.dumps(ledger)})
    return table, rows


def _read(folder: Path, of: OfDays) -> _Kept:
    """What was kept under the same settings; nothing if there is none."""
    read = read_derived(folder, of.name)
    if read is None or read[1].get("settings") != of.settings or "ledger" not in read[1]:
        return _Kept({}, of.empty)
    ledger = json.loads(read[1]["ledger"])
    return _Kept({day: (content, first, last) for day, content, first, last in ledger}, read[0])
