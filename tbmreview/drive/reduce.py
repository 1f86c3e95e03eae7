"""Samples of a drive reduced to cells, periods, strokes and rings, day by day, and kept.

Each UTC day is reduced from the place that the day before it carried on, so the order in which days
were added cannot matter. A ledger says what each day was made from: its samples, those before it
back to that place, and the carry. A day for which all of that is unchanged is reused, so a late or
corrected day rebuilds only until the carry repeats. What a day gives from its carry-out's place on is
provisional: it stands only for the last day.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import asdict, dataclass
from itertools import groupby
from pathlib import Path
from typing import Protocol

from tbmreview.domain.overrules import Overrule
from tbmreview.domain.samples import DAY_US, Samples
from tbmreview.domain.setup import Setup
from tbmreview.domain.table import Table, stack
from tbmreview.drive.progress import Progress
from tbmreview.drive.windows import Windows
from tbmreview.motion.carry import Carry, carry_from
from tbmreview.motion.net_forces import with_net_forces
from tbmreview.motion.overruled import touching
from tbmreview.motion.periods import join_periods
from tbmreview.motion.reduce import METHOD, Followed, empty, follow_window, spans_to_read
from tbmreview.store.derived import read_derived, write_derived
from tbmreview.store.samples import give_back

NAMES = ("cells", "strokes", "periods", "rings", "guidance")
# The column of each table that says whether a row is before a carry's place; a ring counts by its end.
PLACE = {
    "cells": "stroke_start_us",
    "strokes": "stroke_start_us",
    "periods": "start_us",
    "rings": "end_us",
    "guidance": "stroke_start_us",
}
BEFORE_ALL = -1  # nothing is before the place that the first day starts from


class Chunk(Protocol):
    """The stored samples of a UTC day."""

    @property
    def content_hash(self) -> str:
        """Changes with any sample of the day."""


class Stored(Protocol):
    """What the reduction needs of a drive."""

    @property
    def folder(self) -> Path:
        """Where it lies."""

    @property
    def setup(self) -> Setup:
        """What people stated."""

    def days(self) -> Mapping[int, Chunk]:
        """UTC day since 1970 -> its chunk."""

    def overrules(self) -> Sequence[Overrule]:
        """What people stated against the program."""

    def samples(self, start_us: int, end_us: int, channels: Sequence[str] | None = None) -> Samples:
        """Samples with start_us <= time < end_us."""


@dataclass(frozen=True, slots=True)
class Reduced:
    """The tables of a drive, in order of time; positions are sums of strokes. mark: of what they were made
    from."""

    cells: Table
    strokes: Table
    periods: Table
    rings: Table
    guidance: Table
    mark: str


@dataclass(frozen=True, slots=True)
class Entry:
    """A day in the ledger: what it was made from (a hash over samples and carry-in), and its carry-out
    as JSON."""

    day: int
    made_from: str
    carry_out: str


@dataclass(frozen=True, slots=True)
class Kept:
    """Ledger and tables of an earlier reduction."""

    ledger: tuple[Entry, ...]
    tables: Mapping[str, Table]


PartTables = Mapping[str, Table] | Future[Mapping[str, Table]]


@dataclass(frozen=True, slots=True)
class Part:
    """What a day gives: the rows of some tables from one carry's place to the next (None: all to come)."""

    tables: PartTables
    from_us: int
    to_us: int | None


def reduced(drive: Stored, progress: Progress | None = None) -> Reduced:
    """The drive's tables; computes what is not kept, and keeps it where the folder can be written.

    progress: called with (days done, days in all).
    """
    settings = settings_read(drive.setup)
    kept = _read(drive.folder, settings)
    with ThreadPoolExecutor(2, "reducing") as helpers:
        ledger, parts = _walk(drive, kept, helpers, progress)
    tables = kept.tables
    if tuple(ledger) != kept.ledger:
        tables = _consolidated(parts)
        _keep(drive.folder, settings, tuple(ledger), tables)
    return Reduced(
        cells=tables["cells"],
        strokes=with_net_forces(tables["strokes"], drive.setup.machine),
        periods=join_periods(tables["periods"]),
        rings=tables["rings"],
        guidance=tables["guidance"],
        mark=_mark(tuple(ledger)),
    )


def settings_read(setup: Setup) -> str:
    """The settings that the reduction reads, the method and the columns that it makes, as JSON: exactly these
    decide whether what is kept holds.

    The name of a drive, names of shifts, bore, discs and constants of drag are read later or never.
    """
    facts, machine = setup.drive, setup.machine
    read = {
        "method": METHOD,
        "tables": {name: list(table) for name, table in empty().items()},
        "timezone": facts.timezone,
        "chainage": [facts.chainage_start_m, facts.chainage_direction],
        "ring_length_m": facts.ring_length_m,
        "machine": [machine.kind, machine.stroke_length_m, machine.no_load_torque_kNm],
        "shifts": list(setup.shifts.start),
        "motion": asdict(setup.motion),
    }
    return json.dumps(read, sort_keys=True)


def _walk(
    drive: Stored, kept: Kept, helpers: Executor, progress: Progress | None
) -> tuple[list[Entry], list[Part]]:
    """The ledger as it must be now, and what each day gives: kept where it holds, else made."""
    days = {day: chunk.content_hash for day, chunk in sorted(drive.days().items())}
    overrules = drive.overrules()
    known = {entry.day: entry for entry in kept.ledger}
    last_kept = kept.ledger[-1].day if kept.ledger else None
    ledger: list[Entry] = []
    parts: list[Part] = []
    carry = Carry()
    making: Future[Mapping[str, Table]] | None = None  # tables of a day, beside the day that comes next
    windows = Windows(drive, tuple(days), known, helpers)
    for number, day in enumerate(days):
        last = number == len(days) - 1
        said = _touching(overrules, day, carry)
        made_from, entry = _made_from(days, day, carry, said), known.get(day)
        tables: PartTables = kept.tables
        # the provisional rows that the last day needs are kept of the ledger's last day only
        if entry is not None and entry.made_from == made_from and (not last or day == last_kept):
            out = carry_from(json.loads(entry.carry_out))
        else:
            samples = windows.samples(spans_to_read(carry, (day + 1) * DAY_US))
            give_back()
            followed = follow_window(samples, carry, drive.setup, said)
            if making is not None:
                making.result()  # no more than two windows are in memory
            tables = making = helpers.submit(_tables, followed)
            out = followed.carry
            entry = Entry(day, made_from, _text(out))
        parts.append(Part(tables, carry.resume_us or BEFORE_ALL, None if last else out.resume_us))
        ledger.append(entry)
        carry = out
        if progress is not None:
            progress(number + 1, len(days))
    return ledger, parts


def _consolidated(parts: Sequence[Part]) -> dict[str, Table]:
    """The rows of all days; days in a row that are kept are taken in one piece."""
    rows = [empty()]
    for _, run in groupby(parts, key=lambda part: id(part.tables)):
        of = list(run)
        tables = of[0].tables
        if isinstance(tables, Future):
            tables = tables.result()
        rows.append(_rows_between(tables, of[0].from_us, of[-1].to_us))
    return {name: stack([table[name] for table in rows]) for name in NAMES}


def _touching(overrules: Sequence[Overrule], day: int, carry: Carry) -> tuple[Overrule, ...]:
    """The overrules that the reduction of a day follows."""
    end_us = (day + 1) * DAY_US
    return touching(overrules, spans_to_read(carry, end_us)[0][0], end_us)


def _made_from(days: Mapping[int, str], day: int, carry: Carry, overrules: Sequence[Overrule]) -> str:
    """Hash over the samples of a day's window, its carry-in and what people stated of it."""
    first = spans_to_read(carry, (day + 1) * DAY_US)[0][0] // DAY_US
    used = [f"{d}:{content}" for d, content in days.items() if first <= d <= day]
    said = [json.dumps([o.what, o.start_us, o.end_us, o.value]) for o in overrules]
    return hashlib.sha256("\n".join([*used, _text(carry), *said]).encode()).hexdigest()


def _text(carry: Carry) -> str:
    return json.dumps(carry.numbers(), sort_keys=True)


def _tables(followed: Followed) -> Mapping[str, Table]:
    made = followed.tables()
    return {name: getattr(made, name) for name in NAMES}


def _rows_between(tables: Mapping[str, Table], start_us: int, end_us: int | None) -> dict[str, Table]:
    """The rows from one carry's place to the next; all to come where end_us is None."""
    out = {}
    for name, table in tables.items():
        place = table[PLACE[name]]
        ends = name == "rings"  # a ring that ends at the place belongs before it
        here = place > start_us if ends else place >= start_us
        if end_us is not None:
            here &= place <= end_us if ends else place < end_us
        out[name] = table.rows(here)
    return out


def _read(folder: Path, settings: str) -> Kept:
    """What an earlier reduction kept under the same settings; nothing if a part of it is missing."""
    found: dict[str, Table] = {}
    marks: set[tuple[str, str]] = set()
    ledger: tuple[Entry, ...] = ()
    for name in NAMES:
        read = read_derived(folder, name)
        if read is None or read[1].get("settings") != settings:
            return Kept((), empty())
        found[name], meta = read
        marks.add((meta["settings"], meta.get("reduction", "")))
        if "ledger" in meta:
            ledger = tuple(Entry(*row) for row in json.loads(meta["ledger"]))
    if len(marks) != 1 or marks != {(settings, _mark(ledger))}:
        return Kept((), empty())
    return Kept(ledger, found)


def _mark(ledger: Sequence[Entry]) -> str:
    """The same in all files of one reduction."""
    return hashlib.sha256(json.dumps([_row(e) for e in ledger]).encode()).hexdigest()


def _row(entry: Entry) -> list[int | str]:
    return [entry.day, entry.made_from, entry.carry_out]


def _keep(folder: Path, settings: str, ledger: tuple[Entry, ...], tables: Mapping[str, Table]) -> None:
    """Write the tables. Derived files are disposable: where the folder cannot be written (read-only, a
    full disk) the results live in memory, and files of two reductions are told apart by their mark."""
    meta = {"settings": settings, "reduction": _mark(ledger)}
    try:
        for name in NAMES:
            more = {"ledger": json.dumps([_row(e) for e in ledger])} if name == NAMES[0] else {}
            write_derived(folder, name, tables[name], {**meta, **more})
    except OSError:
        return
