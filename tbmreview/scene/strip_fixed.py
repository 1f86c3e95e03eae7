"""What of a strip does not change while the view moves: grid, limit, edges, name, unit and key."""

from functools import lru_cache

import numpy as np

from tbmreview.scene import curves, ticks
from tbmreview.scene.look import Look
from tbmreview.scene.measure import text_width
from tbmreview.scene.plan import Box, Item, Label, Segments, StripFrame, level
from tbmreview.scene.strips import GROSS, NET

_KEPT = 256  # pictures ask for the same strips again and again


@lru_cache(maxsize=_KEPT)
def grid(frame: StripFrame, look: Look) -> tuple[Item, ...]:
    """Level lines, their values at left."""
    box = frame.box
    choose = ticks.log_ticks if frame.logarithmic else ticks.value_ticks
    apart = min(max(look.small * 1.8 / box.height, 0.19), 1.0)
    marked = choose(frame.low, frame.high, apart)
    y = curves.heights(frame, marked)
    items: list[Item] = [Segments("grid", level(box.left, y), y, level(box.right, y), y)]
    for value, at in zip(marked.tolist(), y.tolist(), strict=True):
        base = min(max(at + look.small * 0.35, box.top + look.small * 0.75), box.bottom)
        text = ticks.value_text(value)
        items.append(Label("small", box.left - look.pad * 1.5, base, text, look.small, "right"))
    return tuple(items)


@lru_cache(maxsize=_KEPT)
def limit_line(frame: StripFrame, value: float, look: Look) -> tuple[Item, ...]:
    """A limit and its value."""
    box, y = frame.box, curves.heights(frame, np.array([value]))
    text = f"limit {ticks.value_text(value)} {frame.unit}"
    return (
        Segments("limit", np.array([box.left]), y, np.array([box.right]), y),
        Label("limit", box.right - look.pad, float(y[0]) - look.pad * 0.7, text, look.small, "right"),
    )


@lru_cache(maxsize=_KEPT)
def frame_lines(box: Box) -> Segments:
    """A strip's left and lower edge."""
    left, bottom = box.left, box.bottom
    return Segments(
        "frame",
        np.array([left, left]),
        np.array([box.top, bottom]),
        np.array([left, box.right]),
        np.array([bottom, bottom]),
    )


@lru_cache(maxsize=_KEPT)
def title(frame: StripFrame, roles: tuple[str, ...], look: Look) -> tuple[Item, ...]:
    """Name, unit and key at the strip's left, as far down as the strip goes."""
    box = frame.box
    x, y = look.margin, box.top + look.text * 0.85
    room = box.left - look.margin - look.small * 3.6
    items: list[Item] = [Label("strong", x, y, frame.label, look.text, room=room)]
    y += look.small * 1.35
    items.append(Label("unit", x, y, frame.unit, look.small, room=room))
    y += look.small * 1.35
    if y > box.bottom + look.small * 0.3:
        return tuple(items)
    for role in (NET, GROSS):
        if role in roles:
            end = x + look.small * 1.6
            middle = np.array([y - look.small * 0.33])
            items.append(Segments(f"line-{role}", np.array([x]), middle, np.array([end]), middle))
            items.append(Label("small", end + look.pad, y, role, look.small))
            x = end + 2.5 * look.pad + text_width(role, look.small)
    return tuple(items)
