"""Series of a strip as lines: steps where they are wider than pixels, else least-to-greatest columns."""

from dataclasses import dataclass

import numpy as np

from tbmreview.domain.table import Table
from tbmreview.scene import lod
from tbmreview.scene.plan import Floats, Item, Segments, StripFrame


@dataclass(frozen=True, slots=True)
class Across:
    """How positions lie on the page: the plot from `left`, `columns` pixel columns of `column` units."""

    left: float
    column: float
    columns: int
    view_m: tuple[float, float]

    @property
    def column_m(self) -> float:
        return (self.view_m[1] - self.view_m[0]) / self.columns

    @property
    def right(self) -> float:
        return self.left + self.column * self.columns

    def x(self, position_m: Floats) -> Floats:
        """Page x of positions, not clipped."""
        return self.left + (position_m - self.view_m[0]) / self.column_m * self.column

    def inside(self, position_m: Floats) -> Floats:
        """Page x of positions, those beyond the view at its edge."""
        return np.clip(self.x(position_m), self.left, self.right)

    def position_m(self, x: float) -> float:
        """Position at a page x."""
        return self.view_m[0] + (x - self.left) / self.column * self.column_m

    @property
    def edges_m(self) -> Floats:
        return np.linspace(self.view_m[0], self.view_m[1], self.columns + 1)


def heights(frame: StripFrame, values: Floats) -> Floats:
    """Page y of values; those beyond the scale lie on its edge, NaN stays NaN."""
    low, high = frame.low, frame.high
    if frame.logarithmic:
        values = np.log10(np.maximum(values, low))  # NaN stays NaN; 0 and below lie on the edge
        low, high = np.log10(low), np.log10(high)
    share = np.clip((values - low) / (high - low), 0.0, 1.0)
    return np.asarray(frame.box.bottom - share * frame.box.height)


def step_lines(role: str, frame: StripFrame, across: Across, table: Table, column: str) -> list[Item]:
    """A column as steps: a level line a row and risers between rows that join; a gap stays a gap."""
    rows = lod.visible(table["position_from_m"], table["position_to_m"], across.view_m)
    from_m, to_m = table["position_from_m"][rows], table["position_to_m"][rows]
    values = table[column][rows]
    y = heights(frame, values)
    known = np.isfinite(values)
    joint = lod.risers(from_m, to_m, values, across.column_m / 2)
    left, right = across.inside(from_m), across.inside(to_m)
    turn = left[joint + 1]
    right = right.copy()
    right[joint] = turn
    return [
        Segments(
            role,
            np.r_[left[known], turn],
            np.r_[y[known], y[joint]],
            np.r_[right[known], turn],
            np.r_[y[known], y[joint + 1]],
        )
    ]


def column_lines(role: str, frame: StripFrame, across: Across, table: Table, column: str) -> list[Item]:
    """A column as one upright line a pixel column, from its least to its greatest value there."""
    rows = lod.visible(table["position_from_m"], table["position_to_m"], across.view_m)
    low, high = lod.columns(
        table["position_from_m"][rows], table["position_to_m"][rows], table[column][rows], across.edges_m
    )
    known = np.isfinite(low)
    x: Floats = across.left + (np.flatnonzero(known).astype(np.float64) + 0.5) * across.column
    y1, y2 = heights(frame, low[known]), heights(frame, high[known])
    short = (y1 - y2) < across.column  # a single value still shows
    y1 = np.where(short, y1 + across.column / 2, y1)
    y2 = np.where(short, y2 - across.column / 2, y2)
    return [Segments(role, x, np.minimum(y1, frame.box.bottom), x, np.maximum(y2, frame.box.top))]


def off_scale(frame: StripFrame, across: Across, table: Table, columns: list[str]) -> list[Item]:
    """Ticks at the edge of a strip where a value lies beyond its scale."""
    rows = lod.visible(table["position_from_m"], table["position_to_m"], across.view_m)
    over, under = [], []
    for column in columns:
        values = table[column][rows]
        middle = (table["position_from_m"][rows] + table["position_to_m"][rows]) / 2
        over.append(middle[values > frame.high])
        under.append(middle[values < frame.low])
    items: list[Item] = []
    length = min(6 * across.column, frame.box.height / 6)
    for places, y, towards in ((over, frame.box.top, length), (under, frame.box.bottom, -length)):
        pixel = np.unique(np.floor((across.inside(np.concatenate(places)) - across.left) / across.column))
        if len(pixel):
            x = across.left + (np.minimum(pixel, across.columns - 1) + 0.5) * across.column
            items.append(Segments("off-scale", x, np.full_like(x, y), x, np.full_like(x, y + towards)))
    return items
