"""Plans of pages to the bytes of a PDF, SVG or PNG, with one painter for all three.

Everything is painted into memory first, so that a full disk is an error of writing and never half a page.
"""

import sys
from collections.abc import Callable, Sequence

from PySide6.QtCore import QBuffer, QByteArray, QIODevice, QMarginsF, QRectF, QSize
from PySide6.QtGui import QGuiApplication, QPageLayout, QPageSize, QPainter, QPdfWriter
from PySide6.QtSvg import QSvgGenerator

from tbmreview import __version__
from tbmreview.paint.image import render
from tbmreview.paint.painter import paint_plan
from tbmreview.paint.typeface import load_fonts
from tbmreview.scene.plan import Plan

PDF_DPI = 1200
PNG_DPI = 200
_UNITS_PER_INCH = 2540.0
CREATOR = f"tbmreview {__version__}"


def ensure_application() -> QGuiApplication:
    """Qt needs an application to shape text; without one, an offscreen one is made and kept."""
    running = QGuiApplication.instance()
    if isinstance(running, QGuiApplication):
        load_fonts()
        return running
    made = QGuiApplication([sys.argv[0] or "tbmreview", "-platform", "offscreen"])
    _kept.append(made)
    load_fonts()
    return made


_kept: list[QGuiApplication] = []


def pdf_bytes(pages: Sequence[Plan], title: str) -> bytes:
    """One PDF with a page for each plan."""
    buffer = _open_buffer()
    writer = QPdfWriter(buffer)
    writer.setResolution(PDF_DPI)
    writer.setTitle(title)
    writer.setCreator(CREATOR)
    writer.setPageLayout(
        QPageLayout(
            QPageSize(QPageSize.PageSizeId.A3), QPageLayout.Orientation.Landscape, QMarginsF(0, 0, 0, 0)
        )
    )
    with QPainter(writer) as painter:
        for number, plan in enumerate(pages):
            if number:
                writer.newPage()
            _paint(painter, plan, PDF_DPI)
    return _taken(buffer)


def svg_bytes(plan: Plan, title: str) -> bytes:
    """One SVG of a plan, true to size."""
    buffer = _open_buffer()
    generator = QSvgGenerator(QSvgGenerator.SvgVersion.Svg11)
    generator.setOutputDevice(buffer)
    generator.setTitle(title)
    generator.setDescription(CREATOR)
    generator.setResolution(PDF_DPI)
    size = _pixels(plan, PDF_DPI)
    generator.setSize(size)
    generator.setViewBox(QRectF(0, 0, size.width(), size.height()))
    with QPainter(generator) as painter:
        _paint(painter, plan, PDF_DPI)
    return _taken(buffer)


def png_bytes(plan: Plan, title: str) -> bytes:
    """One picture of a plan on white."""
    image = render(plan, PNG_DPI)
    image.setText("Title", title)
    image.setText("Software", CREATOR)
    buffer = _open_buffer()
    if not image.save(buffer, "PNG"):  # type: ignore[call-overload]  # the stubs want bytes
        raise OSError("the picture could not be encoded as PNG")
    return _taken(buffer)


SINGLE: dict[str, Callable[[Plan, str], bytes]] = {".svg": svg_bytes, ".png": png_bytes}
SUFFIXES = (".pdf", *SINGLE)


def _paint(painter: QPainter, plan: Plan, dpi: int) -> None:
    painter.save()
    painter.scale(dpi / _UNITS_PER_INCH, dpi / _UNITS_PER_INCH)
    paint_plan(painter, plan)
    painter.restore()


def _pixels(plan: Plan, dpi: int) -> QSize:
    return QSize(round(plan.width * dpi / _UNITS_PER_INCH), round(plan.height * dpi / _UNITS_PER_INCH))


def _open_buffer() -> QBuffer:
    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    return buffer


def _taken(buffer: QBuffer) -> bytes:
    buffer.close()
    data: QByteArray = buffer.data()
    return bytes(data.data())
