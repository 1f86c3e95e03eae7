"""Merging rows that speak of the same time, channel by channel. Pure.

The parts come in order of preference, what is stored already first. At each stamp a channel has the
value of the first row that measured it; a later row fills what is missing and replaces nothing, unless
it says the same more finely: two values are one where they differ by less than the coarser of two print
steps, and the finer is kept. So the same rows again change nothing, and parts that agree give one result
in any order.

Where new rows are said to correct what is stored, they replace the stored values that they contradict.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.samples import Samples, join

STORED = -1  # the origin of rows that the drive has already

# Values closer than this part of themselves are one value: the same reading, brought to its
# canonical unit along two ways (from MN or from kN), differs by rounding.
SAME = 1e-9
_ROUNDING = 1e-6  # part of a print step by which a value may be off its multiple

Values = NDArray[np.float64]
Rows = NDArray[np.int64]
Flags = NDArray[np.bool_]
# Origin -> channel -> the print steps with which it was written, in the channel's unit: the last decimal
# that the source shows. 0, or a channel that is not listed: written in full.
Steps = Mapping[int, Mapping[str, Sequence[float]]]


@dataclass(frozen=True, slots=True)
class Conflict:
    """A new row whose stamp was there with other values: the first channel, by name, that differs,
    with the value kept and the one offered, and how many channels differ."""

    origin: int
    time_us: int
    channel: str
    kept: float
    offered: float
    channels: int


@dataclass(frozen=True, slots=True)
class Merged:
    """The rows of all parts, one a stamp, and what became of the new ones.

    kept, duplicates: (origins,) int64, rows of which something was stored; rows that agree and add
    nothing. A row with a conflict counts as neither.
    changed: whether the result holds anything that was not stored before.
    steps: channel -> print steps of the sources that its values are from.
    replaced: stamps at which a stored value gave way to one that corrects it.
    """

    samples: Samples
    kept: Rows
    duplicates: Rows
    conflicts: tuple[Conflict, ...]
    changed: bool
    steps: Mapping[str, frozenset[float]]
    replaced: int = 0


def merge(
    parts: Sequence[tuple[int, Samples]], origins: int, steps: Steps | None = None, *, correct: bool = False
) -> Merged:
    """Merge (origin, samples), most preferred first; origin is STORED or 0 <= origin < origins.

    A part need not be sorted nor its stamps unique; its earlier row is preferred. NaN is missing.
    correct: new values replace the stored ones that they contradict.
    """
    steps = steps or {}
    origin = np.concatenate([np.empty(0, np.int64), *(np.full(len(part), number) for number, part in parts)])
    rows = parts[0][1] if len(parts) == 1 else join([samples for _, samples in parts])
    if not np.all(rows.time_us[1:] > rows.time_us[:-1]):
        order = np.argsort(rows.time_us, kind="stable")
        rows = Samples(rows.time_us[order], {name: column[order] for name, column in rows.values.items()})
        origin = origin[order]
    first = np.ones(len(rows), bool)
    first[1:] = rows.time_us[1:] != rows.time_us[:-1]
    if first.all():
        return _all_apart(rows, origin, origins, steps)
    grouped = _Grouped.of(first, origin, steps, correct=correct)
    values = {name: grouped.value(name, column) for name, column in rows.values.items()}
    new = origin != STORED
    clash = new & (grouped.differing > 0)
    return Merged(
        Samples(rows.time_us[first], values),
        np.bincount(origin[new & grouped.used & ~clash], minlength=origins),
        np.bincount(origin[new & ~grouped.used & ~clash], minlength=origins),
        tuple(grouped.conflicts(np.flatnonzero(clash), rows.time_us)),
        changed=bool(np.any(new & grouped.used)),
        steps={name: frozenset(found) for name, found in grouped.found_steps.items()},
        replaced=int(grouped.replaced.sum()),
    )


def _all_apart(rows: Samples, origin: Rows, origins: int, steps: Steps) -> Merged:
    """No stamp comes twice: every row stays."""
    count = np.bincount(origin - STORED, minlength=origins - STORED)
    there = (np.flatnonzero(count) + STORED).tolist()
    found = {name: {s for number in there for s in _known(steps, number, name)} for name in rows.values}
    return Merged(
        rows,
        count[-STORED:],
        np.zeros(origins, np.int64),
        (),
        changed=bool(count[-STORED:].any()),
        steps={name: frozenset(known) for name, known in found.items()},
    )


def _known(steps: Steps, origin: int, channel: str) -> Sequence[float]:
    return steps.get(origin, {}).get(channel) or (0.0,)


def alike(one: Values, other: Values, one_step: Values, other_step: Values) -> Flags:
    """Where two values, (n,), say the same: equal but for rounding, or written with different print steps
    and apart by less than the coarser one (by which a value that was cut off may be low)."""
    with np.errstate(invalid="ignore"):
        coarser = np.maximum(one_step, other_step)
        differ = np.abs(one_step - other_step) > _ROUNDING * coarser
        near = differ & (np.abs(one - other) < coarser * (1 - _ROUNDING))
    return np.asarray(np.isclose(one, other, rtol=SAME, atol=0.0) | near)


def print_steps(values: Values, steps: Sequence[float]) -> Values:
    """(n,) step of each value: the coarsest of the steps of its source of which it is a multiple."""
    out = np.full(len(values), min(steps))
    with np.errstate(invalid="ignore"):
        for step in sorted(steps)[1:]:
            counts = values / step
            out[np.abs(counts - np.rint(counts)) < _ROUNDING * np.maximum(1.0, np.abs(counts) * SAME)] = step
    return out


@dataclass(frozen=True, slots=True)
class _Grouped:
    """Rows sorted by stamp, and what is found out about them channel by channel.

    starts: (stamps,) first row of each stamp; group: (n,) number of each row's stamp; used: (n,)
    whether something of the row is in the result; differing: (n,) channels that differ from it;
    replaced: (stamps,) whether a stored value was corrected.
    """

    starts: Rows
    group: Rows
    origin: Rows
    steps: Steps
    correct: bool
    used: Flags
    differing: Rows
    replaced: Flags
    clashes: dict[str, tuple[Rows, Values, Values]] = field(default_factory=dict)
    found_steps: dict[str, set[float]] = field(default_factory=dict)

    @classmethod
    def of(cls, first: Flags, origin: Rows, steps: Steps, *, correct: bool) -> "_Grouped":
        starts, group = np.flatnonzero(first), np.cumsum(first) - 1
        used, replaced = np.zeros(len(first), bool), np.zeros(len(starts), bool)
        used[starts] = True  # the stamp itself is kept, measured or not
        return cls(starts, group, origin, steps, correct, used, np.zeros(len(first), np.int64), replaced)

    def value(self, name: str, column: Values) -> Values:
        """The channel's value at each stamp, (stamps,)."""
        n = len(column)
        measured = ~np.isnan(column)
        step = self._step(name, column)
        giver = self._first(measured)
        if self.correct:
            giver = self._corrected(column, step, measured, giver)
        if n and step.min() < step.max():
            giver = self._finest(column, step, measured, giver)
        there = giver < n
        given = giver[there]
        self.used[given] = True
        for number in np.unique(self.origin[given]).tolist():
            self.found_steps.setdefault(name, set()).update(_known(self.steps, number, name))
        values, finest = np.full(len(giver), np.nan), np.zeros(len(giver))
        values[there], finest[there] = column[given], step[given]
        kept = values[self.group]
        rows = np.flatnonzero(measured & (column != kept))
        rows = rows[~alike(column[rows], kept[rows], step[rows], finest[self.group[rows]])]
        if len(rows):
            self.differing[rows] += 1
            self.clashes[name] = (rows, kept[rows], column[rows])
        return values

    def _first(self, rows: Flags) -> Rows:
        """(stamps,) the first of the marked rows at each stamp, n where there is none."""
        n = len(rows)
        return np.asarray(np.minimum.reduceat(np.where(rows, np.arange(n), n), self.starts))

    def _step(self, name: str, column: Values) -> Values:
        step = np.zeros(len(column))
        for number in np.unique(self.origin).tolist():
            own = self.origin == number
            step[own] = print_steps(column[own], _known(self.steps, number, name))
        return step

    def _corrected(self, column: Values, step: Values, measured: Flags, giver: Rows) -> Rows:
        """The giver of each stamp, a new row where it contradicts what is stored."""
        new = self._first(measured & (self.origin != STORED))
        at = np.flatnonzero((new < len(column)) & (giver != new))
        old, by = giver[at], new[at]
        at = at[~alike(column[old], column[by], step[old], step[by])]
        self.replaced[at] = True
        giver[at] = new[at]
        return giver

    def _finest(self, column: Values, step: Values, measured: Flags, giver: Rows) -> Rows:
        """The giver of each stamp, or the row that says the same most finely."""
        n = len(column)
        of = np.minimum(giver, n - 1)[self.group]
        news = (column != column[of]) | (self.origin[of] != STORED)  # the same again is none
        finer = measured & (step < step[of] * (1 - _ROUNDING)) & news
        finer[finer] = alike(column[finer], column[of[finer]], step[finer], step[of[finer]])
        least = np.minimum.reduceat(np.where(finer, step, np.inf), self.starts)
        best = self._first(finer & (step == least[self.group]))
        return np.where(best < n, best, giver)

    def conflicts(self, rows: Rows, time_us: Rows) -> list[Conflict]:
        """What is known of the rows that clash."""
        told: dict[int, tuple[str, float, float]] = {}
        for name in sorted(self.clashes):
            for row, kept, offered in zip(*(part.tolist() for part in self.clashes[name]), strict=True):
                told.setdefault(row, (name, kept, offered))
        return [
            Conflict(int(self.origin[row]), int(time_us[row]), *told[row], int(self.differing[row]))
            for row in rows.tolist()
        ]
