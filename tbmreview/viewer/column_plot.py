"""A column's first values as a small picture: one line a pixel column from least to greatest."""

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QLineF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from tbmreview.paint.style import INK, PAGE, SOFT, STROKES

Values = NDArray[np.float64]
NO_NUMBERS = "no numbers to show"
ROOM = 6  # pixels between plot and text


def draw_values(painter: QPainter, box: QRectF, values: Values) -> None:
    """Values (n,) across a box, gaps left open where they are NaN."""
    finite = np.isfinite(values)
    width = int(box.width())
    if width < 2 or not finite.any():
        return
    low, high = float(values[finite].min()), float(values[finite].max())
    room = (high - low) or 1.0
    least, greatest = _by_pixel(values, width)
    middle = 0.5 if high == low else 0.0
    lines = []
    for x in np.flatnonzero(np.isfinite(least)).tolist():
        top, bottom = (
            box.bottom() - (float(v[x]) - low + middle) / room * box.height() for v in (greatest, least)
        )
        lines.append(QLineF(box.left() + x + 0.5, top - 0.5, box.left() + x + 0.5, bottom + 0.5))
    painter.setPen(QPen(QColor(STROKES["line-single"].colour), 1))
    painter.drawLines(lines)


def _by_pixel(values: Values, width: int) -> tuple[Values, Values]:
    """Least and greatest of the values in each pixel column (width,), its right neighbour's first value
    with them so that the line is unbroken; NaN where there is none."""
    starts = np.arange(width) * len(values) // width
    ends = np.minimum((np.arange(width) + 1) * len(values) // width + 1, len(values))
    bounds = np.empty(2 * width, np.int64)
    bounds[0::2], bounds[1::2] = starts, ends
    padded = np.append(values, np.nan)
    return np.fmin.reduceat(padded, bounds)[0::2], np.fmax.reduceat(padded, bounds)[0::2]


class ColumnPlot(QWidget):
    """The plot of one column with its extremes and how many rows it shows."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._values: Values = np.empty(0)
        self.setFixedHeight(150)

    def show_values(self, values: Values | None) -> None:
        """Show these (n,); None where the column holds no numbers."""
        self._values = np.empty(0) if values is None else values
        self.update()

    def sizeHint(self) -> QSize:
        return QSize(320, 150)

    def paintEvent(self, event: QPaintEvent) -> None:
        finite = self._values[np.isfinite(self._values)]
        with QPainter(self) as painter:
            painter.fillRect(self.rect(), QColor(PAGE))
            if not len(finite):
                painter.setPen(QColor(SOFT))
                painter.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter, NO_NUMBERS)
                return
            self._draw(painter, float(finite.min()), float(finite.max()))

    def _draw(self, painter: QPainter, low: float, high: float) -> None:
        high_text, low_text = f"{high:.6g}", f"{low:.6g}"
        line = painter.fontMetrics().height()
        left = max(painter.fontMetrics().horizontalAdvance(t) for t in (high_text, low_text)) + ROOM
        box = QRectF(left, line / 2, self.width() - left - 1, self.height() - 2 * line)
        painter.setPen(QPen(QColor(STROKES["frame"].colour), 1))
        painter.drawRect(box)
        draw_values(painter, box.adjusted(1, 4, -1, -4), self._values)
        right = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        painter.setPen(QColor(INK))
        painter.drawText(QRectF(0, box.top() - line / 2 + 4, left - ROOM, line), right, high_text)
        if high > low:
            painter.drawText(QRectF(0, box.bottom() - line / 2 - 4, left - ROOM, line), right, low_text)
        painter.setPen(QColor(SOFT))
        words = f"first {len(self._values)} rows, as the file has them"
        painter.drawText(QRectF(left, box.bottom() + 2, box.width(), line + 4), words)
