"""The door of the layer: understand a log, then read it block by block."""

import math
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.errors import ColumnsOpen, LogError
from tbmreview.domain.samples import MICROSECONDS, Samples
from tbmreview.domain.setup import Machine
from tbmreview.ingest.chainage_way import held_against_setup
from tbmreview.ingest.clean import telling
from tbmreview.ingest.clock import Clock, StampReader
from tbmreview.ingest.column_map import EXTRA as MAP_EXTRA
from tbmreview.ingest.column_map import ColumnMap, Entry
from tbmreview.ingest.find_clock import ClockFound, find_clock
from tbmreview.ingest.pace import Pace, in_words, pace_of, refuse_sparse, usual_span
from tbmreview.ingest.print_step import PrintSteps
from tbmreview.ingest.raw import RawBlock
from tbmreview.ingest.read_text import TextPlan, column_texts, parse_rows, text_blocks
from tbmreview.ingest.read_typed import TypedPlan, batch_block, opened
from tbmreview.ingest.report import (
    CHANNEL,
    EXTRA,
    LEFT_OUT,
    STAMP,
    Column,
    FileReport,
    column_lines,
)
from tbmreview.ingest.sample import LogSample, joined, sample_blocks, take_sample
from tbmreview.ingest.settle import Block, Settling
from tbmreview.ingest.source import find_source
from tbmreview.ingest.stamp_text import GOOD
from tbmreview.ingest.surroundings import Marks
from tbmreview.ingest.two_clocks import compare_clocks
from tbmreview.ingest.understand import understand_columns

Values = NDArray[np.float64]
_TEXTS, _TEXTS_BYTES = 20, 1 << 16  # rows of each block whose texts show how numbers are printed
PARSERS = 2  # blocks parsed beside each other while the one before is taken in


@dataclass(frozen=True, slots=True)
class FileUnderstanding:
    """What a log's columns and stamps mean. `questions`: what must be answered before it is read."""

    path: Path
    sample: LogSample
    clock: Clock | None
    clock_question: str
    zone: ZoneInfo | None
    columns: tuple[Column, ...]
    notes: tuple[str, ...]
    mapped: bool
    interval_s: float = math.nan

    @property
    def questions(self) -> tuple[str, ...]:
        """Open questions, one line each; () where all is settled."""
        asked = [self.clock_question] if self.clock_question else []
        if not self.mapped and not any(c.role == CHANNEL for c in self.columns):
            asked.append(
                "no column is named like a channel of the machine; say in a column map which is which"
            )
        return (*asked, *(f"{c.header!r}: {c.question}" for c in self.columns if c.question))

    @property
    def channels(self) -> tuple[str, ...]:
        """Canonical channels the log holds."""
        return tuple(dict.fromkeys(c.name for c in self.columns if c.role == CHANNEL and not c.question))

    def as_map(self) -> ColumnMap:
        """The understanding as a column map to edit; an open unit is '?'. Columns left out are not listed."""
        entries = {c.header: _entry(c) for c in self.columns if c.role in (CHANNEL, EXTRA)}
        clock = self.clock
        if clock is None:
            return ColumnMap(entries)
        by_index = {c.index: c.header for c in self.columns}
        order = clock.order if clock.kind == "text" and not self.clock_question else ""
        zone = "" if clock.zone == "stamp" else clock.zone
        marks = "end" if clock.late_us else ""
        return ColumnMap(entries, tuple(by_index[i] for i in clock.columns), order, zone, marks)

    def as_text(self) -> str:
        """How the log is understood, in plain lines."""
        lines = [f"{self.path.name}", f"  clock: {self.clock.said if self.clock else 'none'}"]
        lines += [f"  {line}" for line in column_lines(self.columns)]
        lines += [f"  note: {note}" for note in self.notes]
        lines += [f"  question: {question}" for question in self.questions]
        return "\n".join(lines)


def _entry(column: Column) -> Entry:
    if column.role == CHANNEL:
        return Entry(column.name, column.unit or "?")
    return Entry(MAP_EXTRA)


def understand(
    path: Path | str,
    zone: ZoneInfo | None,
    machine: Machine | None,
    column_map: ColumnMap | None = None,
    direction: int = 0,
) -> FileUnderstanding:
    """How a log is written and what its columns mean, from a bounded sample of it.

    zone: of the drive, for stamps without offset. machine: narrows what units are possible. direction: 1 or
    -1 as the drive's chainage increases or decreases, 0 where that is not known.
    LogError where the file is no log.
    """
    path = Path(path)
    given = column_map or ColumnMap()
    sample = take_sample(find_source(path))
    found = _clock(sample, path, given)
    clocks = [clock for clock in (found.clock, found.beside) if clock is not None]
    blocks = sample_blocks(sample, tuple(k for clock in clocks for k in clock.columns))
    if sum(map(len, blocks)) == 0:
        raise LogError(f"{path}: holds no whole row; expected a row for each instant")
    values = {k: telling(joined(blocks, k)) for k in blocks[0].numbers if k not in found.columns}
    readers = [_stamp_reader(clock, zone) for clock in clocks]
    instants = [
        _instants(blocks, reader, len(clocks[0].columns) if k else 0) for k, reader in enumerate(readers)
    ]
    pace = pace_of(instants[0], [block.numbers for block in blocks]) if instants else Pace(math.nan)
    clock = _paced(found.clock, pace, given)
    if clock is not None:
        clock = replace(clock, within_us=usual_span(instants[0]))
        instants[0] = _instants(blocks, _stamp_reader(clock, zone), 0)
    seconds = instants[0] if instants else [np.full(len(block), np.nan) for block in blocks]
    columns, notes = understand_columns(_without(sample, found.columns), values, seconds, machine, given)
    named = {c.name: values[c.index] for c in columns if c.role == CHANNEL}
    refuse_sparse(path, pace, named)
    if direction:
        columns = held_against_setup(columns, values, seconds, direction)
    notes = (*notes, *_clock_notes(found, instants, pace, sample, zone))
    found = replace(found, clock=clock)
    columns = tuple(sorted((*_others(columns, found), *_stamp_columns(sample, found)), key=lambda c: c.index))
    clock_question = found.question or (readers[0].question if readers else _no_clock(sample, given))
    return FileUnderstanding(
        path,
        sample,
        found.clock,
        clock_question,
        zone,
        columns,
        (*sample.notes, *notes),
        bool(given.columns),
        pace.interval_s,
    )


def _paced(clock: Clock | None, pace: Pace, given: ColumnMap) -> Clock | None:
    """The clock with what the pace says of its stamps: too coarse for the rows, at which end of them."""
    if clock is None:
        return None
    late = given.stamp_marks == "end" and math.isfinite(pace.interval_s)
    end = f"stamps mark the {'end' if late else 'start'} of their interval"
    return replace(
        clock,
        said="; ".join(
            x for x in (clock.said, pace.said, end + " by the map" * bool(given.stamp_marks)) if x
        ),
        late_us=round(pace.interval_s * MICROSECONDS) if late else 0,
        rows_per_stamp=pace.rows_per_stamp,
        unit_us=pace.unit_us,
    )


def _clock_notes(
    found: ClockFound,
    instants: Sequence[list[Values]],
    pace: Pace,
    sample: LogSample,
    zone: ZoneInfo | None,
) -> tuple[str, ...]:
    notes = []
    if len(pace.rates) > 1:
        notes.append(f"rows come every {' and every '.join(map(in_words, pace.rates))}")
    if found.beside is not None and len(instants) > 1:
        label = sample.headers[found.beside.columns[0]].raw
        by_drive = found.beside.zone == "drive" and found.clock is not None and found.clock.zone != "drive"
        notes += compare_clocks(instants[0], instants[1], label, zone if by_drive else None)
    return tuple(notes)


def _clock(sample: LogSample, path: Path, given: ColumnMap) -> ClockFound:
    """The clock as found, corrected by the column map."""
    stamps = sample.stamps
    if given.stamps:
        by_name = {s.header.raw or f"column {s.index + 1}": s for s in stamps}
        missing = [name for name in given.stamps if name not in by_name]
        if missing:
            raise LogError(
                f"{path}: the column map names the stamp column {missing[0]!r}, which the log lacks"
            )
        stamps = tuple(by_name[name] for name in given.stamps)
    found = find_clock(stamps, path.name)
    if found.clock is None:
        return found
    clock, question = found.clock, found.question
    if given.order and clock.kind == "text":
        clock, question = (
            replace(clock, order=given.order, said=f"{clock.said}; order {given.order} by the map"),
            "",
        )
    if given.zone and clock.zone != "stamp" and clock.kind != "epoch":
        clock = replace(clock, zone=given.zone, said=f"{clock.said}; zone {given.zone} by the map")
    return replace(found, clock=clock, question=question)


def _no_clock(sample: LogSample, given: ColumnMap) -> str:
    if not given.stamps:
        return "no column holds date and time; name it as 'stamps' under [clock] in the column map"
    named = [s for s in sample.stamps if (s.header.raw or f"column {s.index + 1}") in given.stamps]
    shown = " and ".join(
        f"{s.header.raw!r} ({s.texts[0]!r})" if s.texts else repr(s.header.raw) for s in named
    )
    return (
        f"the column map takes date and time from {shown}, which cannot be read as such; give 'stamps' a column "
        "with date and time (such as 2031-03-11 06:00:00), or one with dates and one with times of day "
        "(20310311 and 060000)"
    )


def _without(sample: LogSample, stamps: tuple[int, ...]) -> LogSample:
    kinds = tuple("text" if k in stamps else kind for k, kind in enumerate(sample.kinds))
    return replace(sample, kinds=kinds)


def _others(columns: tuple[Column, ...], found: ClockFound) -> list[Column]:
    return [c for c in columns if c.index not in found.columns]


def _stamp_columns(sample: LogSample, found: ClockFound) -> list[Column]:
    used = found.clock.columns if found.clock else ()
    out = []
    for k in found.columns:
        label = sample.headers[k].raw or f"column {k + 1}"
        if k in used:
            out.append(Column(k, label, STAMP, reason=found.clock.said if found.clock else ""))
        else:
            out.append(Column(k, label, LEFT_OUT, reason="another stamp"))
    return out


def _stamp_reader(clock: Clock, zone: ZoneInfo | None) -> StampReader:
    """A reader of the sample's stamps; where the zone is not known, local time passes for UTC."""
    return StampReader(replace(clock, zone="UTC") if zone is None else clock, zone)


def _instants(blocks: list[RawBlock], reader: StampReader, at: int) -> list[Values]:
    """Stamps of each run of the sample [s UTC], from its stamp columns beginning with number `at`."""
    out = []
    for block in blocks:
        time_us, status = reader.read(block.stamps[at : at + len(reader.clock.columns)])
        out.append(np.where(status == GOOD, time_us / 1e6, np.nan))
    return out


class LogReader:
    """Iterates over the blocks of a log; `report` is complete when the iteration is and `judged` has been told
    what the rules of `surroundings` mark in the merged rows."""

    def __init__(
        self, understanding: FileUnderstanding, on_block: Callable[[int, int], None] | None = None
    ) -> None:
        """on_block(done, total): progress in bytes or rows of the file. ColumnsOpen with open questions."""
        if understanding.questions:
            raise ColumnsOpen(f"{understanding.path}: " + "; ".join(understanding.questions))
        clock = understanding.clock
        if clock is None or (clock.zone == "drive" and understanding.zone is None):
            raise ColumnsOpen(f"{understanding.path}: stamps are local time; state the zone of the drive")
        self._log = understanding
        self._on_block = on_block
        self._stamps = StampReader(clock, understanding.zone)
        self._steps = PrintSteps(understanding.columns)
        self._settling = Settling(understanding.columns, self._stamps)

    @property
    def print_steps(self) -> dict[str, float]:
        """Channel -> the last decimal that the log has shown so far, in the channel's unit; a channel
        written in full is absent."""
        return self._steps.steps()

    @property
    def scales(self) -> dict[str, float]:
        """Channel -> how many of its units one unit is in which the log writes it, of the channels that
        `surroundings.judge` needs it for."""
        return self._settling.scales

    def judged(self, samples: Samples, lines: NDArray[np.int64], marks: Marks) -> None:
        """Account for what the rules of `surroundings` mark in rows of the log, as `surroundings.judge` does."""
        self._settling.judged(samples, lines, marks)

    @property
    def report(self) -> FileReport:
        """The account so far: rows_read = kept + duplicates + quarantined at every block."""
        tally = self._settling.tally
        notes = list(self._log.notes)
        if self._log.sample.nulls:
            notes.append("words read as missing: " + ", ".join(map(repr, self._log.sample.nulls)))
        notes += tally.notes()
        if self._stamps.doubled:
            notes.append(f"{self._stamps.doubled} rows lie in the hour that comes twice; their order decided")
        return FileReport(
            self._log.path.name,
            tally.rows_read,
            tally.kept,
            tally.duplicates,
            dict(tally.quarantined),
            tally.all_repairs(),
            self._log.columns,
            tuple(notes),
            tally.first_us,
            tally.last_us,
            self._log.clock.said if self._log.clock else "",
            self._log.interval_s,
        )

    def __iter__(self) -> Iterator[Block]:
        for raw, done, total in self._raw():
            yield self._seen(self._settling.push(raw))
            if self._stamps.question:
                raise ColumnsOpen(f"{self._log.path}: {self._stamps.question}")
            if self._on_block is not None:
                self._on_block(done, total)
        yield from map(self._seen, self._settling.rest())

    def _seen(self, block: Block) -> Block:
        self._steps.see(block.samples.values)
        return block

    def _raw(self) -> Iterator[tuple[RawBlock, int, int]]:
        sample = self._log.sample
        assert self._log.clock is not None
        stamps = self._log.clock.columns
        numbers = self._settling.numbers
        if sample.dialect is None:
            with opened(sample.source) as (_, total, batches):
                done = 0
                for batch in batches:
                    yield (
                        batch_block(batch, done + 1, TypedPlan(stamps, numbers)),
                        done + batch.num_rows,
                        total,
                    )
                    done += batch.num_rows
            return
        plan = TextPlan(sample.dialect, stamps, numbers, sample.nulls)
        with ThreadPoolExecutor(PARSERS) as pool:
            ahead: deque[tuple[Future[RawBlock], int]] = deque()
            for line, data, done in text_blocks(sample.source, sample.dialect):
                self._steps.see_texts(column_texts(data[:_TEXTS_BYTES], plan, _TEXTS), plan.dialect.decimal)
                ahead.append((pool.submit(parse_rows, data, line, plan), done))
                if len(ahead) > PARSERS:
                    parsed, at = ahead.popleft()
                    yield parsed.result(), at, sample.source.size
            for parsed, at in ahead:
                yield parsed.result(), at, sample.source.size


def read_log(
    path: Path | str, understanding: FileUnderstanding, on_block: Callable[[int, int], None] | None = None
) -> LogReader:
    """The blocks of a log as it was understood; the reader's `report` accounts for every row."""
    return LogReader(replace(understanding, path=Path(path)), on_block)
