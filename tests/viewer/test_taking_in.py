"""Logs dropped on the window: understood, asked about where a question is open, added, reported."""

import threading
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QMimeData, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent, QGuiApplication
from PySide6.QtWidgets import QDialog, QLabel, QMessageBox
from pytestqt.qtbot import QtBot

from tbmreview.drive import add as add_module
from tbmreview.drive import columns as columns_module
from tbmreview.drive.opened import open_drive
from tbmreview.scene.of_drive import DriveSource
from tbmreview.viewer.column_choice import KEEP
from tbmreview.viewer.columns_page import ColumnsPage
from tbmreview.viewer.desk import BUSY
from tbmreview.viewer.import_page import ImportPage
from tbmreview.viewer.rows_page import RowsPage
from tbmreview.viewer.window import MainWindow
from tests.support.logs import ENGLISH, Field, TinyMachine, tiny_machine, written
from tests.support.small_drive import new_drive, state_of

SLOW = 20_000  # ms; the first import of a process is slow


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return new_drive(tmp_path / "drive").folder


@pytest.fixture
def window(qtbot: QtBot, dressed: None, folder: Path) -> Iterator[MainWindow]:
    made = MainWindow(DriveSource(open_drive(folder)))
    qtbot.addWidget(made)
    made.resize(1366, 768)
    with qtbot.waitExposed(made):
        made.show()
    yield made
    for page in made.findChildren(QDialog):
        page.close()


def settled_log(folder: Path, name: str = "settled.csv", day: int = 5) -> Path:
    path = folder.parent / name
    path.write_text(written(tiny_machine(300), start=datetime(2024, 3, day, 6)))
    return path


def asking_log(folder: Path, name: str = "asking.csv") -> Path:
    """Two columns of the same name that differ: which one is the thrust must be asked."""
    machine = tiny_machine(300)
    values = {**machine.values, "other": machine.values["main_thrust_kN"] * 1.4 + np.arange(300)}
    fields = (*ENGLISH, Field("Thrust force [kN]", "other"))
    path = folder.parent / name
    path.write_text(written(TinyMachine(machine.seconds, values), fields))
    return path


def dropped(window: MainWindow, *paths: Path) -> None:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(path)) for path in paths])
    event = QDropEvent(
        QPointF(400, 300),
        Qt.DropAction.CopyAction,
        data,
        Qt.MouseButton.LeftButton,
        Qt.KeyboardModifier.NoModifier,
    )
    window.dropEvent(event)


def asked(window: MainWindow, qtbot: QtBot, *paths: Path) -> ColumnsPage:
    with qtbot.waitSignal(window.desk.asked, timeout=SLOW):
        dropped(window, *paths)
    assert window.columns_page is not None
    return window.columns_page


def test_settled_logs_are_added_and_reported_and_the_picture_follows(
    window: MainWindow, qtbot: QtBot, folder: Path
) -> None:
    log = settled_log(folder)
    with qtbot.waitSignal(window.desk.renewed, timeout=SLOW):
        dropped(window, log)
    assert window.columns_page is None
    assert open_drive(folder).source_count() == 1
    assert window.stage.session.span_m[1] > window.stage.session.span_m[0]
    page = window.page
    assert isinstance(page, ImportPage)
    told = page.text.toPlainText()
    assert "300 of 300 rows kept from one file" in told
    assert all(header.header in told for header in ENGLISH)
    page.copy.click()
    assert QGuiApplication.clipboard().text() == page.report.text()


def test_a_question_is_shown_first_answered_and_then_the_log_is_added(
    window: MainWindow, qtbot: QtBot, folder: Path
) -> None:
    page = asked(window, qtbot, asking_log(folder))
    before = state_of(folder)
    assert page.heading.text().startswith("1 open question: asking.csv")
    assert not page.add.isEnabled()
    rows = page.model.rows
    assert [row.open for row in rows[:2]] == [True, False]
    assert page.model.index(0, 0).data() == "open"
    assert page.table.currentIndex().row() == 0
    assert "is this the main thrust" in page.choice.question.text()
    assert np.isfinite(page.model.values(0)).sum() == 300
    assert [button.text() for button in page.choice.buttons] == ["Main thrust, written in kN", KEEP]
    with qtbot.waitSignal(window.desk.asked, timeout=SLOW):
        page.choice.buttons[0].click()
        assert not page.add.isEnabled()
    assert page.heading.text() == "Every column is settled: asking.csv can be added"
    assert page.model.index(0, 0).data() == "stated"
    assert state_of(folder) == before
    with qtbot.waitSignal(window.desk.renewed, timeout=SLOW):
        page.add.click()
    stored = open_drive(folder).samples(0, 2**62, ["main_thrust_kN"])
    assert np.nanmax(stored.values["main_thrust_kN"]) == tiny_machine(300).values["main_thrust_kN"].max()


def test_leaving_the_question_leaves_the_drive(window: MainWindow, qtbot: QtBot, folder: Path) -> None:
    before = state_of(folder)
    page = asked(window, qtbot, asking_log(folder))
    page.leave.click()
    qtbot.waitUntil(lambda: window.columns_page is None)
    assert state_of(folder) == before
    assert not window.footer.bar.isVisible()


def test_channel_and_unit_may_be_chosen_freely_and_taken_back(
    window: MainWindow, qtbot: QtBot, folder: Path
) -> None:
    log = settled_log(folder)
    with qtbot.waitSignal(window.desk.asked, timeout=SLOW):
        window.take_in([log], look=True)
    page = window.columns_page
    assert page is not None
    assert page.add.isEnabled()
    header = "Thrust force [kN]"

    def choose(text: str) -> None:
        row = next(k for k, seen in enumerate(page.model.rows) if seen.header == header)
        page.table.selectRow(row)
        index = page.choice.channel.findText(text)
        page.choice.channel.setCurrentIndex(index)
        page.choice.channel.activated.emit(index)

    choose("Gripper force")
    assert "choose the unit" in page.choice.hint.text()
    page.choice.unit.setEditText("bar")
    page.choice.unit.lineEdit().editingFinished.emit()
    assert page.choice.hint.text() == "'bar' is no known unit of force."
    with qtbot.waitSignal(window.desk.asked, timeout=SLOW):
        page.choice.unit.setEditText("MN")
        page.choice.unit.lineEdit().editingFinished.emit()
    assert page.seen.given.columns[header].unit == "MN"
    assert page.table.currentIndex().siblingAtColumn(1).data() == header
    for choice in ("Left out", "as proposed"):
        with qtbot.waitSignal(window.desk.asked, timeout=SLOW):
            choose(choice)
    assert page.seen.given.columns == {}


def test_an_open_order_of_dates_is_chosen(window: MainWindow, qtbot: QtBot, folder: Path) -> None:
    path = folder.parent / "dates.csv"
    path.write_text(written(tiny_machine(300), stamp=lambda t: (t.strftime("%d/%m/%Y %H:%M:%S"),)))
    page = asked(window, qtbot, path)
    assert "day first or month first?" in page.clock.question.text()
    index = page.clock.order.findText("day first")
    page.clock.order.setCurrentIndex(index)
    with qtbot.waitSignal(window.desk.asked, timeout=SLOW):
        page.clock.order.activated.emit(index)
    assert page.seen.questions == ()
    assert page.add.isEnabled()
    page.clock.zone.setEditText("Nowhere/Town")
    page.clock.zone.activated.emit(0)
    assert "'Nowhere/Town' is no zone" in page.clock.question.text()


def test_a_map_is_saved_and_settles_the_same_log(window: MainWindow, qtbot: QtBot, folder: Path) -> None:
    log = asking_log(folder)
    page = asked(window, qtbot, log)
    with qtbot.waitSignal(window.desk.asked, timeout=SLOW):
        page.choice.buttons[0].click()
    out = folder.parent / "map.toml"
    page.save_map(out)
    assert str(out) in page.heading.text()
    assert add_module.add(folder, [log], column_map=out).files[0].report.kept == 300
    page.save_map(folder.parent / "no" / "map.toml")
    assert "No such file" in page.heading.text()


def test_a_late_answer_does_not_replace_a_newer_choice(
    window: MainWindow, qtbot: QtBot, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = asked(window, qtbot, asking_log(folder))
    gate, told = threading.Event(), []
    real = columns_module.understood_again

    def slow(*args: object) -> object:
        gate.wait(5)
        return real(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(columns_module, "understood_again", slow)
    window.desk.asked.connect(told.append)
    first, second = (row.header for row in page.model.rows[:2])
    for header in (first, second):
        page.choice.stated.emit(header, page.choice._entries[0])
    gate.set()
    qtbot.waitUntil(lambda: not window.desk.jobs.busy(), timeout=SLOW)
    assert [tuple(seen.given.columns) for seen in told] == [(second,)]


def test_an_import_that_is_stopped_leaves_the_drive(
    window: MainWindow, qtbot: QtBot, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, source = state_of(folder), window.stage.source
    reading = threading.Event()
    real = add_module.read_log

    def read_log(path: Path, log: object, on_block: object) -> object:
        reading.set()
        while not window.desk.jobs._current["add"][1].stopped():
            pass
        return real(path, log, on_block)  # type: ignore[arg-type]

    monkeypatch.setattr(add_module, "read_log", read_log)
    dropped(window, settled_log(folder))
    qtbot.waitUntil(reading.is_set, timeout=SLOW)
    assert window.footer.stop.isVisible()
    with qtbot.waitSignal(window.desk.failed, timeout=SLOW) as told:
        window.take_in([settled_log(folder, "next.csv")])
    assert told.args == [BUSY]
    with qtbot.waitSignal(window.desk.failed, timeout=SLOW) as told:
        window.footer.stop.click()
    assert "the drive is as it was" in told.args[0]
    assert state_of(folder) == before
    assert window.stage.source is source
    assert not window.footer.bar.isVisible()


def test_what_is_no_log_is_said_in_one_sentence(window: MainWindow, qtbot: QtBot, folder: Path) -> None:
    before = state_of(folder)
    broken = folder.parent / "broken.csv"
    broken.write_text("")
    with qtbot.waitSignal(window.desk.failed, timeout=SLOW) as told:
        dropped(window, settled_log(folder), broken)
    assert "broken.csv: the file is empty" in told.args[0]
    assert isinstance(window.page, QMessageBox)
    assert state_of(folder) == before


def test_files_that_correct_replace_what_is_stored(window: MainWindow, qtbot: QtBot, folder: Path) -> None:
    log = settled_log(folder)
    add_module.add(folder, [log])
    machine = tiny_machine(300)
    values = {**machine.values, "main_thrust_kN": machine.values["main_thrust_kN"] + 1}
    log.write_text(written(TinyMachine(machine.seconds, values)))
    with qtbot.waitSignal(window.desk.asked, timeout=SLOW):
        window.take_in([log], look=True)
    assert not window.columns_page.correct.isChecked()
    window.columns_page.correct.click()
    with qtbot.waitSignal(window.desk.renewed, timeout=SLOW):
        window.columns_page.add.click()
    stored = open_drive(folder).samples(0, 2**62, ["main_thrust_kN"])
    np.testing.assert_array_equal(stored.values["main_thrust_kN"], values["main_thrust_kN"])


def test_quarantined_rows_are_shown_by_reason_and_saved(
    window: MainWindow, qtbot: QtBot, folder: Path
) -> None:
    log = settled_log(folder)
    lines = log.read_text().splitlines()
    log.write_text("\n".join([*lines[:100], "torn", *lines[100:], "also,torn"]) + "\n")
    with qtbot.waitSignal(window.desk.renewed, timeout=SLOW):
        dropped(window, log)
    report = window.import_page
    assert report is not None
    with qtbot.waitSignal(window.desk.quarantined, timeout=SLOW):
        report.rows.click()
    page = window.page
    assert isinstance(page, RowsPage)
    assert page.heading.text() == "2 quarantined rows"
    assert page.files.currentText() == "settled.csv (2)"
    shown = [[page.model.index(row, k).data() for k in (0, 1, 3)] for row in range(2)]
    assert shown == [["settled.csv", "101", "torn"], ["settled.csv", "303", "also,torn"]]
    reason = page.model.index(0, 2).data()
    page.reasons.setCurrentIndex(page.reasons.findData(reason))
    page.reasons.activated.emit(0)
    assert {page.model.index(row, 2).data() for row in range(page.model.rowCount())} == {reason}
    out = folder.parent / "rows.csv"
    with qtbot.waitSignal(window.desk.reported, timeout=SLOW):
        page.wanted.emit(page.model.table, out)
    assert out.read_text().splitlines()[:2] == ["file,line,reason,text", f"settled.csv,101,{reason},torn"]


def test_a_folder_is_the_files_in_it(window: MainWindow, qtbot: QtBot, folder: Path) -> None:
    logs = folder.parent / "logs"
    logs.mkdir()
    (logs / ".hidden").write_text("no log")
    for day in (5, 6):
        settled_log(logs / "x", f"{day}.csv", day)
    with qtbot.waitSignal(window.desk.added, timeout=SLOW) as told:
        dropped(window, logs)
    assert [file.report.file for file in told.args[0].files] == ["5.csv", "6.csv"]
    qtbot.waitUntil(lambda: not window.desk.jobs.busy(), timeout=SLOW)


@pytest.mark.parametrize("size", [(1366, 768), (1920, 1080)])
def test_no_words_of_the_columns_page_are_clipped(
    window: MainWindow, qtbot: QtBot, folder: Path, size: tuple[int, int]
) -> None:
    window.resize(*size)
    page = asked(window, qtbot, asking_log(folder))
    labels = [label for label in page.findChildren(QLabel) if label.isVisible() and label.text()]
    assert len(labels) > 8
    for label in labels:
        needed = label.heightForWidth(label.width()) if label.wordWrap() else label.sizeHint().height()
        assert label.height() >= needed, label.text()
    header = page.table.horizontalHeader()
    assert header.length() <= page.table.viewport().width()
    for column in range(5):
        assert page.table.columnWidth(column) >= page.table.sizeHintForColumn(column), column
