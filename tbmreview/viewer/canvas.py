"""The picture: one plotting-library item that paints a plan. The only module that knows pyqtgraph.

A gesture is turned into metres of the drive and told; what follows from it is decided elsewhere.
"""

from collections.abc import Callable

import pyqtgraph as pg
from PySide6.QtCore import QEvent, QPoint, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QContextMenuEvent,
    QImage,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPen,
    QResizeEvent,
    QWheelEvent,
)
from PySide6.QtWidgets import QStyleOptionGraphicsItem, QWidget

from tbmreview.paint.image import WINDOW_DPI, render
from tbmreview.paint.style import ACCENT, PAGE
from tbmreview.scene.look import PX
from tbmreview.scene.plan import Plan

ZOOM_PER_NOTCH = 1.25
DRAG_FROM_PIXELS = 3
_NOTCH = 120  # Qt: eighths of a degree in one notch of a wheel


class PlanItem(pg.GraphicsObject):  # type: ignore[misc]  # pyqtgraph has no types
    """Paints a plan once, keeps the pixels, and shows them until the plan or the screen changes."""

    def __init__(self) -> None:
        super().__init__()
        self.plan: Plan | None = None
        self._pixels: QImage | None = None

    def show_plan(self, plan: Plan) -> None:
        """Paint this from now on."""
        if self.plan is None or (plan.width, plan.height) != (self.plan.width, self.plan.height):
            self.prepareGeometryChange()
        self.plan, self._pixels = plan, None
        self.update()

    def boundingRect(self) -> QRectF:
        if self.plan is None:
            return QRectF()
        return QRectF(0, 0, self.plan.width / PX, self.plan.height / PX)

    def paint(
        self, painter: QPainter, option: QStyleOptionGraphicsItem, widget: QWidget | None = None
    ) -> None:
        if self.plan is None:
            return
        ratio = painter.device().devicePixelRatioF()
        if self._pixels is None or self._pixels.devicePixelRatioF() != ratio:
            self._pixels = render(self.plan, WINDOW_DPI * ratio)
            self._pixels.setDevicePixelRatio(ratio)
        painter.drawImage(QPointF(0, 0), self._pixels)


def _nothing(position_m: float, y: float) -> object | None:
    return None


class Canvas(pg.GraphicsView):  # type: ignore[misc]
    """Shows a plan and tells of gestures on it, in metres of position along the drive."""

    resized = Signal(float, float)  # width and height in units
    panned = Signal(float)  # the view shall move by so many metres
    zoomed = Signal(float, float)  # the view shall become so many times shorter, about this position
    pointed = Signal(float, float)  # the pointer, in units of the plan; NaN when it has left
    asked = Signal(float, object)  # what lies at this height of the plan, in units; place on the screen
    pressed = Signal(float)  # a click without a drag, position in m
    dragged_to = Signal(float)  # where a drag has come to, position in m
    drawn = Signal(float, float)  # a stretch drawn with Shift held, positions in m
    carried = Signal(object, float)  # what `grips` gave, and where it was let go, position in m

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent, background=None)
        self.setBackgroundBrush(QColor(PAGE))
        self.setFrameShape(self.Shape.NoFrame)
        self.viewport().setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setAcceptDrops(False)  # the window takes what is dropped
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setCursor(Qt.CursorShape.CrossCursor)
        self.item = PlanItem()
        self.addItem(self.item)
        self._pointer: float | None = None
        self._frame: tuple[float, float] | None = None
        self._grip: QPoint | None = None
        self._dragged = False
        self.grips: Callable[[float, float], object | None] = (
            _nothing  # what (position in m, y in units) holds
        )
        self._held: object | None = None
        self._drawing: tuple[float, float] | None = None  # from, to; positions in m

    @property
    def plan(self) -> Plan | None:
        return self.item.plan

    def show_plan(self, plan: Plan) -> None:
        """Show this from now on."""
        self.item.show_plan(plan)

    def frame_stretch(self, view_m: tuple[float, float] | None) -> None:
        """Frame a stretch (positions in m) on top of the plan."""
        self._frame = view_m
        self.viewport().update()

    def size_units(self) -> tuple[float, float]:
        """The room for a plan."""
        return self.viewport().width() * PX, self.viewport().height() * PX

    def position_at(self, x_pixel: float) -> float:
        """Position along the drive [m] at a pixel; NaN without a plan."""
        if self.plan is None:
            return float("nan")
        plot, (low, high) = self.plan.plot, self.plan.view_m
        return low + (x_pixel * PX - plot.left) / plot.width * (high - low)

    def pixel_at(self, position_m: float) -> float:
        """Pixel of a position along the drive."""
        if self.plan is None:
            return float("nan")
        plot, (low, high) = self.plan.plot, self.plan.view_m
        return (plot.left + (position_m - low) / (high - low) * plot.width) / PX

    def point(self, position_m: float) -> None:
        """Put the line under the pointer at a position."""
        self._point(self.pixel_at(position_m), self.viewport().height() / 2)

    def drawForeground(self, painter: QPainter, rect: QRectF) -> None:
        """The framed stretch and the line under the pointer, on top of the kept pixels."""
        if self.plan is None:
            return
        plot, rows = self.plan.plot, self.plan.rows
        top, bottom = (min([plot.top, *(row.box.top for row in rows)]) / PX, plot.bottom / PX)
        if self._frame is not None:
            left, right = (self.pixel_at(position) for position in self._frame)
            right = max(right, left + 3.0)
            veil, edge = QColor(PAGE), plot.right / PX
            veil.setAlpha(170)
            painter.fillRect(QRectF(plot.left / PX, top, left - plot.left / PX, bottom - top), veil)
            painter.fillRect(QRectF(right, top, edge - right, bottom - top), veil)
            painter.setPen(QPen(QColor(ACCENT), 2))
            painter.drawRect(QRectF(left, top, right - left, bottom - top))
        if self._drawing is not None:
            left, right = sorted(self.pixel_at(position) for position in self._drawing)
            tint = QColor(ACCENT)
            tint.setAlpha(40)
            painter.fillRect(QRectF(left, top, right - left, bottom - top), tint)
        if self._pointer is not None:
            painter.setPen(QPen(QColor(ACCENT), 1))
            painter.drawLine(QPointF(self._pointer, top), QPointF(self._pointer, bottom))

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self.resized.emit(*self.size_units())

    def mousePressEvent(self, event: QMouseEvent) -> None:
        if event.button() == Qt.MouseButton.LeftButton:
            self._grip, self._dragged = event.position().toPoint(), False
            at_m = self.position_at(event.position().x())
            self._held = self.grips(at_m, event.position().y() * PX)
            if event.modifiers() & Qt.KeyboardModifier.ShiftModifier:
                self._drawing = (at_m, at_m)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        at = event.position()
        if self._drawing is not None:
            self._drawing = (self._drawing[0], self.position_at(at.x()))
            self.viewport().update()
        elif self._grip is not None and self.plan is not None and self._held is None:
            moved = at.x() - self._grip.x()
            if self._dragged or abs(moved) >= DRAG_FROM_PIXELS:
                self._dragged = True
                self._grip = at.toPoint()
                self.panned.emit(self.position_at(0) - self.position_at(moved))
                self.dragged_to.emit(self.position_at(at.x()))
        self._point(at.x(), at.y())

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        if event.button() == Qt.MouseButton.LeftButton and self._grip is not None:
            moved = abs(event.position().x() - self._grip.x()) >= DRAG_FROM_PIXELS
            drawn, self._drawing = self._drawing, None
            held, self._held = self._held, None
            if drawn is not None:
                self.viewport().update()
                if moved:
                    self.drawn.emit(drawn[0], self.position_at(event.position().x()))
            elif held is not None:
                if moved:
                    self.carried.emit(held, self.position_at(event.position().x()))
            elif not self._dragged:
                self.pressed.emit(self.position_at(event.position().x()))
            self._grip = None

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        self.mousePressEvent(event)

    def wheelEvent(self, event: QWheelEvent) -> None:
        if self.plan is None:
            return
        turned, sideways = event.angleDelta().y() / _NOTCH, event.angleDelta().x() / _NOTCH
        low, high = self.plan.view_m
        if turned:
            self.zoomed.emit(ZOOM_PER_NOTCH**turned, self.position_at(event.position().x()))
        elif sideways:
            self.panned.emit(-sideways * (high - low) / 10)
        event.accept()

    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        self.asked.emit(event.pos().y() * PX, event.globalPos())
        event.accept()

    def leaveEvent(self, event: QEvent) -> None:
        self._move_pointer(None)
        self.pointed.emit(float("nan"), float("nan"))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        event.ignore()  # keys belong to the window's actions

    def _move_pointer(self, x_pixel: float | None) -> None:
        """Only what lay and will lie under the line is shown anew."""
        for x in (self._pointer, x_pixel):
            if x is not None:
                self.viewport().update(round(x) - 2, 0, 4, self.viewport().height())
        self._pointer = x_pixel

    def _point(self, x_pixel: float, y_pixel: float) -> None:
        left, width = (0.0, 0.0) if self.plan is None else (self.plan.plot.left, self.plan.plot.width)
        inside = left <= x_pixel * PX <= left + width
        self._move_pointer(x_pixel if inside else None)
        self.pointed.emit(x_pixel * PX, y_pixel * PX)
