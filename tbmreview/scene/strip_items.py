"""One strip: its ground, grid, values, name, unit and key."""

import math
from dataclasses import dataclass

import numpy as np

from tbmreview.domain.setup import Setup
from tbmreview.domain.table import Table
from tbmreview.scene import curves, lod, ticks
from tbmreview.scene.curves import Across
from tbmreview.scene.extent import extent, scale
from tbmreview.scene.look import Look
from tbmreview.scene.measure import text_width
from tbmreview.scene.plan import Box, Fill, Flags, Floats, Item, Label, Segments, StripFrame, Whole
from tbmreview.scene.strips import BY_NAME, GROSS, NET, REACTION, Strip

REACTION_EDGE = 0.02  # shares of ring-reacted advance nearer to 0 or 1 than this are grippers or ring


@dataclass(frozen=True, slots=True)
class Values:
    """The profile shown: `fine` at the stated step; `level` at a coarser one where a step is narrower
    than the pixels, None where the steps show themselves."""

    step_m: float
    fine: Table
    level_m: float | None
    level: Table | None


def frame_of(strip: Strip, box: Box, table: Table, rows: slice, setup: Setup) -> StripFrame:
    """The strip's box with its scale. rows: those the scale follows."""
    if strip.kind == REACTION:
        return StripFrame(strip.name, strip.label, strip.unit, box, 0.0, 1.0)
    shown = [table[s.column] for s in strip.series if s.column in table]
    whole = rows == slice(None)
    known = [extent(c if whole else c[rows]) for c in shown]
    reach = limit_of(strip, setup)
    low, high = scale(known, logarithmic=strip.logarithmic, at_least=math.nan if reach is None else reach)
    return StripFrame(strip.name, strip.label, strip.unit, box, low, high, strip.logarithmic)


def strip_items(frame: StripFrame, across: Across, shown: Values, setup: Setup, look: Look) -> list[Item]:
    """Everything of a strip: grid, values, limit, edges, words at left."""
    strip, box = BY_NAME[frame.name], frame.box
    roles = tuple(s.role for s in strip.series if s.column in shown.fine)
    items = [] if strip.kind == REACTION else grid(frame, look)
    items += values(strip, frame, across, shown)
    items += limit_line(strip, frame, setup, look)
    items += frame_lines(box)
    items += title(strip, box, roles, look)
    return items + (reaction_key(box, look) if strip.kind == REACTION else [])


def limit_of(strip: Strip, setup: Setup) -> float | None:
    """The limit a strip draws, where the setup gives it."""
    return getattr(setup.machine, strip.limit) if strip.limit else None


def grid(frame: StripFrame, look: Look) -> list[Item]:
    """Level lines and their values at left."""
    box = frame.box
    most = max(2, int(box.height / (look.small * 1.9)))
    choose = ticks.log_ticks if frame.logarithmic else ticks.value_ticks
    values = choose(frame.low, frame.high, min(most, 6))
    y = curves.heights(frame, values)
    left, right = np.full_like(y, box.left), np.full_like(y, box.right)
    items: list[Item] = [Segments("grid", left, y, right, y)]
    for value, at in zip(values.tolist(), y.tolist(), strict=True):
        level = min(max(at + look.small * 0.35, box.top + look.small * 0.75), box.bottom)
        text = ticks.value_text(value)
        items.append(Label("small", box.left - look.pad * 1.5, level, text, look.small, "right"))
    return items


def title(strip: Strip, box: Box, series: tuple[str, ...], look: Look) -> list[Item]:
    """Name, unit and key at the strip's left."""
    x, y = look.margin, box.top + look.text * 0.85
    room = box.left - look.margin - look.small * 3.6
    items: list[Item] = [Label("strong", x, y, strip.label, look.text, room=room)]
    y += look.small * 1.35
    if strip.unit and y <= box.bottom:
        items.append(Label("unit", x, y, strip.unit, look.small, room=room))
        y += look.small * 1.35
    if strip.kind == REACTION:
        return items
    for role in (NET, GROSS):
        if role in series and y <= box.bottom + look.small * 0.2:
            line = np.array([y - look.small * 0.33])
            end = np.array([x + look.small * 1.6])
            items.append(Segments(f"line-{role}", np.array([x]), line, end, line))
            items.append(Label("small", float(end[0]) + look.pad, y, role, look.small))
            x = float(end[0]) + 2.5 * look.pad + text_width(role, look.small)
    return items


def values(strip: Strip, frame: StripFrame, across: Across, shown: Values) -> list[Item]:
    """The series: steps, or columns from least to greatest with the coarser steps over them."""
    fine, level = shown.fine, shown.level
    if strip.kind == REACTION:
        return reaction(frame, across, fine, strip.series[0].column)
    series = [s for s in strip.series if s.column in fine]
    items: list[Item] = []
    if level is not None:
        for s in series:
            items += curves.column_lines(f"range-{s.role}", frame, across, fine, s.column)
    if level is None or not strip.adds:
        for s in series:
            items += curves.step_lines(
                f"line-{s.role}", frame, across, fine if level is None else level, s.column
            )
    return items + curves.off_scale(frame, across, fine, [s.column for s in series])


def reaction(frame: StripFrame, across: Across, table: Table, column: str) -> list[Item]:
    """A band by pixel column: grippers low, ring full, mixed half; not known a line in the middle."""
    rows = lod.visible(table["position_from_m"], table["position_to_m"], across.view_m)
    from_m, to_m, share = table["position_from_m"][rows], table["position_to_m"][rows], table[column][rows]
    edges = across.edges_m
    low, high = lod.columns(from_m, to_m, share, edges)
    bored = np.searchsorted(from_m, edges[1:], side="left") > np.searchsorted(to_m, edges[:-1], side="right")
    codes = reaction_codes(low, high, bored)
    first, last = lod.runs(codes)
    names = ("", "unknown", "grippers", "mixed", "ring")
    tall = (0.0, 0.12, 0.3, 0.6, 1.0)
    items: list[Item] = []
    for i, j in zip(first.tolist(), last.tolist(), strict=True):
        code = int(codes[i])
        if code:
            height = frame.box.height * tall[code]
            left = across.left + i * across.column
            piece = Box(left, frame.box.bottom - height, (j - i) * across.column, height)
            items.append(Fill(f"reaction-{names[code]}", piece))
    return items


def reaction_codes(low: Floats, high: Floats, bored: Flags) -> Whole:
    """0 nothing bored, 1 not known, 2 grippers, 3 mixed, 4 ring, by pixel column."""
    codes = np.where(bored, 1, 0)
    codes = np.where(np.isfinite(low), 3, codes)
    codes = np.where(high <= REACTION_EDGE, 2, codes)
    return np.where(low >= 1 - REACTION_EDGE, 4, codes).astype(np.int64)


def reaction_key(box: Box, look: Look) -> list[Item]:
    """What the heights of the reaction band mean, at left."""
    items: list[Item] = []
    x = box.left - look.pad * 1.5
    for share, text in ((1.0, "ring"), (0.6, "mixed"), (0.3, "grippers")):
        y = box.bottom - box.height * share + look.small * 0.75
        items.append(Label("small", x, min(y, box.bottom), text, look.small, "right"))
    return items


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


def frame_lines(box: Box) -> list[Item]:
    """A strip's left and lower edge."""
    x = np.array([box.left, box.left])
    return [
        Segments(
            "frame",
            x,
            np.array([box.top, box.bottom]),
            np.array([box.left, box.right]),
            np.array([box.bottom, box.bottom]),
        )
    ]
