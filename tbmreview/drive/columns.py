"""How the columns of logs are understood, before anything is imported, and what a person states of them."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TypeVar

import numpy as np

from tbmreview.domain.channels import BY_NAME
from tbmreview.domain.errors import TbmReviewError
from tbmreview.domain.setup import Setup
from tbmreview.drive.stored import StoredDrive
from tbmreview.ingest.column_map import EXTRA, ColumnMap, Entry
from tbmreview.ingest.raw import RawBlock, join_blocks
from tbmreview.ingest.read import FileUnderstanding, Values, understand
from tbmreview.ingest.read_text import TextPlan, parse_rows, text_blocks
from tbmreview.ingest.read_typed import TypedPlan, batch_block, opened
from tbmreview.ingest.report import Column
from tbmreview.ingest.sample import WORDS
from tbmreview.ingest.units import for_channel, parse_unit, plausible_units
from tbmreview.store.setup_file import parse, read_text

Said = TypeVar("Said")
FIRST_ROWS = 3000
_PIECE_BYTES = 1 << 20


@dataclass(frozen=True, slots=True)
class SeenColumn:
    """A header of the logs and what it is taken for in the log that asks most.

    log: number of that log. files: names of all logs that have the header. stated: what a person
    stated of it, None where the proposal stands.
    """

    header: str
    column: Column
    log: int
    files: tuple[str, ...]
    stated: Entry | None

    @property
    def open(self) -> bool:
        """Whether a person must say what it is."""
        return bool(self.column.question)


@dataclass(frozen=True, slots=True)
class SeenColumns:
    """The logs, each understood as far as its columns, units and stamps allow.

    given: what a person has stated of them so far. values: by number of the log and of the column, the
    first values as the file has them (see `with_values`).
    """

    logs: tuple[FileUnderstanding, ...]
    given: ColumnMap = field(default_factory=ColumnMap)
    values: Mapping[int, Mapping[int, Values]] = field(default_factory=dict, compare=False, repr=False)

    @property
    def questions(self) -> tuple[str, ...]:
        """What must be answered before the logs can be imported, one line each."""
        return tuple(f"{log.path.name}: {question}" for log in self.logs for question in log.questions)

    @property
    def clock_questions(self) -> tuple[str, ...]:
        """Those of the questions that are about date and time, each once."""
        return tuple(dict.fromkeys(log.clock_question for log in self.logs if log.clock_question))

    @property
    def whole_questions(self) -> tuple[str, ...]:
        """Those that concern a log as a whole: neither its date and time nor a single column."""
        found: dict[str, None] = {}
        for log in self.logs:
            single = {f"{c.header!r}: {c.question}" for c in log.columns if c.question}
            found |= dict.fromkeys(q for q in log.questions if q not in single | {log.clock_question})
        return tuple(found)

    @property
    def columns(self) -> tuple[SeenColumn, ...]:
        """Every header once: open questions first, then what a person stated, then in file order."""
        found: dict[str, SeenColumn] = {}
        for number, log in enumerate(self.logs):
            for column in log.columns:
                before = found.get(column.header)
                if before is None:
                    stated = self.given.columns.get(column.header)
                    before = SeenColumn(column.header, column, number, (), stated)
                elif column.question and not before.open:
                    before = replace(before, column=column, log=number)
                found[column.header] = replace(before, files=(*before.files, log.path.name))
        return tuple(sorted(found.values(), key=lambda c: (not c.open, c.stated is None)))

    def text(self) -> str:
        """In plain lines, log by log; the last line says whether anything is open."""
        settled = (
            "every column is settled" if not self.questions else f"open questions: {len(self.questions)}"
        )
        return "\n".join([*(log.as_text() for log in self.logs), settled])

    def column_map(self) -> ColumnMap:
        """One map for all the logs; where two give a header a different meaning, an error says so."""
        maps = [log.as_map() for log in self.logs]
        entries: dict[str, Entry] = {}
        for log, one in zip(self.logs, maps, strict=True):
            for header, entry in one.columns.items():
                if entries.setdefault(header, entry) != entry:
                    raise TbmReviewError(
                        f"{log.path}: {header!r} means something else here than in the logs before; write a map for each"
                    )
        entries = {**{h: e for h, e in self.given.columns.items() if h not in entries}, **entries}
        return replace(_clock_of(maps, self.given), columns=entries)

    def write_map(self, path: Path) -> None:
        """Write the map, to be edited and given to `add`."""
        asked = {column.header: column.column.question for column in self.columns}
        path.write_text(self.column_map().as_toml(asked, self.clock_questions), encoding="utf-8")


def _clock_of(maps: Sequence[ColumnMap], given: ColumnMap) -> ColumnMap:
    """The entries of [clock] in which all maps agree; of the others what a person stated."""

    def one(of: Callable[[ColumnMap], Said]) -> Said:
        return of(maps[0]) if all(of(m) == of(maps[0]) for m in maps) else of(given)

    return ColumnMap(
        {},
        one(lambda m: m.stamps),
        one(lambda m: m.order),
        one(lambda m: m.zone),
        one(lambda m: m.stamp_marks),
    )


def columns(files: Sequence[Path | str], setup_file: Path | None = None) -> SeenColumns:
    """Understand logs. The setup's zone and machine settle what the logs alone leave open."""
    if setup_file is None:
        return SeenColumns(tuple(understand(path, None, None) for path in files))
    setup, _ = parse(read_text(setup_file), str(setup_file))
    return SeenColumns(tuple(understand_for(setup, path) for path in files))


def columns_for(folder: Path | str, files: Sequence[Path | str]) -> SeenColumns:
    """Understand logs that are to be added to a drive, with its zone and machine."""
    setup = StoredDrive(Path(folder)).setup
    return SeenColumns(tuple(understand_for(setup, path) for path in files))


def understand_for(setup: Setup, path: Path | str, given: ColumnMap | None = None) -> FileUnderstanding:
    """How a log is to be read for a drive: with its zone, its machine and the way its chainage runs."""
    drive = setup.drive
    return understand(path, drive.zone, setup.machine, given, drive.axis.direction)


def understood_again(folder: Path | str, seen: SeenColumns, given: ColumnMap) -> SeenColumns:
    """The logs with what a person states now; those that it does not touch stay as they were."""
    setup = StoredDrive(Path(folder)).setup

    def again(log: FileUnderstanding) -> FileUnderstanding:
        if _touching(given, log) == _touching(seen.given, log):
            return log
        return understand_for(setup, log.path, given)

    return SeenColumns(tuple(again(log) for log in seen.logs), given, seen.values)


def _touching(given: ColumnMap, log: FileUnderstanding) -> ColumnMap:
    headers = {column.header for column in log.columns}
    return replace(given, columns={h: entry for h, entry in given.columns.items() if h in headers})


def stating(given: ColumnMap, header: str, entry: Entry | None) -> ColumnMap:
    """What was stated with this entry for a header; None takes back what was stated of it."""
    others = {h: e for h, e in given.columns.items() if h != header}
    return replace(given, columns=others if entry is None else {**others, header: entry})


def unit_names(channel: str) -> tuple[str, ...]:
    """The units in which logs write a channel, its own first; () where it has none."""
    return tuple(unit.name for unit in plausible_units(BY_NAME[channel]))


def measures(unit: str, channel: str) -> bool:
    """Whether a spelling is a known unit of the channel's quantity."""
    return for_channel(parse_unit(unit), BY_NAME[channel]) is not None


def with_values(seen: SeenColumns) -> SeenColumns:
    """With the first values of every log that a column is shown from."""
    shown = {column.log for column in seen.columns} - seen.values.keys()
    return replace(seen, values={**seen.values, **{k: first_values(seen.logs[k]) for k in sorted(shown)}})


def first_values(log: FileUnderstanding, rows: int = FIRST_ROWS) -> Mapping[int, Values]:
    """The first values of each number column as the file has them, by number of the column; (n,) with
    n <= rows, NaN where there is no number."""
    numbers = tuple(k for k, kind in enumerate(log.sample.kinds) if kind != WORDS)
    blocks: list[RawBlock] = []
    for block in _blocks(log, numbers):
        blocks.append(block)
        if sum(map(len, blocks)) >= rows:
            break
    if not blocks:
        return {k: np.empty(0) for k in numbers}
    whole = join_blocks(blocks)
    return {k: whole.numbers[k][:rows] for k in numbers}


def _blocks(log: FileUnderstanding, numbers: tuple[int, ...]) -> Iterator[RawBlock]:
    sample = log.sample
    if sample.dialect is None:
        with opened(sample.source) as (_, _, batches):
            for batch in batches:
                yield batch_block(batch.slice(0, FIRST_ROWS), 1, TypedPlan((), numbers))
        return
    plan = TextPlan(sample.dialect, (), numbers, sample.nulls)
    for line, data, _ in text_blocks(sample.source, sample.dialect, _PIECE_BYTES):
        yield parse_rows(data, line, plan)


def answers(log: FileUnderstanding, column: Column) -> tuple[Entry, ...]:
    """What may be stated to settle an open column: its channel in the units that the tests leave, then in the
    one that the log states, else in any; last, to keep it as an extra channel. () without a question."""
    if not column.question or column.name not in BY_NAME:
        return ()
    channel, keep = BY_NAME[column.name], Entry(EXTRA)
    if not channel.unit:
        return Entry(column.name), keep
    told = (*column.alternatives, column.unit, log.sample.headers[column.index].unit_text)
    names = (text.removeprefix(f"{column.name} in ") for text in told)
    left = tuple(unit for name in names if (unit := for_channel(parse_unit(name), channel)) is not None)
    written = log.sample.headers[column.index].units
    units = left or (() if written else plausible_units(channel))  # not as if a % were a kNm
    return *dict.fromkeys(Entry(column.name, unit.name) for unit in units), keep
