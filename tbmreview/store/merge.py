"""Merging rows that speak of the same time, channel by channel. Pure.

The parts come in order of preference, what is stored already first. At each stamp a channel has the
value of the first row that measured it; a later row fills what is missing and replaces nothing.
So the same rows again change nothing, and parts that agree give one result in any order.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.samples import Samples, join

STORED = -1  # the origin of rows that the drive has already

# Values closer than this part of themselves are one value: the same reading, brought to its
# canonical unit along two ways (from MN or from kN), differs by rounding.
SAME = 1e-9


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
    """

    samples: Samples
    kept: NDArray[np.int64]
    duplicates: NDArray[np.int64]
    conflicts: tuple[Conflict, ...]
    changed: bool


def merge(parts: Sequence[tuple[int, Samples]], origins: int) -> Merged:
    """Merge (origin, samples), most preferred first; origin is STORED or 0 <= origin < origins.

    A part need not be sorted nor its stamps unique; its earlier row is preferred. NaN is missing.
    """
    origin = np.concatenate([np.empty(0, np.int64), *(np.full(len(part), number) for number, part in parts)])
    rows = join([samples for _, samples in parts])
    order = np.argsort(rows.time_us, kind="stable")
    time_us, origin = rows.time_us[order], origin[order]
    first = np.ones(len(time_us), bool)
    first[1:] = time_us[1:] != time_us[:-1]
    grouped = _Grouped(
        np.flatnonzero(first), np.cumsum(first) - 1, first.copy(), np.zeros(len(first), np.int64)
    )
    values = {name: grouped.first_measured(name, column[order]) for name, column in rows.values.items()}
    new = origin != STORED
    clash = new & (grouped.differing > 0)
    kept = np.bincount(origin[new & grouped.used & ~clash], minlength=origins)
    duplicates = np.bincount(origin[new & ~grouped.used & ~clash], minlength=origins)
    return Merged(
        Samples(time_us[first], values),
        kept,
        duplicates,
        tuple(grouped.conflicts(np.flatnonzero(clash), time_us, origin)),
        changed=bool(np.any(new & grouped.used)),
    )


@dataclass(frozen=True, slots=True)
class _Grouped:
    """Rows sorted by stamp, and what is found out about them channel by channel.

    starts: (stamps,) first row of each stamp; group: (n,) number of each row's stamp; used: (n,)
    whether something of the row is in the result; differing: (n,) channels that differ from it.
    """

    starts: NDArray[np.int64]
    group: NDArray[np.int64]
    used: NDArray[np.bool_]
    differing: NDArray[np.int64]
    clashes: dict[str, tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]] = field(
        default_factory=dict
    )

    def first_measured(self, name: str, column: NDArray[np.float64]) -> NDArray[np.float64]:
        """The channel's value at each stamp, (stamps,)."""
        n = len(column)
        if len(self.starts) == n:
            return column
        measured = ~np.isnan(column)
        giver = np.minimum.reduceat(np.where(measured, np.arange(n), n), self.starts)
        given = giver[giver < n]
        self.used[given] = True
        values = np.full(len(self.starts), np.nan)
        values[giver < n] = column[given]
        kept = values[self.group]
        rows = np.flatnonzero(measured & (column != kept))
        rows = rows[~np.isclose(column[rows], kept[rows], rtol=SAME, atol=0.0)]
        if len(rows):
            self.differing[rows] += 1
            self.clashes[name] = (rows, kept[rows], column[rows])
        return values

    def conflicts(
        self, rows: NDArray[np.int64], time_us: NDArray[np.int64], origin: NDArray[np.int64]
    ) -> list[Conflict]:
        """What is known of the rows that clash."""
        told: dict[int, tuple[str, float, float]] = {}
        for name in sorted(self.clashes):
            for row, kept, offered in zip(*(part.tolist() for part in self.clashes[name]), strict=True):
                told.setdefault(row, (name, kept, offered))
        return [
            Conflict(int(origin[row]), int(time_us[row]), *told[row], int(self.differing[row]))
            for row in rows.tolist()
        ]
