"""A plan as a picture."""

import math

from PySide6.QtGui import QColor, QImage, QPainter

from tbmreview.paint.painter import paint_plan
from tbmreview.paint.style import PAGE
from tbmreview.paint.typeface import load_fonts
from tbmreview.scene.look import PX
from tbmreview.scene.plan import Plan

WINDOW_DPI = 2540 / PX  # at which a unit of a window's plan is what it is on screen


def render(plan: Plan, dpi: float = WINDOW_DPI) -> QImage:
    """The plan at a resolution in dots per inch. Needs a QGuiApplication."""
    load_fonts()
    scale = dpi / 2540
    image = QImage(
        math.ceil(plan.width * scale - 1e-6),
        math.ceil(plan.height * scale - 1e-6),
        QImage.Format.Format_RGB32,
    )
    image.setDotsPerMeterX(round(dpi / 0.0254))
    image.setDotsPerMeterY(round(dpi / 0.0254))
    image.fill(QColor(PAGE))  # a page that is no whole number of pixels leaves part of the last one
    with QPainter(image) as painter:
        painter.scale(scale, scale)
        paint_plan(painter, plan)
    return image
