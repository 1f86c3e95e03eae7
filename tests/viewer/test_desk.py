"""Long work ends in files, reports and sentences."""

from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from tbmreview.drive import opened
from tbmreview.scene.of_drive import DriveSource
from tbmreview.viewer.window import MainWindow
from tests.support.drives import InventedDrive


def test_a_sheet_of_the_stretch_in_view_is_written(window: MainWindow, qtbot: QtBot, tmp_path: Path) -> None:
    window.stage.go(window.stage.session.show(100.0, 140.0).with_strips(("fpi",)))
    out = tmp_path / "sheet.pdf"
    with qtbot.waitSignal(window.desk.reported) as told:
        window.desk.write_sheet(window.stage.source, window.stage.session, out, 500)
        assert window.footer.bar.isVisible()
        assert not window.footer.stop.isVisible()
    assert told.args == ["Sheet written", str(out)]
    assert out.read_bytes().startswith(b"%PDF")
    assert not window.footer.bar.isVisible()
    window.page.close()


def test_what_cannot_be_written_is_said(window: MainWindow, qtbot: QtBot, tmp_path: Path) -> None:
    with qtbot.waitSignal(window.desk.failed) as told:
        window.desk.write_sheet(window.stage.source, window.stage.session, tmp_path / "no" / "s.pdf", 500)
    assert "No such file or directory" in told.args[0]
    assert str(tmp_path / "no") in told.args[0]
    window.page.close()


def test_a_table_of_the_stretch_in_view_is_written(window: MainWindow, qtbot: QtBot, tmp_path: Path) -> None:
    out = tmp_path / "table.csv"
    with qtbot.waitSignal(window.desk.reported):
        window.desk.write_table(window.stage.source, window.stage.session, out)
    assert "fpi_kN_per_mm_rev" in out.read_text().splitlines()[0]
    window.page.close()


def test_another_drive_is_opened(window: MainWindow, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    other = InventedDrive(folder=Path("other"))
    monkeypatch.setattr(opened, "open_drive", lambda folder: other)
    with qtbot.waitSignal(window.stage.replaced):
        window.desk.open(Path("other"))
    assert isinstance(window.stage.source, DriveSource)
    assert window.folder == Path("other")
