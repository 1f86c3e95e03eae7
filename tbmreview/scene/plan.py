"""A draw plan: everything a picture shows, decided, in page units. Painting it takes no decisions.

One unit is 1/100 mm on paper; x runs right, y runs down. In the window the painter is scaled so
that the plan fills the widget. What something looks like (colour, pen, hatch, typeface) is chosen
by its `role` and lives in `paint` alone.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]


def level(value: float, like: Floats) -> Floats:
    """An array of one value, as long as another (numpy's own way takes ten times as long)."""
    made = np.empty(len(like))
    made.fill(value)
    return made


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle in units."""

    left: float
    top: float
    width: float
    height: float

    @property
    def right(self) -> float:
        return self.left + self.width

    @property
    def bottom(self) -> float:
        return self.top + self.height


@dataclass(frozen=True, slots=True)
class Segments:
    """Separate straight lines, each array of shape (n,) in units. `clip` keeps them inside a box."""

    role: str
    x1: Floats
    y1: Floats
    x2: Floats
    y2: Floats
    clip: Box | None = None


@dataclass(frozen=True, slots=True)
class Fill:
    """A filled rectangle, with a hatch (domain.ground.HATCHES) where named. The hatch is laid out
    from `anchor` (an x in units), so that it moves with the ground instead of the window."""

    role: str
    box: Box
    hatch: str = ""
    anchor: float = 0.0


@dataclass(frozen=True, slots=True)
class Boxes:
    """Filled rectangles of one role and hatch, each array of shape (n,) in units; like many `Fill`."""

    role: str
    left: Floats
    top: Floats
    right: Floats
    bottom: Floats
    hatch: str = ""
    anchor: Floats | None = None


@dataclass(frozen=True, slots=True)
class Label:
    """Text whose baseline begins, is centred or ends at (x, y), by `align`: left, centre or right.

    height is the type size (em) in units; turned: reads upwards. `room` is the width it may take:
    the painter shortens it with an ellipsis rather than draw past it (0: no limit). Labels lie on top
    of everything else.
    """

    role: str
    x: float
    y: float
    text: str
    height: float
    align: str = "left"
    turned: bool = False
    room: float = 0.0


Item = Segments | Fill | Boxes | Label


@dataclass(frozen=True, slots=True)
class StripFrame:
    """Where a strip lies and what its heights mean: `low` at the bottom, `high` at the top."""

    name: str
    label: str
    unit: str
    box: Box
    low: float
    high: float
    logarithmic: bool = False


@dataclass(frozen=True, slots=True)
class RowFrame:
    """Where a row that is no strip lies: a ground kind (domain.ground.GROUND_KINDS) or 'findings'."""

    name: str
    box: Box


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole picture. `plot` is the box of the shared chainage axis, from `view_m[0]` at its left
    to `view_m[1]` at its right (positions in m). `notices` say in words what the picture reduces."""

    width: float
    height: float
    plot: Box
    view_m: tuple[float, float]
    strips: tuple[StripFrame, ...]
    items: tuple[Item, ...]
    notices: tuple[str, ...] = ()
    rows: tuple[RowFrame, ...] = ()
