"""Hatches as families of lines cut to their boxes by arithmetic, so that every device draws the same."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tbmreview.paint.style import HATCHES, Family
from tbmreview.scene.plan import Floats, Whole

_ENDLESS = 1e9  # dash of an unbroken line, in units
_FAMILIES: tuple[Family, ...] = tuple(family for families in HATCHES.values() for family in families)
_NUMBERS: dict[str, list[int]] = {
    name: [i for i, family in enumerate(_FAMILIES) if family in HATCHES[name]] for name in HATCHES
}
# direction x, direction y (down), distance, dash, period, shift of every second line
_TABLE: Floats = np.array(
    [
        (
            math.cos(math.radians(f.angle)),
            -math.sin(math.radians(f.angle)),
            f.apart,
            f.dash or _ENDLESS,
            f.dash + f.gap if f.dash else 2 * _ENDLESS,
            f.shift if f.dash else -_ENDLESS / 2,
        )
        for f in _FAMILIES
    ]
)


@dataclass(frozen=True, slots=True)
class _Lines:
    """Lines (n,) through (x, y) along (ax, ay), from `enter` to `leave` along them."""

    x: Floats
    y: Floats
    ax: Floats
    ay: Floats
    enter: Floats
    leave: Floats

    def ends(self) -> Floats:
        keep = self.leave - self.enter > 1e-6
        x, y, ax, ay = (column[keep] for column in (self.x, self.y, self.ax, self.ay))
        enter, leave = self.enter[keep], self.leave[keep]
        return np.stack([x + enter * ax, y + enter * ay, x + leave * ax, y + leave * ay], axis=1)


def hatch_lines(hatches: Sequence[str], boxes: Floats) -> Floats:
    """Lines (n, 4) as x1, y1, x2, y2 that hatch each of the boxes (k, 5): left, top, right, bottom and
    anchor x, from which lines are counted: a pattern moves with its box, and cutting a box off does
    not move it.
    """
    pairs = [(box, number) for box, name in enumerate(hatches) for number in _NUMBERS[name]]
    if not pairs:
        return np.empty((0, 4))
    box, number = np.array(pairs, np.int64).T
    family, place = _TABLE[number], boxes[box]
    line, index = _numbered(family, place)
    family, place = family[line], place[line]
    ax, ay, apart = family[:, 0], family[:, 1], family[:, 2]
    x, y = place[:, 4] - index * apart * ay, place[:, 1] + index * apart * ax
    enter, leave = _cut(x, ax, place[:, 0], place[:, 2])
    enter_y, leave_y = _cut(y, ay, place[:, 1], place[:, 3])
    found = _Lines(x, y, ax, ay, np.maximum(enter, enter_y), np.minimum(leave, leave_y))
    return _dashed(found, family, index).ends()


def _spread(count: Whole) -> tuple[Whole, Whole]:
    """For counts (k,): the owner of each of their sum of pieces, and its number with its owner."""
    owner = np.repeat(np.arange(len(count)), count)
    return owner, np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)


def _numbered(family: Floats, place: Floats) -> tuple[Whole, Whole]:
    """The lines of each family that can meet its box: number of the pair, number of the line."""
    nx, ny, apart = -family[:, 1], family[:, 0], family[:, 2]
    side = np.stack([place[:, 0] - place[:, 4], place[:, 2] - place[:, 4]]) * nx
    down = (place[:, 3] - place[:, 1]) * ny
    least = side.min(axis=0) + np.minimum(down, 0.0)
    most = side.max(axis=0) + np.maximum(down, 0.0)
    first = np.ceil(least / apart + 1e-9).astype(np.int64)
    last = np.floor(most / apart - 1e-9).astype(np.int64)
    line, index = _spread(np.maximum(last - first + 1, 0))
    return line, index + first[line]


def _cut(at: Floats, along: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Where lines through `at` enter and leave low..high on one side of the page."""
    level = np.abs(along) < 1e-12
    slope = np.where(level, 1.0, along)
    one, other = (low - at) / slope, (high - at) / slope
    inside = np.where((at >= low) & (at <= high), np.inf, -np.inf)
    return np.where(level, -inside, np.minimum(one, other)), np.where(level, inside, np.maximum(one, other))


def _dashed(lines: _Lines, family: Floats, index: Whole) -> _Lines:
    """The dashes of each line between where it enters and leaves."""
    dash, period = family[:, 3], family[:, 4]
    offset = np.where((index % 2 == 0) & (dash < _ENDLESS), 0.0, family[:, 5])
    met = lines.leave > lines.enter
    enter, leave = np.where(met, lines.enter, 0.0), np.where(met, lines.leave, 0.0)
    first = np.floor((enter - offset) / period).astype(np.int64)
    last = np.floor((leave - offset) / period).astype(np.int64)
    line, number = _spread(np.where(met, last - first + 1, 0))
    begin = offset[line] + (number + first[line]) * period[line]
    return _Lines(
        lines.x[line],
        lines.y[line],
        lines.ax[line],
        lines.ay[line],
        np.maximum(begin, enter[line]),
        np.minimum(begin + dash[line], leave[line]),
    )
