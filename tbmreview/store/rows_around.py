"""Rules that look at the rows around a value, asked over a whole day as all its files measured it.

What a rule sets aside follows from the measured rows of the day and of the days beside it alone, whichever files
brought them and in whatever order: a day is judged anew when its rows or those beside it have changed.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.samples import Samples, join
from tbmreview.store.aside import Aside, SetAside, places, put_back, same
from tbmreview.store.chunks import HOURS_A_DAY, ChunkReader
from tbmreview.store.merge import STORED, Merged, alike, merge
from tbmreview.store.spool import Part, Spool

Flags = NDArray[np.bool_]
Scales = Mapping[str, Sequence[float]]  # channel -> its units in one as written, of each source
Marks = Mapping[tuple[str, str], Flags]  # (rule, channel) -> (n,)


@dataclass(frozen=True, slots=True)
class Rules:
    """channels: that the rules look at. reach: the rows of a neighbouring day that they see.

    judge(rows, scales): which values are set aside, none by two rules. told(part, marks): what became of the
    values of a new part.
    """

    channels: frozenset[str] = frozenset()
    reach: int = 0
    judge: Callable[[Samples, Scales], Marks] = lambda rows, scales: {}
    told: Callable[[Part, Marks], None] = lambda part, marks: None


@dataclass(frozen=True, slots=True)
class Preference:
    """Whose values win: origins, the most preferred first. steps, scales: of each origin by its number, channel ->
    print step in the channel's unit, or how many of its units one unit is in which the origin writes it.
    correct: new values replace the stored ones that they contradict."""

    origins: Sequence[int]
    steps: Sequence[Mapping[str, float]] = ()
    scales: Sequence[Mapping[str, float]] = ()
    correct: bool = False

    def ranked(self, parts: Sequence[Part]) -> list[Part]:
        """The parts, the most preferred first."""
        rank = {origin: place for place, origin in enumerate(self.origins)}
        return sorted(parts, key=lambda part: rank[part.origin])

    def merged(self, parts: Sequence[Part], stored: Samples | None, stored_steps: Scales) -> Merged:
        """What ranked parts and stored rows, as measured, make together."""
        steps: dict[int, Mapping[str, Sequence[float]]] = {
            origin: {name: (step,) for name, step in of.items()} for origin, of in enumerate(self.steps)
        }
        steps[STORED] = stored_steps
        old = [] if stored is None else [(STORED, stored)]
        return merge(
            [*old, *((p.origin, p.samples) for p in parts)], len(self.origins), steps, correct=self.correct
        )


@dataclass(frozen=True, slots=True)
class Judged:
    """What is set aside of a day. scales: of all its sources. news: whether either differs from what is stored.

    more, back: values of stored rows that are newly set aside, or no longer.
    """

    aside: SetAside
    scales: Scales
    news: bool = False
    more: int = 0
    back: int = 0


@dataclass(frozen=True, slots=True)
class _Measured:
    """A day of the channels that rules look at, as measured. news: whether it differs from what was stored;
    stored, old: what that was, and what was set aside of it."""

    rows: Samples
    scales: Scales
    news: bool
    stored: Samples | None = None
    old: SetAside = field(default_factory=dict)
    parts: Sequence[Part] = ()


_NONE = _Measured(Samples(np.empty(0, np.int64), {}), {}, news=False)


class RowsAround:
    """Judges the days of an import, which must be asked for in order of time."""

    def __init__(
        self, rules: Rules, spool: Spool, chunks: Mapping[int, Path], preference: Preference
    ) -> None:
        """chunks: UTC day -> the file that holds it."""
        self._rules, self._spool, self._chunks, self._preference = rules, spool, chunks, preference
        self._known: dict[int, _Measured] = {}

    def days(self) -> list[int]:
        """UTC days with new rows, and stored ones beside them, rising."""
        new = self._spool.days()
        return sorted({*new, *(day for d in new for day in (d - 1, d + 1) if day in self._chunks)})

    def judged(self, day: int) -> Judged:
        """What is set aside of a day, once its new rows are in."""
        self._known = {number: known for number, known in self._known.items() if number >= day - 1}
        before, own, after = (self._measured(number) for number in (day - 1, day, day + 1))
        found = Judged(own.old, own.scales)
        if before.news or own.news or after.news:
            found = self._judged(before, own, after)
        for part in own.parts:
            self._rules.told(part, self._marks(part, found.aside))
        self._known[day] = replace(own, rows=_last(own.rows, self._rules.reach), stored=None, parts=())
        return found

    def _measured(self, day: int) -> _Measured:
        if day not in self._known:
            self._known[day] = self._read(day)
        return self._known[day]

    def _read(self, day: int) -> _Measured:
        hour = day * HOURS_A_DAY
        parts = [_of(part, self._rules.channels) for part in self._spool.parts(hour, HOURS_A_DAY)]
        parts = self._preference.ranked(parts)
        path, stored, steps, known, old = self._chunks.get(day), None, {}, {}, {}
        if path is not None:
            with ChunkReader(path) as reader:
                old, steps, known = reader.set_aside, reader.print_steps, reader.scales
                stored = put_back(reader.day(self._rules.channels), old)
        scales = {name: set(found) for name, found in known.items()}
        for origin in {part.origin for part in parts} if self._preference.scales else ():
            for name, scale in self._preference.scales[origin].items():
                scales.setdefault(name, set()).add(scale)
        told = {name: sorted(found) for name, found in scales.items()}
        if not parts:
            return _NONE if stored is None else _Measured(stored, told, news=False, stored=stored, old=old)
        merged = self._preference.merged(parts, stored, steps)
        return _Measured(merged.samples, told, merged.changed or told != known, stored, old, parts)

    def _judged(self, before: _Measured, own: _Measured, after: _Measured) -> Judged:
        reach = self._rules.reach
        view = [_last(before.rows, reach), own.rows, after.rows.rows(0, reach)]
        first = len(view[0])
        scales = {
            name: sorted({s for day in (before, own, after) for s in day.scales.get(name, ())})
            for name in self._rules.channels
        }
        marks = self._rules.judge(join([part for part in view if len(part)]), scales)
        aside = {}
        for (rule, channel), some in marks.items():
            rows = np.flatnonzero(some[first : first + len(own.rows)])
            if len(rows):
                aside[rule, channel] = Aside(own.rows.time_us[rows], own.rows.values[channel][rows])
        differs = not same(aside, own.old)
        more, back = _told_apart(own, aside) if differs else (0, 0)
        return Judged(aside, own.scales, differs or own.news, more, back)

    def _marks(self, part: Part, aside: SetAside) -> Marks:
        """Which values of a part are set aside: those that say the same as the ones that are."""
        marks = {}
        own = self._preference.steps[part.origin] if self._preference.steps else {}
        for (rule, channel), some in aside.items():
            column = part.samples.values.get(channel)
            if column is None:
                continue
            rows, which = places(part.samples.time_us, some.time_us)
            step = np.full(len(rows), own.get(channel, 0.0))
            found = np.zeros(len(part), bool)
            found[rows] = alike(column[rows], some.values[which], step, np.zeros(len(rows)))
            if found.any():
                marks[rule, channel] = found
        return marks


def _told_apart(day: _Measured, aside: SetAside) -> tuple[int, int]:
    """Of the stored values: how many are newly set aside, how many no longer."""
    more = back = 0
    if day.stored is not None:
        for name, column in day.stored.values.items():
            old, new = _stamps(day.old, name), _stamps(aside, name)
            there = day.stored.time_us[~np.isnan(column)]
            more += len(np.intersect1d(np.setdiff1d(new, old), there))
            back += len(np.setdiff1d(old, new))
    return more, back


def _stamps(aside: SetAside, channel: str) -> NDArray[np.int64]:
    found = [some.time_us for (_, name), some in aside.items() if name == channel]
    return np.concatenate([np.empty(0, np.int64), *found])


def _of(part: Part, channels: frozenset[str]) -> Part:
    values = {name: column for name, column in part.samples.values.items() if name in channels}
    return Part(part.origin, Samples(part.samples.time_us, values), part.lines)


def _last(rows: Samples, count: int) -> Samples:
    """The last rows, which hold on to no others."""
    part = rows.rows(max(0, len(rows) - count), len(rows))
    return Samples(part.time_us.copy(), {name: column.copy() for name, column in part.values.items()})
