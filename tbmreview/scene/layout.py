"""Where the parts of a picture lie: ground rows, findings, marks, strips, axis, key, notices, from the top down."""

import math
from dataclasses import dataclass

from tbmreview.scene.class_list import ClassRow
from tbmreview.scene.class_rows import chosen
from tbmreview.scene.ground_rows import kinds
from tbmreview.scene.look import Look
from tbmreview.scene.mark_row import lane_count
from tbmreview.scene.plan import Box
from tbmreview.scene.rows import Across
from tbmreview.scene.session import Session
from tbmreview.scene.source import Source
from tbmreview.scene.strips import BY_NAME, Strip


@dataclass(frozen=True, slots=True)
class Layout:
    """Boxes in units. `ground`, `classes` and `strips` keep the order from the top."""

    across: Across
    plot: Box
    ground: tuple[tuple[str, Box], ...]
    classes: tuple[tuple[ClassRow, Box], ...]
    findings: Box
    marks: Box | None
    strips: tuple[tuple[Strip, Box], ...]
    axis: Box
    key: Box
    notice: Box


def lay_out(source: Source, session: Session, size: tuple[float, float], look: Look) -> Layout:
    """Divide the page. Edges lie on whole pixel columns, so that lines fall on pixels."""
    snap = look.column
    width = max(math.floor((size[0] - look.gutter - look.margin) / snap), 1)
    left = math.ceil(look.gutter / snap) * snap
    across = Across(left, snap, width, session.view_m)
    y = _down(look.pad * 2, snap)
    ground: list[tuple[str, Box]] = []
    classes: list[tuple[ClassRow, Box]] = []
    for kind in kinds(source):
        ground.append((kind, Box(left, y, width * snap, _down(look.ground_row, snap))))
        y = ground[-1][1].bottom
        for row in chosen(source, session, kind) if look.class_row else ():
            classes.append((row, Box(left, y, width * snap, _down(look.class_row, snap))))
            y = classes[-1][1].bottom
        y += _down(look.gap / 2, snap)
    y += _down(look.gap / 2, snap)
    findings = Box(left, y, width * snap, _down(look.finding_row, snap))
    line = _down(look.small * 1.6, snap)
    count = lane_count(source.marks())
    marks = Box(left, findings.bottom, width * snap, _down(count * look.mark_row, snap)) if count else None
    above = marks.bottom if marks else findings.bottom
    top = above + _down(look.gap, snap)
    below = _down(look.axis_row, snap) + line * (2 if look.key else 1) + _down(look.pad, snap)
    strips = _stack(session, Box(left, top, width * snap, size[1] - below - top), look)
    bottom = strips[-1][1].bottom if strips else above
    axis = Box(left, bottom, width * snap, _down(look.axis_row, snap))
    key = Box(look.margin, axis.bottom, size[0] - 2 * look.margin, line if look.key else 0.0)
    notice = Box(look.margin, key.bottom, size[0] - 2 * look.margin, line)
    plot = Box(left, above, width * snap, max(bottom - above, snap))
    return Layout(across, plot, tuple(ground), tuple(classes), findings, marks, strips, axis, key, notice)


def _down(length: float, snap: float) -> float:
    return max(round(length / snap), 1) * snap


def _stack(session: Session, room: Box, look: Look) -> tuple[tuple[Strip, Box], ...]:
    """Strips that share a height by their shares, a gap between; a strip never vanishes."""
    chosen = [BY_NAME[name] for name in session.strips]
    if not chosen:
        return ()
    gap = _down(look.gap, look.column)
    free = max(room.height - gap * (len(chosen) - 1), 0.0)
    whole = sum(strip.share for strip in chosen)
    boxes: list[tuple[Strip, Box]] = []
    y = room.top
    for strip in chosen:
        height = max(math.floor(free * strip.share / whole / look.column), 3) * look.column
        boxes.append((strip, Box(room.left, y, room.width, height)))
        y += height + gap
    return tuple(boxes)
