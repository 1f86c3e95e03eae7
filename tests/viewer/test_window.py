"""The window is driven through its session and actions; the mouse is simulated in a few tests."""

from pathlib import Path

import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtWidgets import QApplication, QLabel, QMessageBox
from pytestqt.qtbot import QtBot

from tbmreview.domain.cautions import CAUTION, CAUTIONS
from tbmreview.domain.station import format_chainage
from tbmreview.scene.of_drive import DriveSource
from tbmreview.viewer.window import MainWindow
from tests.support.drives import InventedDrive


def _middle(window: MainWindow) -> float:
    return sum(window.stage.session.view_m) / 2


def test_it_opens_on_the_whole_drive_with_title_provenance_and_caution(window: MainWindow) -> None:
    low, high = window.stage.session.view_m
    assert low <= 0.0
    assert high >= 250.0
    assert "Invented drive" in window.windowTitle()
    said = window.footer.provenance.text()
    assert "12 log files" in said
    assert "172\N{NO-BREAK SPACE}800 samples" in said
    assert "0 overrules" in said
    assert window.footer.caution.text() == CAUTION


def test_wheel_zooms_about_the_pointer(window: MainWindow) -> None:
    canvas = window.picture.strips
    at = QPointF(700.0, 300.0)
    before, length = canvas.position_at(at.x()), window.stage.session.length_m
    event = QWheelEvent(
        at,
        canvas.mapToGlobal(at),
        QPoint(),
        QPoint(0, 120),
        Qt.MouseButton.NoButton,
        Qt.KeyboardModifier.NoModifier,
        Qt.ScrollPhase.NoScrollPhase,
        False,
    )
    QApplication.sendEvent(canvas.viewport(), event)
    window.picture.draw()
    assert window.stage.session.length_m == pytest.approx(length / 1.25)
    assert canvas.position_at(at.x()) == pytest.approx(before, abs=1e-6)


def test_drag_moves_the_ground_with_the_pointer(window: MainWindow, qtbot: QtBot) -> None:
    window.stage.go(window.stage.session.show(100.0, 140.0))
    window.picture.draw()
    canvas = window.picture.strips
    held = canvas.position_at(600.0)
    qtbot.mousePress(canvas.viewport(), Qt.MouseButton.LeftButton, pos=QPoint(600, 300))
    qtbot.mouseMove(canvas.viewport(), QPoint(500, 300))
    qtbot.mouseRelease(canvas.viewport(), Qt.MouseButton.LeftButton, pos=QPoint(500, 300))
    window.picture.draw()
    assert canvas.position_at(500.0) == pytest.approx(held, abs=1e-6)


@pytest.mark.parametrize(
    ("slot", "moves", "scales"),
    [
        ("closer", 0, 1 / 1.5),
        ("further", 0, 1.5),
        ("back", -1 / 8, 1),
        ("forward", 1 / 8, 1),
        ("view_back", -1, 1),
        ("view_forward", 1, 1),
    ],
)
def test_actions_move_the_view(window: MainWindow, slot: str, moves: float, scales: float) -> None:
    window.stage.go(window.stage.session.show(100.0, 120.0))
    before = _middle(window)
    window.actions_by_slot[slot].trigger()
    assert window.stage.session.length_m == pytest.approx(20.0 * scales)
    assert _middle(window) == pytest.approx(before + moves * 20.0)


def test_home_key_shows_the_whole_drive(window: MainWindow, qtbot: QtBot) -> None:
    whole = window.stage.session.view_m
    window.stage.go(window.stage.session.show(100.0, 120.0))
    with qtbot.waitActive(window):
        window.activateWindow()
    qtbot.keyClick(window.picture.strips, Qt.Key.Key_Home)
    assert window.stage.session.view_m == whole


def test_choosing_a_finding_goes_there_and_shows_its_evidence(window: MainWindow) -> None:
    finding = window.stage.source.findings()[2]
    window.side.findings.select(finding.id)
    low, high = window.stage.session.view_m
    assert low < finding.position_from_m < finding.position_to_m < high
    assert high - low < 60.0
    assert window.stage.session.finding == finding.id
    assert finding.evidence in window.side.findings.evidence.text()


def test_next_and_previous_finding_walk_the_list_and_stop_at_its_ends(window: MainWindow) -> None:
    ids = [finding.id for finding in window.side.findings.model.findings]
    seen = []
    for _ in range(len(ids) + 1):
        window.next_finding()
        seen.append(window.stage.session.finding)
    assert seen == [*ids, ids[-1]]
    window.previous_finding()
    assert window.stage.session.finding == ids[-2]


def test_ticking_strips_changes_the_picture(window: MainWindow) -> None:
    model = window.side.strips
    row = next(i for i, r in enumerate(model.rows) if r.name == "torque")
    assert model.setData(model.index(row, 0), Qt.CheckState.Unchecked.value, Qt.ItemDataRole.CheckStateRole)
    window.picture.draw()
    assert "torque" not in {frame.name for frame in window.picture.strips.plan.strips}
    assert model.setData(model.index(row, 0), Qt.CheckState.Checked.value, Qt.ItemDataRole.CheckStateRole)
    window.picture.draw()
    assert "torque" in {frame.name for frame in window.picture.strips.plan.strips}


def test_strips_stand_under_the_heading_of_their_family(window: MainWindow) -> None:
    model = window.side.strips
    headings = [row for row, strip in enumerate(model.rows) if not strip.name]
    assert [model.index(row, 0).data() for row in headings][:3] == ["Rates", "Load", "Boreability"]
    role = Qt.ItemDataRole.CheckStateRole
    assert not any(model.setData(model.index(row, 0), Qt.CheckState.Checked.value, role) for row in headings)
    assert model.index(headings[0], 0).data(role) is None


def test_rows_of_classes_are_ticked_like_strips(window: MainWindow) -> None:
    model = window.side.strips

    def shown() -> set[str]:
        window.picture.draw()
        return {row.name for row in window.picture.strips.plan.rows}

    def tick(name: str, state: Qt.CheckState) -> None:
        row = next(i for i, r in enumerate(model.rows) if r.name == name)
        assert model.setData(model.index(row, 0), state.value, Qt.ItemDataRole.CheckStateRole)

    assert {"rmr_class", "cai_class"} <= shown()
    tick("rmr_class", Qt.CheckState.Unchecked)
    tick("predicted_rmr_class", Qt.CheckState.Checked)
    assert shown() >= {"predicted_rmr_class", "cai_class"}
    assert "rmr_class" not in shown()
    assert "thrust" in {frame.name for frame in window.picture.strips.plan.strips}
    assert "gsi_class" in window.stage.session.classes  # a later table may carry it


def test_the_band_is_switched_beside_the_strips(window: MainWindow) -> None:
    window.side.band.click()
    window.picture.draw()
    plan = window.picture.strips.plan
    assert window.stage.session.band
    assert any("No band for Torque" in notice for notice in plan.notices)
    window.side.band.click()
    window.picture.draw()
    assert not any("No band for" in notice for notice in window.picture.strips.plan.notices)


def test_choosing_a_step_changes_the_values_and_the_picture_says_so(window: MainWindow) -> None:
    steps = window.side.steps
    index = steps.findData(5.0)
    steps.setCurrentIndex(index)
    steps.activated.emit(index)
    window.picture.draw()
    assert window.stage.session.step_m == 5.0
    assert any("5 m" in notice for notice in window.picture.strips.plan.notices)


def test_values_are_read_out_under_the_pointer_with_units(window: MainWindow) -> None:
    window.stage.go(window.stage.session.with_step(1.0))
    window.picture.draw()
    canvas, at = window.picture.strips, 30.55
    canvas.point(at)
    source = window.stage.source
    table = source.profile(1.0)
    row = next(i for i in range(len(table)) if table["position_to_m"][i] > at)
    chainage = float(source.setup.drive.axis.chainage_m(at))
    assert window.side.chainage.text() == f"{format_chainage(chainage)} m"
    texts = {
        window.side.strips.index(r, 0).data(): [window.side.strips.index(r, c).data() for c in (1, 2, 3)]
        for r in range(window.side.strips.rowCount())
    }
    gross, net, unit = texts["Thrust"]
    plain = [text.replace("\N{NO-BREAK SPACE}", "") for text in (gross, net)]
    assert plain == [f"{table['thrust_kN'][row]:.0f}", f"{table['net_thrust_kN'][row]:.0f}"]
    assert unit == "kN"
    assert "Mapped: " in window.side.here.text()
    canvas.leaveEvent(None)  # type: ignore[arg-type]
    assert "Point at a strip" in window.side.here.text()


def test_a_click_in_the_overview_goes_there(window: MainWindow, qtbot: QtBot) -> None:
    window.stage.go(window.stage.session.show(0.0, 20.0))
    overview = window.picture.overview
    x = round(overview.pixel_at(150.0))
    qtbot.mouseClick(overview.viewport(), Qt.MouseButton.LeftButton, pos=QPoint(x, 20))
    assert _middle(window) == pytest.approx(150.0, abs=1.0)


@pytest.mark.parametrize("size", [(1366, 768), (1920, 1080)])
def test_no_text_is_clipped(window: MainWindow, qtbot: QtBot, size: tuple[int, int]) -> None:
    window.resize(*size)
    window.side.findings.select("F3")
    window.picture.draw()
    window.point_at_middle()
    qtbot.waitUntil(lambda: window.width() == size[0])
    labels = [label for label in window.findChildren(QLabel) if label.isVisible() and label.text()]
    assert len(labels) > 5
    for label in labels:
        needed = label.heightForWidth(label.width()) if label.wordWrap() else label.sizeHint().height()
        assert label.height() >= needed, label.text()
        assert label.wordWrap() or label.width() >= label.sizeHint().width(), label.text()
    for table in (window.side.table, window.side.findings.table):
        for column in range(table.model().columnCount()):
            assert table.columnWidth(column) >= table.sizeHintForColumn(column), (table, column)
        assert table.horizontalHeader().length() <= table.viewport().width()


def test_an_error_is_one_clear_sentence(window: MainWindow) -> None:
    window.desk.failed.emit("monday.csv: no such file")
    assert isinstance(window.page, QMessageBox)
    assert window.page.text() == "monday.csv: no such file"
    window.page.close()


def test_cautions_are_told_in_full(window: MainWindow) -> None:
    window.show_cautions()
    told = window.page.text.toPlainText()
    assert all(caution in told for caution in CAUTIONS)
    window.page.close()


def test_another_drive_is_shown_whole_with_the_same_strips(window: MainWindow) -> None:
    window.stage.go(window.stage.session.with_strips(("fpi",)).show(10.0, 20.0))
    other = InventedDrive()
    other.picture = type(other.picture)(length_m=900.0, finding_count=0)
    window.desk.opened.emit(DriveSource(other))
    window.picture.draw()
    assert window.stage.session.strips == ("fpi",)
    assert window.stage.session.view_m[1] >= 900.0
    assert "does not mean safe ground" in window.side.findings.heading.text()


def test_a_grown_drive_keeps_view_and_finding(window: MainWindow) -> None:
    window.side.findings.select("F2")
    window.stage.go(window.stage.session.show(100.0, 120.0))
    longer = InventedDrive()
    longer.picture = type(longer.picture)(length_m=300.0, finding_count=12)
    window.desk.renewed.emit(DriveSource(longer))
    window.picture.draw()
    assert window.stage.session.view_m == (100.0, 120.0)
    assert window.stage.session.span_m == (0.0, 300.0)
    assert window.picture.overview.plan.view_m[1] >= 300.0
    panel = window.side.findings
    assert panel.heading.text() == "Findings (12)"
    assert panel.model.findings[panel.table.currentIndex().row()].id == "F2"
    assert panel.evidence.text() == panel.model.findings[panel.table.currentIndex().row()].evidence


def test_a_drive_that_grew_behind_another_is_not_shown(window: MainWindow) -> None:
    source = window.stage.source
    window.desk.renewed.emit(DriveSource(InventedDrive(folder=Path("left"))))
    assert window.stage.source is source


def test_the_prediction_to_compare_with_is_chosen_the_latest_first(window: MainWindow) -> None:
    box = window.side.baselines
    assert [box.itemText(i) for i in range(box.count())] == ["design", "tender"]
    box.activated.emit(1)
    assert window.stage.session.predicted == "tender"
    window.picture.draw()
    assert box.currentText() == "tender"
