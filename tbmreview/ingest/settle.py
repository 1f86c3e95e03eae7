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
    value_faults,
    wraps,
)
from tbmreview.ingest.clock import REASONS, StampReader
from tbmreview.ingest.raw import RawBlock, cut_block, join_blocks
from tbmreview.ingest.report import CHANNEL, EXTRA, Column, Quarantined, Tally
from tbmreview.ingest.stamp_text import GOOD
from tbmreview.ingest.surroundings import LIMITS, Marks
from tbmreview.ingest.understand import mean_of

SAME_STAMP = "the same stamp with other values (the first is kept)"
NOT_A_NUMBER = "text where a number belongs"
# Channels that may read below zero at rest; others are signed by nature or never negative.
_RESTS_BELOW_ZERO = frozenset(LIMITS) - {"chainage_m"}


@dataclass(frozen=True, slots=True)
class Block:
    """Canonical samples of a part of the file, sorted within themselves; lines: (n,) where each is written; and
    the rows that could not be used."""

    samples: Samples
    lines: NDArray[np.int64]
    quarantined: tuple[Quarantined, ...]


@dataclass(slots=True)
class Settling:
    """Takes raw blocks in file order, gives canonical blocks; `tally` accounts for those given."""

    columns: tuple[Column, ...]
    stamps: StampReader
    tally: Tally = field(default_factory=Tally)
    _tail: RawBlock | None = None
    _channels: Mapping[str, tuple[Column, ...]] = field(init=False)
    _last_raw: dict[int, Values] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._channels = by_channel(self.columns)

    @property
    def numbers(self) -> tuple[int, ...]:
        """Indices of the number columns that are wanted, rising."""
        return tuple(sorted({c.index for group in self._channels.values() for c in group}))

    @property
    def scales(self) -> dict[str, float]:
        """Of the channels that `surroundings` looks at and one column holds: canonical units in one as written."""
        single = {name: group[0] for name, group in self._channels.items() if len(group) == 1}
        return {
            name: column.conversion.factor if column.conversion else 1.0
            for name, column in single.items()
            if name in LIMITS
        }

    def push(self, raw: RawBlock) -> Block:
        """Take in the next rows; give those that are settled."""
        if self.stamps.spreads:
            if self._tail is not None:
                raw = join_blocks([self._tail, raw])
            at = self.stamps.last_group(raw.stamps)
            self._tail, raw = cut_block(raw, at, len(raw)), cut_block(raw, 0, at)
        return self._settled(raw)

    def rest(self) -> Iterator[Block]:
        """What is left when the file has ended."""
        if self._tail is not None:
            tail, self._tail = self._tail, None
            yield self._settled(tail)

    def _settled(self, raw: RawBlock) -> Block:
        time_us, status = self.stamps.read(raw.stamps)
        good = np.flatnonzero(status == GOOD)
        aside = [
            Quarantined(int(raw.lines[i]), REASONS[int(status[i])], raw.row_text(int(i)))
            for i in np.flatnonzero(status != GOOD)
        ]
        whole = len(good) == len(raw)
        lines = raw.lines if whole else raw.lines[good]
        time_us = time_us if whole else time_us[good]
        values = self._values(raw, None if whole else good, lines)
        self._observe(time_us, lines, values)
        ordered = order_rows(time_us, values)
        clash = [
            Quarantined(int(lines[i]), SAME_STAMP, raw.row_text(int(good[i])), int(time_us[i]))
            for i in ordered.other.tolist()
        ]
        quarantined = tuple(sorted((*raw.torn, *aside, *clash), key=lambda q: q.line))
        kept = {name: column[ordered.rows] for name, column in values.items()}
        samples = Samples(time_us[ordered.rows], {n: v for n, v in kept.items() if _measured(v)})
        self._count(raw, len(ordered.same), quarantined, samples)
        return Block(samples, lines[ordered.rows], quarantined)

    def _values(
        self, raw: RawBlock, good: NDArray[np.int64] | None, lines: NDArray[np.int64]
    ) -> dict[str, Values]:
        """Canonical values of the good rows, None: of all."""
        out = {}
        for name, group in self._channels.items():
            parts = []
            for column in group:
                numbers = raw.numbers[column.index] if good is None else raw.numbers[column.index][good]
                parts.append(self._converted(numbers, column, lines))
            out[name] = parts[0] if len(parts) == 1 else mean_of(parts)
        return out

    def _converted(self, raw: Values, column: Column, lines: NDArray[np.int64]) -> Values:
        """Canonical values of one column; what is no measurement is made missing and counted."""
        span = extremes(raw)
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

    def _observe(
        self, time_us: NDArray[np.int64], lines: NDArray[np.int64], values: dict[str, Values]
    ) -> None:
        """Note what is kept as it is and a person should know: falls of the clock, channels that never change."""
        tally = self.tally
        if not len(time_us):
            return
        before = int(time_us[0]) if tally.last_stamp is None else tally.last_stamp
        if time_us[0] < before or (time_us[1:] < time_us[:-1]).any():
            fell = np.r_[before, time_us[:-1]] - time_us
            back = np.flatnonzero(fell > 0)
            tally.fall(len(back), int(lines[back[0]]), int(fell[back[0]]) / MICROSECONDS)
        tally.last_stamp = int(time_us[-1])
        for name, column in values.items():
            tally.steady(name, column)

    def judged(self, samples: Samples, lines: NDArray[np.int64], marks: Marks) -> None:
        """Account for rows that were given once the rules of `surroundings` have marked values in them."""
        for (rule, channel), some in marks.items():
            header = " + ".join(c.header for c in self._channels[channel])
            self.tally.repair(rule, header, int(some.sum()), int(lines[some].min()))
        for name, column in samples.values.items():
            if name not in _RESTS_BELOW_ZERO:
                continue
            of = [some for (_, channel), some in marks.items() if channel == name]
            kept = column[~np.any(of, axis=0)] if of else column
            lowest = float(np.fmin.reduce(kept)) if len(kept) else 0.0
            if lowest < 0:
                self.tally.below_zero(name, int((kept < 0).sum()), lowest)

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
