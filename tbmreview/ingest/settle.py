"""Raw blocks -> canonical samples: stamps read, values converted and cleaned, every row accounted for."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.samples import MICROSECONDS, Samples
from tbmreview.ingest.clean import (
    COUNTER_FROM,
    Mask,
    Values,
    extremes,
    last_counts,
    order_rows,
    suspects,
    value_faults,
    wraps,
)
from tbmreview.ingest.clock import REASONS, StampReader
from tbmreview.ingest.raw import RawBlock, cut_block, join_blocks
from tbmreview.ingest.report import CHANNEL, EXTRA, Column, Quarantined, Tally
from tbmreview.ingest.stamp_text import GOOD
from tbmreview.ingest.surroundings import LIMITS, Fault, Rows, Sentinels, Window
from tbmreview.ingest.understand import mean_of

SAME_STAMP = "the same stamp with other values (the first is kept)"
NOT_A_NUMBER = "text where a number belongs"
# Channels that may read below zero at rest; others are signed by nature or never negative.
_RESTS_BELOW_ZERO = frozenset(LIMITS) - {"chainage_m"}


@dataclass(frozen=True, slots=True)
class Block:
    """Canonical samples of a part of the file, sorted within themselves, and the rows set aside."""

    samples: Samples
    quarantined: tuple[Quarantined, ...]


@dataclass(frozen=True, slots=True)
class _Held:
    """What a block needs besides its good rows once these are settled. good: their place in raw."""

    raw: RawBlock
    good: NDArray[np.int64]
    aside: list[Quarantined]


@dataclass(slots=True)
class Settling:
    """Takes raw blocks in file order, gives canonical blocks; `tally` accounts for those given.

    lively, sentinels: what the file's sample shows, see `surroundings`.
    """

    columns: tuple[Column, ...]
    stamps: StampReader
    lively: frozenset[str]
    sentinels: Sentinels = field(default_factory=dict)
    tally: Tally = field(default_factory=Tally)
    _held: list[_Held] = field(default_factory=list)
    _tail: RawBlock | None = None
    _channels: Mapping[str, tuple[Column, ...]] = field(init=False)
    _window: Window = field(init=False)
    _last_raw: dict[int, Values] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._channels = by_channel(self.columns)
        self._window = Window(self.lively, self.sentinels)

    @property
    def numbers(self) -> tuple[int, ...]:
        """Indices of the number columns that are wanted, rising."""
        return tuple(sorted({c.index for group in self._channels.values() for c in group}))

    def push(self, raw: RawBlock) -> Iterator[Block]:
        """Take in the next rows; give those that are settled."""
        if self.stamps.spreads:
            if self._tail is not None:
                raw = join_blocks([self._tail, raw])
            at = self.stamps.last_group(raw.stamps)
            self._tail, raw = cut_block(raw, at, len(raw)), cut_block(raw, 0, at)
        for rows, faults in self._window.push(self._understood(raw)):
            yield self._finished(rows, faults)

    def rest(self) -> Iterator[Block]:
        """What is left when the file has ended."""
        if self._tail is not None:
            tail, self._tail = self._tail, None
            for rows, faults in self._window.push(self._understood(tail)):
                yield self._finished(rows, faults)
        for rows, faults in self._window.rest():
            yield self._finished(rows, faults)

    def _understood(self, raw: RawBlock) -> Rows:
        """Instants and canonical values of the rows with a valid stamp; the others are set aside."""
        time_us, status = self.stamps.read(raw.stamps)
        good = np.flatnonzero(status == GOOD)
        aside = [
            Quarantined(int(raw.lines[i]), REASONS[int(status[i])], raw.row_text(int(i)))
            for i in np.flatnonzero(status != GOOD)
        ]
        self._held.append(_Held(raw, good, [*raw.torn, *aside]))
        whole = len(good) == len(raw)
        lines = raw.lines if whole else raw.lines[good]
        rows = Rows(lines, time_us if whole else time_us[good], {}, {})
        for name, group in self._channels.items():
            parts = []
            for column in group:
                numbers = raw.numbers[column.index] if whole else raw.numbers[column.index][good]
                span = extremes(numbers)
                parts.append(self._converted(numbers, column, span, lines))
                codes = suspects(numbers, span) if len(group) == 1 and name in LIMITS else None
                if codes is not None:
                    rows.suspects[name] = codes
            rows.values[name] = parts[0] if len(parts) == 1 else mean_of(parts)
        return rows

    def _converted(
        self, raw: Values, column: Column, span: tuple[float, float], lines: NDArray[np.int64]
    ) -> Values:
        """Canonical values of one column; what is no measurement is made missing and counted."""
        values = column.conversion.convert(raw) if column.conversion else raw
        self._watch_counter(raw, column, span[1], lines)
        bad = np.zeros(0, bool)
        for rule, marks in value_faults(raw, values, column.name, span):
            self._repair(rule, column.header, marks, lines)
            bad = marks | bad if len(bad) else marks
        return np.where(bad, np.nan, values) if len(bad) else values

    def _watch_counter(self, raw: Values, column: Column, highest: float, lines: NDArray[np.int64]) -> None:
        """Note where a 16-bit counter begins again, across blocks too."""
        if not len(raw):
            return
        last = self._last_raw.get(column.index, np.empty(0))
        known = len(last)
        if highest >= COUNTER_FROM or (known and last[-1] >= COUNTER_FROM):
            counts = np.r_[last, raw]
            rows = wraps(counts) - known
            if len(rows):
                self.tally.wrap(column.header, len(rows), int(lines[rows[0]]))
            self._last_raw[column.index] = last_counts(counts)
        else:
            self._last_raw[column.index] = raw[-1:].copy()

    def _repair(self, rule: str, header: str, marks: Mask, lines: NDArray[np.int64]) -> None:
        self.tally.repair(rule, header, int(marks.sum()), int(lines[np.argmax(marks)]))

    def _finished(self, rows: Rows, faults: list[Fault]) -> Block:
        held = self._held.pop(0)
        values = rows.values
        for fault in faults:
            header = " + ".join(c.header for c in self._channels[fault.channel])
            self._repair(fault.rule, header, fault.marks, rows.lines)
            values[fault.channel] = np.where(fault.marks, np.nan, values[fault.channel])
        self._observe(rows)
        ordered = order_rows(rows.time_us, values)
        clash = [
            Quarantined(int(rows.lines[i]), SAME_STAMP, held.raw.row_text(int(held.good[i])))
            for i in ordered.other.tolist()
        ]
        quarantined = tuple(sorted((*held.aside, *clash), key=lambda q: q.line))
        kept = {name: column[ordered.rows] for name, column in values.items()}
        samples = Samples(rows.time_us[ordered.rows], {n: v for n, v in kept.items() if _measured(v)})
        self._count(held.raw, len(ordered.same), quarantined, samples)
        return Block(samples, quarantined)

    def _observe(self, rows: Rows) -> None:
        """Count what is kept as it is and a person should know: falls of the clock, readings below zero."""
        tally = self.tally
        if not len(rows):
            return
        time_us = rows.time_us
        before = int(time_us[0]) if tally.last_stamp is None else tally.last_stamp
        if time_us[0] < before or (time_us[1:] < time_us[:-1]).any():
            fell = np.r_[before, time_us[:-1]] - time_us
            back = np.flatnonzero(fell > 0)
            tally.fall(len(back), int(rows.lines[back[0]]), int(fell[back[0]]) / MICROSECONDS)
        tally.last_stamp = int(rows.time_us[-1])
        for name, values in rows.values.items():
            tally.steady(name, values)
            lowest = float(np.fmin.reduce(values)) if name in _RESTS_BELOW_ZERO else 0.0
            if lowest < 0:
                tally.below_zero(name, int((values < 0).sum()), lowest)

    def _count(
        self, raw: RawBlock, same: int, quarantined: tuple[Quarantined, ...], samples: Samples
    ) -> None:
        tally = self.tally
        tally.rows_read += len(raw) + len(raw.torn)
        tally.kept += len(samples)
        tally.duplicates += same
        tally.quarantine(quarantined)
        headers = {c.index: c.header for c in self.columns}
        for k, (count, line) in raw.bad.items():
            tally.repair(NOT_A_NUMBER, headers[k], count, line)
        if len(samples):
            tally.span(int(samples.time_us[0]), int(samples.time_us[-1]))


def _measured(values: Values) -> bool:
    """Whether any of (n,) values is there."""
    return bool(len(values)) and (not np.isnan(values[0]) or not np.isnan(values).all())


def by_channel(columns: tuple[Column, ...]) -> Mapping[str, tuple[Column, ...]]:
    """The columns that make each channel."""
    out: dict[str, tuple[Column, ...]] = {}
    for column in columns:
        if column.role in (CHANNEL, EXTRA):
            out[column.name] = (*out.get(column.name, ()), column)
    return out
