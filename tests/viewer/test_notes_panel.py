"""Method notes in the window: asked for at strips, rows and headings, read and left by keyboard."""

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt, QUrl
from PySide6.QtGui import QContextMenuEvent
from PySide6.QtWidgets import QApplication, QTableView, QWidget
from pytestqt.qtbot import QtBot

from tbmreview.domain.table import Table
from tbmreview.help import PAGES, page, page_of_strip
from tbmreview.scene.look import PX
from tbmreview.viewer.findings_panel import FindingsModel
from tbmreview.viewer.headed import HeadedModel
from tbmreview.viewer.notes_panel import CONTENTS
from tbmreview.viewer.pages import Page
from tbmreview.viewer.rows_page import RowsModel
from tbmreview.viewer.strips_panel import StripsModel
from tbmreview.viewer.window import MainWindow

Key = Qt.Key


def ask_at(widget: QWidget, at: QPoint) -> None:
    """A right click."""
    event = QContextMenuEvent(QContextMenuEvent.Reason.Mouse, at, widget.mapToGlobal(at))
    QApplication.sendEvent(widget, event)


def middle_of(window: MainWindow, strip: str) -> QPoint:
    frame = next(f for f in window.picture.strips.plan.strips if f.name == strip)
    box = frame.box
    return QPoint(round((box.left + box.width / 2) / PX), round((box.top + box.height / 2) / PX))


def press(window: MainWindow, qtbot: QtBot, key: Key) -> None:
    with qtbot.waitActive(window):
        window.activateWindow()
    qtbot.keyClick(window.focusWidget() or window, key)


@pytest.mark.parametrize("strip", ["penetration", "torque", "fpi", "energy", "reaction"])
def test_f1_over_a_strip_shows_its_note_and_esc_gives_the_place_back(
    window: MainWindow, qtbot: QtBot, strip: str
) -> None:
    qtbot.mouseMove(window.picture.strips.viewport(), middle_of(window, strip))
    press(window, qtbot, Key.Key_F1)
    assert window.notes.panel.isVisible()
    assert not window.side.isVisible()
    assert window.notes.panel.name == page_of_strip(strip)
    assert page(window.notes.panel.name).title in window.notes.panel.text.toPlainText()
    press(window, qtbot, Key.Key_Escape)
    assert window.side.isVisible()
    assert not window.notes.panel.isVisible()


def test_beside_the_strips_f1_lists_every_note(window: MainWindow, qtbot: QtBot) -> None:
    window.picture.strips.leaveEvent(None)  # type: ignore[arg-type]
    press(window, qtbot, Key.Key_F1)
    shown = window.notes.panel.text.toPlainText()
    assert all(page(name).title in shown for name in PAGES)


@pytest.mark.parametrize("name", PAGES)
def test_a_note_shows_all_of_its_page_within_its_width(window: MainWindow, name: str) -> None:
    window.notes.read(name)
    text = window.notes.panel.text
    shown = " ".join(text.toPlainText().split())
    for line in page(name).markdown.split("\n"):
        if line.startswith("    "):  # a formula, as it is written
            assert " ".join(line.split()) in shown
    assert "`" not in shown
    assert text.horizontalScrollBar().maximum() == 0


def test_links_lead_on_and_backspace_leads_back(window: MainWindow, qtbot: QtBot) -> None:
    window.notes.read("rates")
    assert not window.notes.panel.before.isEnabled()
    window.notes.panel.text.anchorClicked.emit(QUrl("note:load"))
    assert window.notes.panel.name == "load"
    press(window, qtbot, Key.Key_Backspace)
    assert window.notes.panel.name == "rates"
    window.close_note()
    window.notes.read("wear")
    assert not window.notes.panel.before.isEnabled()


def test_page_down_reads_on_and_leaves_the_view(window: MainWindow, qtbot: QtBot) -> None:
    window.stage.go(window.stage.session.show(100.0, 120.0))
    window.notes.read("load")
    press(window, qtbot, Key.Key_PageDown)
    assert window.notes.panel.text.verticalScrollBar().value() > 0
    assert window.stage.session.view_m == (100.0, 120.0)


def test_a_right_click_on_a_strip_offers_its_note(window: MainWindow) -> None:
    ask_at(window.picture.strips.viewport(), middle_of(window, "fpi"))
    assert window.notes.menu.isVisible()
    assert window.notes.menu.entry.text() == "Method note: Boreability"
    window.notes.menu.entry.trigger()
    window.notes.menu.hide()
    assert window.notes.panel.name == "boreability"


@pytest.mark.parametrize("which", ["strips", "findings"])
def test_every_heading_and_every_row_has_a_note(window: MainWindow, which: str) -> None:
    table: QTableView = window.side.table if which == "strips" else window.side.findings.table
    header = table.horizontalHeader()
    model = table.model()
    for column in range(model.columnCount()):
        window.notes.menu.note = ""
        ask_at(header.viewport(), QPoint(header.sectionViewportPosition(column) + 2, 5))
        assert window.notes.menu.note in (*PAGES, CONTENTS), column
    for row in range(model.rowCount()):
        window.notes.menu.note = ""
        table.scrollTo(model.index(row, 0))
        ask_at(table.viewport(), table.visualRect(model.index(row, 1)).center())
        assert window.notes.menu.note in (*PAGES, CONTENTS), row
    window.notes.menu.hide()


def test_over_a_page_that_is_in_front_a_note_is_a_page_of_its_own(window: MainWindow) -> None:
    rows = Table(
        {name: np.array(["a"], object) for name in ("file", "reason", "text")} | {"line": np.ones(1)}
    )
    window.desk.quarantined.emit(rows)
    front = window.page
    ask_at(front.table.horizontalHeader().viewport(), QPoint(5, 5))
    assert window.notes.menu.entry.text() == "Method note: Logs"
    window.notes.menu.hide()
    window.notes.menu.entry.trigger()
    (note,) = front.findChildren(Page)
    assert "not taken in" in note.text.toPlainText()
    note.close()
    front.close()
    assert not window.notes.panel.isVisible()


@pytest.mark.parametrize("model", [FindingsModel, StripsModel, RowsModel])
def test_every_heading_of_a_page_with_columns_names_its_note(model: type[HeadedModel]) -> None:
    assert len(model.NOTES) == len(model.HEADINGS)
    assert set(model.NOTES) <= {*PAGES, CONTENTS}
