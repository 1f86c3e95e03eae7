"""Paints a plan: in the window, on paper, into a picture. Takes no decisions about what is shown.

The painter must be scaled so that one unit of the plan is 1/100 mm of the page, or PX units are a
pixel of the window; widths and type sizes follow that scale.
"""

from collections.abc import Iterable, Iterator
from itertools import groupby

import numpy as np
import shiboken6
from PySide6.QtCore import QLineF, QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPen, QTransform

from tbmreview.paint import typeface
from tbmreview.paint.hatch import hatch_lines
from tbmreview.paint.style import FILLS, PAGE, STROKES, TYPES, Stroke
from tbmreview.scene.plan import Box, Fill, Floats, Item, Label, Plan, Segments

HAIRLINE_PX = 1.4  # a pen thinner than this on the device is one sharp pixel wide
ELLIPSIS = "…"


def paint_plan(painter: QPainter, plan: Plan) -> None:
    """Draw the whole plan. Leaves the painter as it was."""
    painter.save()
    scale = painter.worldTransform().m11()
    painter.fillRect(QRectF(0, 0, plan.width, plan.height), QColor(PAGE))
    for kind, items in groupby(plan.items, key=type):
        if kind is Fill:
            _paint_fills(painter, items, scale)
        elif kind is Segments:
            for item in items:
                _paint_segments(painter, item, scale)
        else:
            _paint_labels(painter, items)
    painter.restore()


def _paint_fills(painter: QPainter, fills: Iterable[Fill], scale: float) -> None:
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    for hatch, group in groupby(fills, key=lambda fill: fill.hatch):
        same = list(group)
        for fill in same:
            painter.fillRect(_rectangle(fill.box), QColor(FILLS[fill.role]))
        if hatch:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
            _draw_lines(painter, hatch_lines(same), STROKES["hatch"], scale)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)


def _rectangle(box: Box) -> QRectF:
    return QRectF(box.left, box.top, box.width, box.height)


def _paint_segments(painter: QPainter, item: Segments, scale: float) -> None:
    if len(item.x1) == 0:
        return
    lines = np.column_stack([item.x1, item.y1, item.x2, item.y2])
    if item.clip is not None:
        painter.save()
        painter.setClipRect(_rectangle(item.clip))
    _draw_lines(painter, lines, STROKES[item.role], scale)
    if item.clip is not None:
        painter.restore()


def _draw_lines(painter: QPainter, lines: Floats, stroke: Stroke, scale: float) -> None:
    """Lines (n, 4). Qt reads them where numpy keeps them: a QLineF is four doubles."""
    if len(lines) == 0:
        return
    painter.setPen(_pen(stroke, scale))
    memory = np.ascontiguousarray(lines, np.float64)
    painter.drawLines(shiboken6.wrapInstance(memory.ctypes.data, QLineF), len(memory))


def _pen(stroke: Stroke, scale: float) -> QPen:
    on_device = stroke.width * scale
    pen = QPen(QColor(stroke.colour))
    hair = on_device < HAIRLINE_PX
    pen.setCosmetic(hair)
    pen.setWidthF(1.0 if hair else stroke.width)
    pen.setCapStyle(Qt.PenCapStyle.SquareCap)
    if stroke.dash:
        pen.setCapStyle(Qt.PenCapStyle.FlatCap)
        unit = 1.0 / scale if hair else stroke.width
        pen.setDashPattern([length / unit for length in stroke.dash])
    return pen


def _paint_labels(painter: QPainter, labels: Iterable[Label]) -> None:
    """Text is drawn on the device itself, not scaled: sharp in the window, selectable in a PDF."""
    world = painter.worldTransform()
    painter.save()
    for label in labels:
        kind = TYPES[label.role]
        text, width = fitted(label.text, label.height, label.room, kind.bold)
        size = max(round(label.height * world.m11()), 1)
        painter.setFont(typeface.font(size, kind.bold))
        painter.setPen(QColor(kind.colour))
        back = {"left": 0.0, "centre": 0.5, "right": 1.0}[label.align] * width
        painter.setWorldTransform(_at(world, label))
        painter.drawText(QPointF(-back * world.m11(), 0.0), text)
    painter.restore()


def _at(world: QTransform, label: Label) -> QTransform:
    place = world.map(QPointF(label.x, label.y))
    moved = QTransform.fromTranslate(place.x(), place.y())
    return moved.rotate(-90) if label.turned else moved


def fitted(text: str, height: float, room: float, bold: bool) -> tuple[str, float]:
    """The text, shortened with an ellipsis to its room (0: no limit), and its width in units."""
    width = typeface.width(text, height, bold)
    if not room or width <= room:
        return text, width
    for shorter in _shorter(text):
        width = typeface.width(shorter, height, bold)
        if width <= room:
            return shorter, width
    return "", 0.0


def _shorter(text: str) -> Iterator[str]:
    for end in range(len(text) - 1, 0, -1):
        yield text[:end].rstrip() + ELLIPSIS


__all__ = ["Item", "fitted", "paint_plan"]
