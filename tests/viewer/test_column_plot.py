"""The small plot of a column: no extreme lost, gaps stay gaps."""

import numpy as np
import pytest
from PySide6.QtCore import QRectF
from PySide6.QtGui import QColor, QImage, QPainter
from pytestqt.qtbot import QtBot

from tbmreview.paint.style import STROKES
from tbmreview.viewer.column_plot import ColumnPlot, draw_values

WIDE, HIGH = 100, 40


def inked(values: np.ndarray) -> np.ndarray:
    """Which pixels (high, wide) of a picture of these values are drawn."""
    image = QImage(WIDE, HIGH, QImage.Format.Format_RGB32)
    image.fill(QColor("white"))
    with QPainter(image) as painter:
        draw_values(painter, QRectF(0, 2, WIDE, HIGH - 4), values)
    ink = QColor(STROKES["line-single"].colour).rgb()
    return np.array([[image.pixel(x, y) == ink for x in range(WIDE)] for y in range(HIGH)])


@pytest.mark.parametrize("place", [0, 1234, 2999])
def test_a_single_extreme_among_thousands_reaches_the_edge(place: int) -> None:
    values = np.zeros(3000)
    values[place] = 5.0
    drawn = inked(values)
    top = np.flatnonzero(drawn[:4].any(axis=0))
    assert len(top) in (1, 2)
    assert abs(int(top[0]) - place * WIDE // 3000) <= 1
    assert drawn[-4:].any(axis=0).all()


def test_a_gap_stays_a_gap() -> None:
    values = np.linspace(0, 1, 1000)
    values[400:600] = np.nan
    columns = inked(values).any(axis=0)
    assert columns[:40].all()
    assert not columns[41:59].any()
    assert columns[61:].all()


@pytest.mark.parametrize("values", [np.full(50, 3.0), np.array([7.0])])
def test_what_never_changes_is_a_level_line(values: np.ndarray) -> None:
    rows = np.flatnonzero(inked(values).any(axis=1))
    assert len(rows)
    assert abs(float(rows.mean()) - HIGH / 2) <= 1


def test_a_column_without_numbers_says_so(qtbot: QtBot) -> None:
    plot = ColumnPlot()
    qtbot.addWidget(plot)
    plot.resize(320, 150)
    for values in (None, np.full(5, np.nan), np.arange(5.0)):
        plot.show_values(values)
        assert not plot.grab().isNull()
