"""One strip: grid, values, limit, edges, and name, unit and key at its left."""

import math
from dataclasses import dataclass

import numpy as np

from tbmreview.domain.setup import Setup
from tbmreview.domain.table import Table
from tbmreview.scene import curves, reaction, ticks
from tbmreview.scene.extent import extent, scale
from tbmreview.scene.look import Look
from tbmreview.scene.measure import text_width
from tbmreview.scene.plan import Box, Item, Label, Segments, StripFrame
from tbmreview.scene.rows import Rows
from tbmreview.scene.strips import BY_NAME, GROSS, NET, REACTION, Strip


@dataclass(frozen=True, slots=True)
class Shown:
    """The profile shown: `fine` at the stated step; `level` at a coarser one where a step is narrower
    than the pixels, None where the steps show themselves."""

    step_m: float
    fine: Rows
    level_m: float | None
    level: Rows | None


def frame_of(strip: Strip, box: Box, table: Table, rows: slice | None, setup: Setup) -> StripFrame:
    """The strip's box with its scale. rows: those that the scale follows, None for the whole drive."""
    if strip.kind == REACTION:
        return StripFrame(strip.name, strip.label, strip.unit, box, 0.0, 1.0)
    columns = [table[s.column] for s in strip.series if s.column in table]
    known = [extent(c if rows is None else c[rows]) for c in columns]
    limit = limit_of(strip, setup)
    reach = math.nan if limit is None else limit
    low, high = scale(known, logarithmic=strip.logarithmic, at_least=reach)
    return StripFrame(strip.name, strip.label, strip.unit, box, low, high, strip.logarithmic)


def strip_items(frame: StripFrame, shown: Shown, setup: Setup, look: Look) -> list[Item]:
    """Everything of a strip, from its grid to its words."""
    strip, box = BY_NAME[frame.name], frame.box
    if strip.kind == REACTION:
        column = strip.series[0].column
        drawn = reaction.band(frame, shown.fine, column) if column in shown.fine else []
        return [*drawn, frame_lines(box), *reaction.key(strip, box, look)]
    roles = tuple(s.role for s in strip.series if s.column in shown.fine)
    return [
        *grid(frame, look),
        *values(strip, frame, shown),
        *limit_line(strip, frame, setup, look),
        frame_lines(box),
        *title(strip, box, roles, look),
    ]


def limit_of(strip: Strip, setup: Setup) -> float | None:
    """The limit that a strip draws, where the setup gives it."""
    return getattr(setup.machine, strip.limit) if strip.limit else None


def grid(frame: StripFrame, look: Look) -> list[Item]:
    """Level lines, their values at left."""
    box = frame.box
    choose = ticks.log_ticks if frame.logarithmic else ticks.value_ticks
    apart = min(max(look.small * 1.8 / box.height, 0.19), 1.0)
    marked = choose(frame.low, frame.high, apart)
    y = curves.heights(frame, marked)
    items: list[Item] = [Segments("grid", np.full_like(y, box.left), y, np.full_like(y, box.right), y)]
    for value, at in zip(marked.tolist(), y.tolist(), strict=True):
        base = min(max(at + look.small * 0.35, box.top + look.small * 0.75), box.bottom)
        text = ticks.value_text(value)
        items.append(Label("small", box.left - look.pad * 1.5, base, text, look.small, "right"))
    return items


def values(strip: Strip, frame: StripFrame, shown: Shown) -> list[Item]:
    """The series: steps, or columns from least to greatest with the coarser steps over them."""
    series = [s for s in strip.series if s.column in shown.fine]
    items: list[Item] = []
    if shown.level is not None:
        items += [curves.column_lines(f"range-{s.role}", frame, shown.fine, s.column) for s in series]
    if shown.level is None or not strip.adds:
        rows = shown.level or shown.fine
        items += [curves.step_lines(f"line-{s.role}", frame, rows, s.column) for s in series]
    return items + curves.off_scale(frame, shown.fine, [s.column for s in series])


def limit_line(strip: Strip, frame: StripFrame, setup: Setup, look: Look) -> list[Item]:
    """The limit and its value, where given."""
    value = limit_of(strip, setup)
    if value is None:
        return []
    box, y = frame.box, curves.heights(frame, np.array([value]))
    text = f"limit {ticks.value_text(value)} {strip.unit}"
    return [
        Segments("limit", np.array([box.left]), y, np.array([box.right]), y),
        Label("limit", box.right - look.pad, float(y[0]) - look.pad * 0.7, text, look.small, "right"),
    ]


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


def title(strip: Strip, box: Box, roles: tuple[str, ...], look: Look) -> list[Item]:
    """Name, unit and key at the strip's left, as far down as the strip goes."""
    x, y = look.margin, box.top + look.text * 0.85
    room = box.left - look.margin - look.small * 3.6
    items: list[Item] = [Label("strong", x, y, strip.label, look.text, room=room)]
    y += look.small * 1.35
    items.append(Label("unit", x, y, strip.unit, look.small, room=room))
    y += look.small * 1.35
    if y > box.bottom + look.small * 0.3:
        return items
    for role in (NET, GROSS):
        if role in roles:
            end = x + look.small * 1.6
            level = np.array([y - look.small * 0.33])
            items.append(Segments(f"line-{role}", np.array([x]), level, np.array([end]), level))
            items.append(Label("small", end + look.pad, y, role, look.small))
            x = end + 2.5 * look.pad + text_width(role, look.small)
    return items
