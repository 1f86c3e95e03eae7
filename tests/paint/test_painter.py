"""Plans are painted as they say: every role has a look, places and sizes follow the scale."""

import sys

import numpy as np
import pytest
from PySide6.QtCore import QBuffer, QIODevice, QMarginsF, QSizeF
from PySide6.QtGui import QColor, QImage, QPageSize, QPainter, QPdfWriter

from tbmreview.paint import typeface
from tbmreview.paint.image import render
from tbmreview.paint.painter import fitted, paint_plan
from tbmreview.paint.style import FILLS, STROKES, TYPES
from tbmreview.scene.compose import compose
from tbmreview.scene.look import PAPER, PX
from tbmreview.scene.plan import Box, Boxes, Fill, Item, Label, Plan, Segments
from tbmreview.scene.session import open_session
from tests.support.scenes import InventedSource

SOURCE = InventedSource()


def plan_of(*items: Item, pixels: int = 100) -> Plan:
    side = pixels * PX
    return Plan(side, side, Box(0, 0, side, side), (0.0, 1.0), (), items)


def ink(image: QImage) -> np.ndarray:
    """Which pixels are not white."""
    rgb = image.convertToFormat(QImage.Format.Format_RGB32)
    flat = np.frombuffer(rgb.constBits(), np.uint32).reshape(rgb.height(), rgb.width())
    return (flat & 0xFFFFFF) != 0xFFFFFF


def line(role: str, *ends: float, clip: Box | None = None) -> Segments:
    return Segments(role, *(np.array([e * PX]) for e in ends), clip=clip)


def test_every_role_of_a_picture_has_a_look():
    for look in ({}, {"look": PAPER}):
        session = open_session(SOURCE).jump_to(SOURCE.findings()[1])
        plan = compose(SOURCE, session, (40_000.0, 25_000.0), **look)
        for item in plan.items:
            known = STROKES if isinstance(item, Segments) else TYPES if isinstance(item, Label) else FILLS
            assert item.role in known


def test_a_picture_is_painted_without_a_word_from_qt(qtbot):
    plan = compose(SOURCE, open_session(SOURCE), (1200 * PX, 700 * PX))
    image = render(plan)
    assert (image.width(), image.height()) == (1200, 700)
    assert 0.02 < ink(image).mean() < 0.5


def test_an_upright_line_takes_exactly_its_pixel_column(qapp):
    seen = ink(render(plan_of(line("tick", 20.5, 10.5, 20.5, 50.5))))
    assert np.flatnonzero(seen.any(axis=0)).tolist() == [20]
    rows = np.flatnonzero(seen.any(axis=1))
    assert rows[0] == pytest.approx(10, abs=1)
    assert rows[-1] == pytest.approx(50, abs=1)


def test_neighbouring_columns_leave_no_pixel_between(qapp):
    x = (np.arange(10, 60) + 0.5) * PX
    bars = Segments("range-net", x, np.full_like(x, 60 * PX), x, np.full_like(x, 20 * PX))
    seen = ink(render(plan_of(bars)))
    assert np.flatnonzero(seen.any(axis=0)).tolist() == list(range(10, 60))


def test_a_clip_keeps_lines_inside(qapp):
    clip = Box(0, 0, 50 * PX, 100 * PX)
    seen = ink(render(plan_of(line("line-net", 10, 30, 90, 30, clip=clip), line("tick", 10, 60, 90, 60))))
    columns = np.flatnonzero(seen[:45].any(axis=0))
    assert columns[-1] == 49
    assert np.flatnonzero(seen[45:].any(axis=0))[-1] >= 89


def test_fills_and_boxes_cover_what_they_say(qapp):
    box = Box(20 * PX, 30 * PX, 25 * PX, 10 * PX)
    one = ink(render(plan_of(Fill("reaction-ring", box))))
    sides = (np.array([v]) for v in (box.left, box.top, box.right, box.bottom))
    many = ink(render(plan_of(Boxes("reaction-ring", *sides))))
    assert one.sum() == 25 * 10
    np.testing.assert_array_equal(one, many)


def test_pens_keep_their_width_on_paper(qapp):
    plan = plan_of(line("line-net", 10, 50, 90, 50))
    dpi = 1200
    thick = ink(render(plan, dpi)).sum(axis=0).max()
    assert thick == pytest.approx(STROKES["line-net"].width * dpi / 2540, abs=1.5)


@pytest.mark.parametrize("align", ["left", "centre", "right"])
@pytest.mark.parametrize("dpi", [96, 300])
def test_a_text_stands_where_its_label_says(qapp, align, dpi):
    label = Label("strong", 50 * PX, 50 * PX, "HIN", 16 * PX, align)
    seen = ink(render(plan_of(label), dpi))
    columns = np.flatnonzero(seen.any(axis=0)) * 96 / dpi
    rows = np.flatnonzero(seen.any(axis=1)) * 96 / dpi
    width = typeface.width("HIN", 16.0, bold=True)
    left = 50 - {"left": 0.0, "centre": 0.5, "right": 1.0}[align] * width
    assert columns[0] == pytest.approx(left, abs=2)
    assert columns[-1] == pytest.approx(left + width, abs=2.5)
    assert rows[-1] == pytest.approx(50, abs=1.5)


def test_a_turned_text_reads_upwards(qapp):
    seen = ink(render(plan_of(Label("strong", 50 * PX, 80 * PX, "HINHIN", 12 * PX, turned=True))))
    rows, columns = np.flatnonzero(seen.any(axis=1)), np.flatnonzero(seen.any(axis=0))
    assert np.ptp(rows) > 2 * np.ptp(columns)
    assert rows[-1] <= 80


def test_a_text_without_room_is_shortened_with_an_ellipsis(qapp):
    text, width = fitted("mica schist, foliated", 11.0, 60.0, False)
    assert text.endswith("…")
    assert text.startswith("mica")
    assert width <= 60.0
    assert fitted("mica schist", 11.0, 0.0, False)[0] == "mica schist"
    assert fitted("mica schist", 11.0, 1.0, False) == ("", 0.0)


def test_no_text_of_a_picture_is_shortened(qapp):
    plan = compose(SOURCE, open_session(SOURCE), (1366 * PX, 768 * PX))
    for item in plan.items:
        if isinstance(item, Label):
            bold = TYPES[item.role].bold
            assert fitted(item.text, item.height, item.room, bold)[0] == item.text


def test_the_painter_is_left_as_it_was(qapp):
    image = QImage(50, 50, QImage.Format.Format_RGB32)
    with QPainter(image) as painter:
        painter.scale(0.1, 0.1)
        painter.setPen(QColor("red"))
        before = painter.worldTransform()
        paint_plan(painter, plan_of(line("tick", 1, 1, 2, 2), Label("small", 9.0, 9.0, "x", 9.0)))
        assert painter.worldTransform() == before
        assert painter.pen().color() == QColor("red")


def test_a_plan_goes_into_a_pdf_as_text(qtbot):
    plan = compose(SOURCE, open_session(SOURCE), (40_000.0, 25_000.0), PAPER)
    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    writer = QPdfWriter(buffer)
    writer.setResolution(1200)
    writer.setPageSize(QPageSize(QSizeF(400, 250), QPageSize.Unit.Millimeter))
    writer.setPageMargins(QMarginsF(0, 0, 0, 0))
    with QPainter(writer) as painter:
        painter.scale(1200 / 2540, 1200 / 2540)
        paint_plan(painter, plan)
    data = bytes(buffer.data().data())
    assert data.startswith(b"%PDF")
    assert b"/Font" in data
    assert len(data) < 1_000_000


def test_painting_a_thousand_lines_leaves_none_alone(qapp):
    plan = plan_of(*(line("tick", 1, i % 90, 50, i % 90) for i in range(1000)))
    render(plan)
    before = sys.getrefcount(None)
    render(plan)
    assert abs(sys.getrefcount(None) - before) < 50
