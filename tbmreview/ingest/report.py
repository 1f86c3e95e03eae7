"""What an import did with a file: every row and every repair accounted for."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.channels import BY_NAME
from tbmreview.ingest.units import Unit

STAMP, CHANNEL, EXTRA, LEFT_OUT = "stamp", "channel", "extra", "left out"
SURE = 0.7  # of a column whose name and unit are both known


@dataclass(frozen=True, slots=True)
class Quarantined:
    """A row that could not be used: its line (text) or row number (Parquet) from 1, why, and the row; time_us: its
    stamp, where that was read and is told."""

    line: int
    reason: str
    text: str
    time_us: int | None = None


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a log as understood.

    role: STAMP, CHANNEL, EXTRA or LEFT_OUT. name: canonical channel, 'extra:<header>' or ''.
    unit: the unit it is written in, '' where it has none. confidence: 0 to 1. reason: in words.
    question: '' unless a person must say what it is.
    """

    index: int
    header: str
    role: str
    name: str = ""
    unit: str = ""
    confidence: float = 1.0
    reason: str = ""
    alternatives: tuple[str, ...] = ()
    question: str = ""
    conversion: Unit | None = None


@dataclass(frozen=True, slots=True)
class Repair:
    """A named rule that made values missing: how many in which column, and the first line."""

    rule: str
    column: str
    count: int
    first_line: int


@dataclass(frozen=True, slots=True)
class FileReport:
    """The account of one file: rows_read = kept + duplicates + quarantined, always.

    first_us, last_us: its span in microseconds UTC, None where no row was kept. interval_s: the usual
    time from row to row, NaN where unknown.
    """

    file: str
    rows_read: int
    kept: int
    duplicates: int
    quarantined: Mapping[str, int]
    repairs: tuple[Repair, ...]
    columns: tuple[Column, ...]
    notes: tuple[str, ...] = ()
    first_us: int | None = None
    last_us: int | None = None
    clock: str = ""
    interval_s: float = math.nan

    @property
    def quarantined_rows(self) -> int:
        return sum(self.quarantined.values())

    def as_text(self) -> str:
        """The report in plain lines; of the columns, those that a person may want to look at again."""
        lines = [
            f"{self.file}: {self.rows_read} rows read, {self.kept} kept, {self.duplicates} duplicates, "
            f"{self.quarantined_rows} quarantined"
        ]
        if self.clock:
            lines.append(f"  clock: {self.clock}")
        lines += [f"  quarantined, {reason}: {count}" for reason, count in sorted(self.quarantined.items())]
        for repair in self.repairs:
            lines.append(
                f"  made missing, {repair.rule}: {repair.count} in {repair.column!r}, "
                f"first at line {repair.first_line}"
            )
        lines += [f"  note: {note}" for note in self.notes]
        channels = [c for c in self.columns if c.role == CHANNEL]
        lines.append(f"  columns: {len(self.columns)}, of which {len(channels)} are channels")
        doubtful = tuple(c for c in channels if c.confidence < SURE or "written as" in c.reason)
        lines += [f"  {line}" for line in column_lines(doubtful)]
        return "\n".join(lines)


def mixed_rates(reports: Sequence[FileReport]) -> tuple[str, ...]:
    """A note where files of one set have rows at intervals that differ by half or more."""
    known = sorted((r.interval_s, r.file) for r in reports if math.isfinite(r.interval_s))
    if not known or known[-1][0] <= 1.5 * known[0][0]:
        return ()
    (short, fast), (long, slow) = known[0], known[-1]
    return (
        f"the files differ in their rate: {fast} has a row every {short:.3g} s, {slow} every {long:.3g} s",
    )


def column_lines(columns: tuple[Column, ...]) -> list[str]:
    """One line a column: what it was taken for, how sure that is, and why."""
    return [
        f"{c.header or f'column {c.index + 1}'!s}: {c.role}"
        + (f" {c.name}" if c.name and c.role == CHANNEL else "")
        + (f" [{c.unit}]" if c.unit and c.role == CHANNEL else "")
        + (f"; {c.confidence:.0%} sure" if c.role == CHANNEL else "")
        + (f"; {c.reason}" if c.reason else "")
        + (f"; QUESTION: {c.question}" if c.question else "")
        for c in columns
    ]


@dataclass(slots=True)
class Tally:
    """Counts that a reader gathers while it goes through a file.

    repairs, wraps: by rule and column or by column, how many and the first line. falls: how often the
    stamps fall back, the first line and by how much [s]. negative: channel -> readings below zero and
    the lowest. constant: channel -> its one value, None once it had a second.
    """

    rows_read: int = 0
    kept: int = 0
    duplicates: int = 0
    quarantined: dict[str, int] = field(default_factory=dict)
    repairs: dict[tuple[str, str], tuple[int, int]] = field(default_factory=dict)
    wraps: dict[str, tuple[int, int]] = field(default_factory=dict)
    falls: tuple[int, int, float] = (0, 0, 0.0)
    negative: dict[str, tuple[int, float]] = field(default_factory=dict)
    constant: dict[str, float | None] = field(default_factory=dict)
    last_stamp: int | None = None
    first_us: int | None = None
    last_us: int | None = None

    def repair(self, rule: str, column: str, count: int, first_line: int) -> None:
        """Add `count` values that a rule made missing."""
        if count:
            before, first = self.repairs.get((rule, column), (0, first_line))
            self.repairs[rule, column] = (before + count, min(first, first_line))

    def all_repairs(self) -> tuple[Repair, ...]:
        """In the order of their first lines."""
        found = [Repair(rule, column, n, line) for (rule, column), (n, line) in self.repairs.items()]
        return tuple(sorted(found, key=lambda r: (r.first_line, r.rule, r.column)))

    def wrap(self, column: str, count: int, first_line: int) -> None:
        """Add `count` places where a counter begins again."""
        before, first = self.wraps.get(column, (0, first_line))
        self.wraps[column] = (before + count, min(first, first_line))

    def fall(self, count: int, first_line: int, seconds: float) -> None:
        """Add `count` places where the stamps fall back, the first of them by `seconds`."""
        before, first, by = self.falls
        self.falls = (before + count, first, by) if before else (count, first_line, seconds)

    def below_zero(self, channel: str, count: int, lowest: float) -> None:
        """Add `count` readings below zero."""
        before, low = self.negative.get(channel, (0, 0.0))
        self.negative[channel] = (before + count, min(low, lowest))

    def steady(self, channel: str, values: NDArray[np.float64]) -> None:
        """Watch whether a channel ever changes; costs nothing once it has."""
        if channel in self.constant and self.constant[channel] is None:
            return
        lowest, highest = float(np.fmin.reduce(values)), float(np.fmax.reduce(values))
        if not math.isnan(lowest):
            value = self.constant.setdefault(channel, lowest)
            if not lowest == highest == value:
                self.constant[channel] = None

    def quarantine(self, rows: tuple[Quarantined, ...]) -> None:
        """Add rows set aside."""
        for row in rows:
            self.quarantined[row.reason] = self.quarantined.get(row.reason, 0) + 1

    def span(self, first_us: int, last_us: int) -> None:
        """Widen the span of the kept rows."""
        self.first_us = first_us if self.first_us is None else min(self.first_us, first_us)
        self.last_us = last_us if self.last_us is None else max(self.last_us, last_us)

    def notes(self) -> list[str]:
        """What was seen and kept as it is, in words."""
        said = []
        count, line, seconds = self.falls
        if count:
            times = "once" if count == 1 else f"{count} times"
            said.append(
                f"stamps fall back {times}, first at line {line} by {seconds:g} s: a clock set back or rows "
                "out of order; the rows were put in order"
            )
        said += [
            f"{column!r}: a 16-bit counter begins again {number} times, first at line {first}; kept as written"
            for column, (number, first) in self.wraps.items()
        ]
        if self.negative:
            listed = (
                f"{name} {number} (lowest {low:.4g} {BY_NAME[name].unit})"
                for name, (number, low) in self.negative.items()
            )
            said.append(f"readings below zero, kept: {', '.join(listed)}")
        if any(value is None for value in self.constant.values()):
            said += [
                f"{name} reads {value:g} throughout: not connected or dead"
                for name, value in self.constant.items()
                if name in BY_NAME and value in (0.0, -1.0)
            ]
        return said
