"""Judging in the window: verdict keys, marks drawn with the mouse and described, what another decided meanwhile."""

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest
from PySide6.QtCore import QPoint, Qt, QUrl
from PySide6.QtGui import QDesktopServices, QImage
from PySide6.QtWidgets import QInputDialog, QMessageBox
from pytestqt.qtbot import QtBot

from tbmreview.domain.findings import AGREED, SET_ASIDE
from tbmreview.domain.marks import Mark
from tbmreview.drive import marks
from tbmreview.drive.judge import judge
from tbmreview.drive.opened import Drive, open_drive
from tbmreview.scene.of_drive import DriveSource
from tbmreview.viewer.window import MainWindow
from tests.support.judged import found, judged_drive, noticed


@pytest.fixture
def drive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Drive:
    drive = judged_drive(tmp_path, monkeypatch)
    noticed(monkeypatch, [found(0.01, 0.04), found(0.07, 0.03)])  # where the small log bored
    return open_drive(drive.folder)


@pytest.fixture
def window(qtbot: QtBot, dressed: None, drive: Drive) -> Iterator[MainWindow]:
    made = MainWindow(DriveSource(drive))
    qtbot.addWidget(made)
    made.resize(1366, 768)
    with qtbot.waitExposed(made):
        made.show()
    made.picture.draw()
    yield made
    made.desk.close()


def test_the_verdict_keys_judge_the_chosen_finding(
    window: MainWindow, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = (f.id for f in window.stage.source.findings())
    window.side.findings.select(first)
    with qtbot.waitSignal(window.desk.decided):
        window.actions_by_slot["judging.agree"].trigger()
    window.side.findings.select(second)
    monkeypatch.setattr(QInputDialog, "getMultiLineText", lambda *_: ("thrust was lowered", True))
    with qtbot.waitSignal(window.desk.decided):
        window.actions_by_slot["judging.set_aside"].trigger()
    assert [f.verdict for f in window.stage.source.findings()] == [AGREED, SET_ASIDE]
    listed = window.side.findings.model
    assert [listed.index(row, 4).data() for row in range(listed.rowCount())] == [AGREED, SET_ASIDE]
    assert [j.note for j in window.stage.source.drive.judgements()] == ["", "thrust was lowered"]


def test_without_a_chosen_finding_it_says_so(window: MainWindow) -> None:
    window.actions_by_slot["judging.agree"].trigger()
    box = window.findChild(QMessageBox)
    assert "Select a finding" in box.text()
    box.close()


def test_what_another_judged_meanwhile_is_told_and_shown(
    window: MainWindow, qtbot: QtBot, drive: Drive
) -> None:
    first = window.stage.source.findings()[0].id
    window.side.findings.select(first)
    judge(open_drive(drive.folder), [first], SET_ASIDE, "seen at the face", "Ida")
    with qtbot.waitSignals([window.desk.failed, window.desk.decided]):
        window.actions_by_slot["judging.agree"].trigger()
    box = window.findChild(QMessageBox)
    assert f"{first} was judged 'set aside' by Ida" in box.text()
    box.close()
    assert window.stage.source.findings()[0].verdict == SET_ASIDE
    assert len(drive.judgements()) == 1


def test_a_stretch_drawn_over_the_strips_becomes_a_mark(window: MainWindow, qtbot: QtBot) -> None:
    canvas = window.picture.strips
    low, high = (round(canvas.pixel_at(at)) for at in (0.05, 0.1))
    shift = Qt.KeyboardModifier.ShiftModifier
    view = window.stage.session.view_m
    qtbot.mousePress(canvas.viewport(), Qt.MouseButton.LeftButton, shift, QPoint(high, 300))
    qtbot.mouseMove(canvas.viewport(), QPoint(low, 300))
    qtbot.mouseRelease(canvas.viewport(), Qt.MouseButton.LeftButton, shift, QPoint(low, 300))
    page = window.judging.page
    assert page is not None
    assert window.stage.session.view_m == view
    page.kind.setCurrentText("shear zone")
    page.note.setPlainText("drawn")
    with qtbot.waitSignal(window.desk.decided):
        page._keep()
    (mark,) = window.stage.source.marks()
    assert (mark.id, mark.kind, mark.note) == ("M1", "shear zone", "drawn")
    assert mark.position_from_m == pytest.approx(0.05, abs=0.011)
    assert mark.position_to_m == pytest.approx(0.1, abs=0.011)
    with qtbot.waitSignal(window.desk.decided):
        window.actions_by_slot["judging.undo"].trigger()
    assert window.stage.source.marks() == ()


def test_an_end_is_moved_in_the_row_of_marks(window: MainWindow, qtbot: QtBot, drive: Drive) -> None:
    marks.draw(drive, Mark("fault zone", 0.04, 0.12))
    with qtbot.waitSignal(window.desk.decided):
        window.desk.look_again(window.stage.source)
    window.picture.draw()
    canvas = window.picture.strips
    assert canvas.plan is not None
    row = next(r.box for r in canvas.plan.rows if r.name == "marks")
    y = round((row.top + row.height / 2) / canvas.plan.width * canvas.viewport().width())
    start, end = (round(canvas.pixel_at(at)) for at in (0.12, 0.08))
    qtbot.mousePress(canvas.viewport(), Qt.MouseButton.LeftButton, pos=QPoint(start, y))
    qtbot.mouseMove(canvas.viewport(), QPoint(end, y))
    with qtbot.waitSignal(window.desk.decided):
        qtbot.mouseRelease(canvas.viewport(), Qt.MouseButton.LeftButton, pos=QPoint(end, y))
    (mark,) = window.stage.source.marks()
    assert mark.position_to_m == pytest.approx(0.08, abs=0.011)
    assert mark.position_from_m == 0.04


def test_a_wrong_entry_keeps_the_page_open(window: MainWindow) -> None:
    window.judging.draw(0.02, 0.05)
    page = window.judging.page
    assert page is not None
    page.numbers["dip_deg"].setText("steep")
    page._keep()
    assert page.isVisible()
    assert "'steep' is no number" in page.wrong.text()
    page.reject()


def test_a_chosen_mark_is_shown_with_what_it_holds(window: MainWindow, qtbot: QtBot, drive: Drive) -> None:
    marks.draw(drive, Mark("fault zone", 0.0, 0.08, note="<wet>"))
    with qtbot.waitSignal(window.desk.decided):
        window.desk.look_again(window.stage.source)
    with qtbot.waitSignal(window.desk.contrasted):
        window.side.marks.table.selectRow(0)
    assert window.stage.session.mark == "M1"
    assert "&lt;wet>" in window.side.marks.said.text()
    assert "inside" in window.side.marks.said.text()


def test_a_photo_of_the_chosen_mark_is_opened_by_the_system(
    window: MainWindow, qtbot: QtBot, drive: Drive, monkeypatch: pytest.MonkeyPatch
) -> None:
    picture = drive.folder / "face 1 & 2.png"
    QImage(2, 2, QImage.Format.Format_RGB32).save(str(picture))
    (drive.folder / "run.sh").write_text("#!/bin/sh\n")
    marks.draw(drive, Mark("fault zone", 0.0, 0.08, photos=(picture.name, "gone.png", "run.sh")))
    with qtbot.waitSignal(window.desk.decided):
        window.desk.look_again(window.stage.source)
    with qtbot.waitSignal(window.desk.contrasted):
        window.side.marks.table.selectRow(0)
    said = window.side.marks.said
    assert "gone.png (no such file)" in said.text()
    assert "run.sh (no picture)" in said.text()
    (link,) = re.findall(r'href="([^"]*)"', said.text())
    opened: list[QUrl] = []
    monkeypatch.setattr(QDesktopServices, "openUrl", lambda url: opened.append(url) or len(opened) == 1)
    said.linkActivated.emit(unescape(link))
    assert [url.toLocalFile() for url in opened] == [str(picture)]
    said.linkActivated.emit(unescape(link))
    assert "nothing that opens the photo" in said.text()


def test_a_shift_is_signed_off(window: MainWindow, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    offered: list[list[str]] = []

    def first(parent: object, title: str, words: str, items: list[str], *_: object) -> tuple[str, bool]:
        offered.append(items)
        return items[0], True

    monkeypatch.setattr(QInputDialog, "getItem", first)
    monkeypatch.setattr(QInputDialog, "getText", lambda *_: ("seen", True))
    with qtbot.waitSignal(window.desk.decided):
        window.actions_by_slot["judging.sign_off"].trigger()
    assert "not signed off" in offered[0][0]
    (one,) = window.stage.source.drive.sign_offs()
    assert one.note == "seen"
