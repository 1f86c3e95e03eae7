"""The reaction strip: where the force of the pushing set goes, as a band."""

from functools import lru_cache

import numpy as np

from tbmreview.scene import lod
from tbmreview.scene.look import Look
from tbmreview.scene.measure import text_width
from tbmreview.scene.plan import Box, Boxes, Fill, Flags, Floats, Item, Label, StripFrame, Whole, level
from tbmreview.scene.rows import Rows

EDGE = 0.02  # shares of ring-reacted advance nearer to 0 or 1 than this are grippers or ring

# code, name of the role, words, height of the band in shares of the strip
KINDS: tuple[tuple[int, str, str, float], ...] = (
    (2, "grippers", "grippers", 0.35),
    (4, "ring", "ring", 1.0),
    (3, "part-ring", "part ring", 0.7),
    (1, "unknown", "not known", 0.12),
)


def codes_of(low: Floats, high: Floats, bored: Flags) -> Whole:
    """0 nothing bored, 1 not known, 2 grippers, 3 part ring, 4 ring, from the least and greatest
    ring-reacted share (n,) of what was bored there."""
    codes = np.where(bored, 1, 0)
    codes = np.where(np.isfinite(low), 3, codes)
    codes = np.where(high <= EDGE, 2, codes)
    return np.where(low >= 1 - EDGE, 4, codes).astype(np.int64)


def word(share: float) -> str:
    """The reaction of a bored step in words."""
    value = np.array([share])
    code = int(codes_of(value, value, np.array([True]))[0])
    return next(words for number, _, words, _ in KINDS if number == code)


def band(frame: StripFrame, rows: Rows, column: str) -> list[Item]:
    """By pixel column: grippers low, part ring taller, ring full, not known a line at the bottom."""
    if rows.bins is None:
        raise ValueError("rows were not binned by pixel column")
    low, high = lod.columns(rows[column], rows.bins)
    codes = codes_of(low, high, ~rows.bins.empty)
    turns = np.flatnonzero(codes[1:] != codes[:-1]) + 1
    first, last = np.concatenate([[0], turns]), np.concatenate([turns, [len(codes)]])
    items: list[Item] = []
    across, box = rows.across, frame.box
    for code, name, _, tall in KINDS:
        these = codes[first] == code
        if these.any():
            left = across.left + first[these] * across.column
            right = across.left + last[these] * across.column
            top = level(box.bottom - box.height * tall, left)
            items.append(Boxes(f"reaction-{name}", left, top, right, level(box.bottom, left)))
    return items


@lru_cache(maxsize=64)
def key(label: str, box: Box, look: Look) -> tuple[Item, ...]:
    """Name at left, and a swatch and a word for each reaction under it."""
    x, y = look.margin, box.top + look.text * 0.85
    items: list[Item] = [Label("strong", x, y, label, look.text, room=box.left - x - look.pad)]
    side = look.small * 0.8
    for i, (_, name, words, tall) in enumerate(KINDS):
        if i % 2 == 0:
            x, y = look.margin, y + look.small * 1.28
        if y > box.bottom + look.small * 0.3:
            break
        items.append(Fill(f"reaction-{name}", Box(x, y - side * tall, side, side * tall)))
        items.append(Label("small", x + side + look.pad, y, words, look.small))
        x += side + 3 * look.pad + text_width("grippers", look.small)
    return tuple(items)
