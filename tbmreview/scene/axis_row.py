"""The shared chainage axis below the strips, and its upright grid."""

from functools import lru_cache

import numpy as np

from tbmreview.domain.station import Axis
from tbmreview.scene import ticks
from tbmreview.scene.look import Look
from tbmreview.scene.measure import text_width
from tbmreview.scene.plan import Box, Floats, Item, Label, Segments, level
from tbmreview.scene.rows import Across

TITLE = "Chainage [m]"
DIRECTION = "direction of drive"


def upright_grid(axis: Axis, plot: Box, across: Across, look: Look) -> list[Item]:
    """Lines at the axis' ticks through all strips."""
    places, _, _ = _ticks(axis, across, look)
    x = across.x(places)
    return [Segments("grid", x, level(plot.top, x), x, level(plot.bottom, x))]


def axis_row(axis: Axis, box: Box, across: Across, look: Look) -> list[Item]:
    """Ticks, chainages, title, and an arrow that says which way the drive runs."""
    places, texts, fine = _ticks(axis, across, look)
    x, fine_x = across.x(places), across.x(fine)
    top, tick = level(box.top, x), 1.5 * look.pad
    fine_top = level(box.top, fine_x)
    edge = np.array([box.top])
    items: list[Item] = [
        Segments("frame", np.array([box.left]), edge, np.array([box.right]), edge),
        Segments("tick", x, top, x, top + tick),
        Segments("tick", fine_x, fine_top, fine_x, fine_top + tick / 2),
    ]
    base = box.top + tick + look.small
    for at, text in zip(x.tolist(), texts, strict=True):
        half = text_width(text, look.small) / 2
        place = min(max(at, box.left + half), box.right - half)
        items.append(Label("small", place, base, text, look.small, "centre"))
    base += look.text * 1.35
    items.append(Label("strong", box.left + box.width / 2, base, TITLE, look.text, "centre"))
    return items + _arrow(box, base, look)


@lru_cache(maxsize=8)
def _ticks(axis: Axis, across: Across, look: Look) -> tuple[Floats, list[str], Floats]:
    apart = text_width("00+000.00", look.small) * 1.35
    return ticks.chainage_ticks(axis, across.view_m, apart / across.column * across.column_m)


def _arrow(box: Box, base: float, look: Look) -> list[Item]:
    """The direction of the drive at the right end of the title's line, where there is room."""
    width = text_width(DIRECTION, look.small)
    length = 3 * look.small
    if box.width < 2 * (width + length) + 2 * text_width(TITLE, look.text):
        return []
    tip, y, head = box.right, base - look.small * 0.33, look.small * 0.35
    return [
        Label("small", tip - length - look.pad, base, DIRECTION, look.small, "right"),
        Segments(
            "tick",
            np.array([tip - length, tip - head, tip - head]),
            np.array([y, y - head, y + head]),
            np.array([tip, tip, tip]),
            np.array([y, y, y]),
        ),
    ]
