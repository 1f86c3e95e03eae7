"""What an import did with a file: every row and every repair accounted for."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from tbmreview.ingest.units import Unit

STAMP, CHANNEL, EXTRA, LEFT_OUT = "stamp", "channel", "extra", "left out"
SURE = 0.7  # of a column whose name and unit are both known


@dataclass(frozen=True, slots=True)
class Quarantined:
    """A row that could not be used: its line (text) or row number (Parquet) from 1, why, and the row."""

    line: int
    reason: str
    text: str


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

    first_us, last_us: its span in microseconds UTC, None where no row was kept.
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


def column_lines(columns: tuple[Column, ...]) -> list[str]:
    """One line a column: what it was taken for and why."""
    return [
        f"{c.header or f'column {c.index + 1}'!s}: {c.role}"
        + (f" {c.name}" if c.name and c.role == CHANNEL else "")
        + (f" [{c.unit}]" if c.unit and c.role == CHANNEL else "")
        + (f"; {c.reason}" if c.reason else "")
        + (f"; QUESTION: {c.question}" if c.question else "")
        for c in columns
    ]


@dataclass(slots=True)
class Tally:
    """Counts that a reader gathers while it goes through a file."""

    rows_read: int = 0
    kept: int = 0
    duplicates: int = 0
    unordered: int = 0
    quarantined: dict[str, int] = field(default_factory=dict)
    repairs: dict[tuple[str, str], tuple[int, int]] = field(default_factory=dict)
    first_us: int | None = None
    last_us: int | None = None

    def repair(self, rule: str, column: str, count: int, first_line: int) -> None:
        """Add `count` values that a rule made missing."""
        if count:
            before, first = self.repairs.get((rule, column), (0, first_line))
            self.repairs[rule, column] = (before + count, min(first, first_line))

    def quarantine(self, rows: tuple[Quarantined, ...]) -> None:
        for row in rows:
            self.quarantined[row.reason] = self.quarantined.get(row.reason, 0) + 1

    def span(self, first_us: int, last_us: int) -> None:
        self.first_us = first_us if self.first_us is None else min(self.first_us, first_us)
        self.last_us = last_us if self.last_us is None else max(self.last_us, last_us)
