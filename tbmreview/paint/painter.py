"""Paints a plan: in the window, on paper, into a picture. Takes no decisions about what is shown.

The painter must be scaled so that one unit of the plan is 1/100 mm of the page, or PX units are a
pixel of the window; widths and type sizes follow that scale.
"""

from collections.abc import Iterator
from functools import cache
from itertools import groupby
from operator import attrgetter
from typing import cast

import numpy as np
import shiboken6
from PySide6.QtCore import QLineF, QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPen

from tbmreview.paint import typeface
from tbmreview.paint.hatch import hatch_lines
from tbmreview.paint.style import FILLS, PAGE, STROKES, TYPES, Stroke
from tbmreview.scene.plan import Box, Boxes, Fill, Floats, Label, Plan, Segments

HAIRLINE_PX = 1.4  # a pen thinner than this on the device is one sharp pixel wide
ELLIPSIS = "…"
_BACK = {"left": 0.0, "centre": 0.5, "right": 1.0}


def paint_plan(painter: QPainter, plan: Plan) -> None:
    """Draw the whole plan. Leaves the painter as it was."""
    painter.save()
    scale = painter.worldTransform().m11()
    painter.fillRect(QRectF(0, 0, plan.width, plan.height), _colour(PAGE))
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    for filled, items in groupby(plan.items, key=lambda item: isinstance(item, Fill | Boxes)):
        if filled:
            _paint_boxes(painter, cast(Iterator[Fill | Boxes], items), scale)
            continue
        for item in items:
            if isinstance(item, Segments):
                _paint_segments(painter, item, scale)
    labels = (item for item in plan.items if isinstance(item, Label))
    _paint_labels(painter, sorted(labels, key=attrgetter("role", "height")))
    painter.restore()


def _paint_boxes(painter: QPainter, items: Iterator[Fill | Boxes], scale: float) -> None:
    """Filled rectangles that follow each other, then the hatches of all of them."""
    hatches: list[str] = []
    hatched: list[Floats] = []
    painter.setPen(Qt.PenStyle.NoPen)
    for item in items:
        boxes = _boxes(item)
        left, top, right, bottom, _ = boxes.T
        rectangles = _side_by_side(left, top, right - left, bottom - top)
        if len(rectangles):
            painter.setBrush(_colour(FILLS[item.role]))
            pointer = shiboken6.wrapInstance(_address(rectangles), QRectF)
            painter.drawRects(cast(QRectF, pointer), len(rectangles))
        if item.hatch:
            hatches += [item.hatch] * len(boxes)
            hatched.append(boxes)
    if hatched:
        _draw_lines(painter, hatch_lines(hatches, np.concatenate(hatched)), STROKES["hatch"], scale)


def _boxes(item: Fill | Boxes) -> Floats:
    """Left, top, right, bottom and anchor of each rectangle, (n, 5)."""
    if isinstance(item, Fill):
        box = item.box
        return np.array([[box.left, box.top, box.right, box.bottom, item.anchor]])
    anchor = item.left if item.anchor is None else item.anchor
    return _side_by_side(item.left, item.top, item.right, item.bottom, anchor)


def _side_by_side(*columns: Floats) -> Floats:
    """Columns (n,) as one array (n, k) that Qt can read."""
    joined = np.empty((len(columns[0]), len(columns)))
    for i, column in enumerate(columns):
        joined[:, i] = column
    return joined


def _rectangle(box: Box) -> QRectF:
    return QRectF(box.left, box.top, box.width, box.height)


def _paint_segments(painter: QPainter, item: Segments, scale: float) -> None:
    if len(item.x1) == 0:
        return
    lines = _side_by_side(item.x1, item.y1, item.x2, item.y2)
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
    painter.drawLines(cast(QLineF, shiboken6.wrapInstance(_address(memory), QLineF)), len(memory))


def _address(memory: Floats) -> int:
    """Where an array begins; `ctypes.data` says the same in twenty times the time."""
    return int(memory.__array_interface__["data"][0])


@cache
def _colour(name: str) -> QColor:
    return QColor(name)


@cache
def _pen(stroke: Stroke, scale: float) -> QPen:
    on_device = stroke.width * scale
    pen = QPen(_colour(stroke.colour))
    hair = on_device < HAIRLINE_PX
    pen.setCosmetic(hair)
    pen.setWidthF(1.0 if hair else stroke.width)
    pen.setCapStyle(Qt.PenCapStyle.SquareCap)
    if stroke.dash:
        pen.setCapStyle(Qt.PenCapStyle.FlatCap)
        unit = 1.0 / scale if hair else stroke.width
        pen.setDashPattern([length / unit for length in stroke.dash])
    return pen


def _paint_labels(painter: QPainter, labels: list[Label]) -> None:
    """Text is drawn on the device itself, not scaled: sharp in the window, selectable in a PDF."""
    world = painter.worldTransform()
    scale, dx, dy = world.m11(), world.dx(), world.dy()
    painter.resetTransform()
    look: tuple[str, float] | None = None
    for label in labels:
        kind = TYPES[label.role]
        if look != (label.role, label.height):  # setting a font costs more than drawing a number
            look = (label.role, label.height)
            painter.setFont(typeface.font(max(round(label.height * scale), 1), kind.bold))
            painter.setPen(_colour(kind.colour))
        text, width = fitted(label.text, label.height, label.room, kind.bold)
        x, y, back = label.x * scale + dx, label.y * scale + dy, _BACK[label.align] * width * scale
        if label.turned:
            painter.translate(x, y)
            painter.rotate(-90)
            painter.drawText(QPointF(-back, 0.0), text)
            painter.resetTransform()
        else:
            painter.drawText(QPointF(x - back, y), text)
    painter.setWorldTransform(world)


@cache
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
