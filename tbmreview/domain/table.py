"""A table: named columns of one length. Cells, strokes, periods and profiles are tables."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Column = NDArray[Any]


@dataclass(frozen=True, slots=True)
class Table:
    """Read-only columns, each of shape (n,). NaN in a float column means *not measured*.

    Numbers are float64 or int64 (codes int8); text columns have dtype object and hold str.
    """

    columns: Mapping[str, Column]

    def __post_init__(self) -> None:
        lengths = {name: len(values) for name, values in self.columns.items()}
        if len(set(lengths.values())) > 1:
            raise ValueError(f"columns of one table must have one length, got {lengths}")
        for values in self.columns.values():
            values.setflags(write=False)

    def __len__(self) -> int:
        return len(next(iter(self.columns.values()))) if self.columns else 0

    def __getitem__(self, name: str) -> Column:
        return self.columns[name]

    def __contains__(self, name: object) -> bool:
        return name in self.columns

    def __iter__(self) -> Iterator[str]:
        return iter(self.columns)

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(self.columns)

    def rows(self, selection: NDArray[Any] | slice) -> "Table":
        """The rows of a mask, an index array or a slice; columns that are one stay one.

        Raises IndexError for a mask of another length.
        """
        if isinstance(selection, np.ndarray) and selection.dtype == np.bool_:
            if len(selection) != len(self):
                raise IndexError(f"a mask of {len(selection)} for a table of {len(self)} rows")
            selection = np.flatnonzero(selection)  # once for all columns; each is then taken in half the time
        kept = {id(values): values[selection] for values in self.columns.values()}
        return Table({name: kept[id(values)] for name, values in self.columns.items()})

    def with_columns(self, more: Mapping[str, Column]) -> "Table":
        """The same rows with columns added or replaced."""
        return Table({**self.columns, **more})


def stack(tables: Sequence[Table]) -> Table:
    """Rows of several tables with the same columns, one after the other."""
    if not tables:
        raise ValueError("no tables to stack")
    names = tables[0].names
    return Table({name: np.concatenate([t[name] for t in tables]) for name in names})
