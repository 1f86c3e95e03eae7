"""Marks as boxes in a row of their own, and their ends across the strips."""

from collections.abc import Sequence

import numpy as np

from tbmreview.domain.marks import Mark
from tbmreview.scene.look import Look
from tbmreview.scene.measure import text_width
from tbmreview.scene.plan import Box, Boxes, Floats, Item, Label, Segments, level
from tbmreview.scene.rows import Across

MOST_LANES = 3  # of marks that overlap; beyond it they share the last


def in_view(marks: Sequence[Mark], across: Across) -> list[Mark]:
    """The marks that reach into the view, along position."""
    low, high = across.view_m
    return [m for m in marks if m.position_to_m >= low and m.position_from_m <= high]


def lanes(marks: Sequence[Mark]) -> list[int]:
    """A lane for each mark, from 0 down, so that marks that overlap lie below each other."""
    ends: list[float] = []
    chosen = []
    for mark in marks:
        free = next((i for i, end in enumerate(ends) if end <= mark.position_from_m), len(ends))
        lane = min(free, MOST_LANES - 1)
        ends[lane : lane + 1] = [mark.position_to_m]
        chosen.append(lane)
    return chosen


def lane_count(marks: Sequence[Mark]) -> int:
    """How many lanes the marks of a drive need; 0 without marks."""
    return max(lanes(marks), default=-1) + 1


def ends(marks: Sequence[Mark], plot: Box, across: Across) -> list[Item]:
    """Dashed lines through the strips where marks begin and end."""
    if not marks:
        return []
    places = np.array([(m.position_from_m, m.position_to_m) for m in marks], np.float64).ravel()
    x = across.x(places[(places >= across.view_m[0]) & (places <= across.view_m[1])])
    return [Segments("mark-end", x, level(plot.top, x), x, level(plot.bottom, x))]


def boxes(
    marks: Sequence[Mark],
    stacked: tuple[Sequence[int], int],
    chosen: str,
    box: Box,
    across: Across,
    look: Look,
) -> list[Item]:
    """A box a mark in its lane, whiskers for how sure its ends are, its id and kind where there is room.

    stacked: (the lane of each mark, how many lanes there are).
    """
    lane, count = stacked
    height = box.height / count
    items: list[Item] = []
    for mark, row in zip(marks, lane, strict=True):
        left, right = across.inside(np.array([mark.position_from_m, mark.position_to_m])).tolist()
        right = max(right, left + 2 * across.column)
        top, bottom = box.top + row * height + look.pad / 4, box.top + (row + 1) * height - look.pad / 4
        role = "mark-selected" if chosen and mark.id == chosen else "mark"
        items.append(Boxes(role, np.array([left]), np.array([top]), np.array([right]), np.array([bottom])))
        items += _outline((left, right), (top, bottom))
        items += _whiskers(mark, (top + bottom) / 2, across)
        items += _name(mark, (left, right), (top, bottom), look)
    return items


def _outline(across_x: tuple[float, float], down: tuple[float, float]) -> list[Item]:
    (left, right), (top, bottom) = across_x, down
    x1, y1 = np.array([left, right, left, left]), np.array([top, top, top, bottom])
    x2, y2 = np.array([left, right, right, right]), np.array([bottom, bottom, top, bottom])
    return [Segments("mark-frame", x1, y1, x2, y2)]


def _whiskers(mark: Mark, y: float, across: Across) -> list[Item]:
    """A level line over the 95 % interval of each end whose uncertainty is stated."""
    known = [
        (place - half, place + half)
        for place, half in ((mark.position_from_m, mark.from_u95_m), (mark.position_to_m, mark.to_u95_m))
        if half > 0
    ]
    if not known:
        return []
    spans: Floats = across.inside(np.array(known, np.float64))
    return [Segments("mark-frame", spans[:, 0], level(y, spans[:, 0]), spans[:, 1], level(y, spans[:, 1]))]


def _name(mark: Mark, across_x: tuple[float, float], down: tuple[float, float], look: Look) -> list[Item]:
    """The longest of 'M1 fault zone' and 'M1' that fits."""
    size = min(look.small, (down[1] - down[0]) * 0.8)
    for text in (f"{mark.id} {mark.kind}", mark.id):
        width = text_width(text, size)
        if width + look.pad <= across_x[1] - across_x[0]:
            base = sum(down) / 2 + size * 0.35
            return [Label("mark-name", sum(across_x) / 2, base, text, size, "centre", room=width)]
    return []
