"""Samples: logged instants in canonical channels and units."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

MICROSECONDS = 1_000_000
DAY_US = 86_400 * MICROSECONDS


@dataclass(frozen=True, slots=True)
class Samples:
    """Canonical samples, sorted by time, no stamp twice.

    time_us: (n,) int64, microseconds since 1970-01-01T00:00Z.
    values: channel name -> (n,) float64 in the channel's canonical unit; NaN is *not measured*.
        A channel that the log does not have is absent, not a column of NaN.
    """

    time_us: NDArray[np.int64]
    values: Mapping[str, NDArray[np.float64]]

    def __post_init__(self) -> None:
        for name, column in self.values.items():
            if len(column) != len(self.time_us):
                raise ValueError(f"{name} has {len(column)} values for {len(self.time_us)} stamps")
            column.setflags(write=False)
        self.time_us.setflags(write=False)

    def __len__(self) -> int:
        return len(self.time_us)

    def has(self, name: str) -> bool:
        return name in self.values

    def get(self, name: str) -> NDArray[np.float64]:
        """The channel, or all NaN where the log has none."""
        found = self.values.get(name)
        return np.full(len(self), np.nan) if found is None else found

    def between(self, start_us: int, end_us: int) -> "Samples":
        """The samples with start_us <= time < end_us."""
        i, j = np.searchsorted(self.time_us, (start_us, end_us))
        return self.rows(i, j)

    def rows(self, start: int, end: int) -> "Samples":
        """Samples start <= i < end, as views."""
        return Samples(self.time_us[start:end], {k: v[start:end] for k, v in self.values.items()})


def join(parts: Sequence[Samples]) -> Samples:
    """Parts that follow each other in time, as one. A channel missing in a part is NaN there."""
    names = sorted({name for part in parts for name in part.values})
    time_us = np.concatenate([np.empty(0, np.int64), *(part.time_us for part in parts)])
    return Samples(time_us, {name: np.concatenate([p.get(name) for p in parts]) for name in names})
