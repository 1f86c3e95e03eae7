"""How positions lie on the page, and the part of a profile that lies on it."""

from dataclasses import dataclass

import numpy as np

from tbmreview.domain.table import Table
from tbmreview.scene import lod
from tbmreview.scene.plan import Floats


@dataclass(frozen=True, slots=True)
class Across:
    """The page from left to right: the plot begins at `left` and has `columns` pixel columns of
    `column` units, which show the positions `view_m`."""

    left: float
    column: float
    columns: int
    view_m: tuple[float, float]

    @property
    def column_m(self) -> float:
        """Metres in a pixel column."""
        return (self.view_m[1] - self.view_m[0]) / self.columns

    @property
    def right(self) -> float:
        return self.left + self.column * self.columns

    @property
    def edges_m(self) -> Floats:
        """Positions (columns + 1,) between the pixel columns."""
        return np.linspace(self.view_m[0], self.view_m[1], self.columns + 1)

    def x(self, position_m: Floats) -> Floats:
        """Page x of positions, not clipped."""
        return self.left + (position_m - self.view_m[0]) / self.column_m * self.column

    def inside(self, position_m: Floats) -> Floats:
        """Page x of positions, those beyond the view at its edge."""
        return np.minimum(np.maximum(self.x(position_m), self.left), self.right)


@dataclass(frozen=True, slots=True)
class Rows:
    """The rows of a table of intervals that reach into the view, and where they lie on the page."""

    table: Table
    across: Across
    rows: slice
    from_m: Floats
    to_m: Floats
    left: Floats
    right: Floats
    bins: lod.Bins | None

    def __len__(self) -> int:
        return len(self.from_m)

    def __getitem__(self, column: str) -> Floats:
        return self.table[column][self.rows]

    def __contains__(self, column: object) -> bool:
        return column in self.table


def rows_in_view(table: Table, across: Across, *, by_column: bool = False) -> Rows:
    """The visible rows; by_column: also which of them reach into each pixel column."""
    rows = lod.visible(table["position_from_m"], table["position_to_m"], across.view_m)
    from_m, to_m = table["position_from_m"][rows], table["position_to_m"][rows]
    bins = lod.bins(from_m, to_m, across.edges_m) if by_column else None
    return Rows(table, across, rows, from_m, to_m, across.inside(from_m), across.inside(to_m), bins)
