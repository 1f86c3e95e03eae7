"""Making a drive: all or nothing."""

from pathlib import Path

import pytest

from tbmreview.domain.errors import DriveError, SetupError, TbmReviewError
from tbmreview.drive.opened import open_drive
from tbmreview.drive.start import start
from tbmreview.store import disk
from tests.support.small_drive import SETUP, full_disk_at, new_drive


@pytest.fixture
def setup_file(tmp_path: Path) -> Path:
    path = tmp_path / "mine.toml"
    path.write_text(SETUP, encoding="utf-8")
    return path


def test_a_drive_is_made_and_opens(tmp_path: Path, setup_file: Path) -> None:
    drive = start(tmp_path / "site" / "east", setup_file)
    again = open_drive(tmp_path / "site" / "east")
    assert drive.setup == again.setup
    assert (again.time_span_us, again.days(), again.channels) == (None, {}, ())
    (entry,) = again.history()
    assert entry.what == "start"
    assert entry.details == {"setup_file": "mine.toml", "text": SETUP}
    assert sorted(p.name for p in drive.folder.iterdir()) == ["catalogue.sqlite", "drive.toml"]


def test_an_empty_folder_is_taken(tmp_path: Path, setup_file: Path) -> None:
    (tmp_path / "east").mkdir()
    assert start(tmp_path / "east", setup_file).history()


@pytest.mark.parametrize("inside", ["notes.txt", "drive.toml", ".hidden"])
def test_a_folder_with_something_in_it_is_in_the_way(tmp_path: Path, setup_file: Path, inside: str) -> None:
    (tmp_path / "east").mkdir()
    (tmp_path / "east" / inside).write_text("mine")
    with pytest.raises(DriveError, match="in the way"):
        start(tmp_path / "east", setup_file)
    assert [p.name for p in (tmp_path / "east").iterdir()] == [inside]


def test_a_file_is_in_the_way(tmp_path: Path, setup_file: Path) -> None:
    (tmp_path / "east").write_text("mine")
    with pytest.raises(DriveError, match="in the way"):
        start(tmp_path / "east", setup_file)


def test_a_drive_is_not_made_twice(tmp_path: Path, setup_file: Path) -> None:
    start(tmp_path / "east", setup_file)
    with pytest.raises(DriveError, match="in the way"):
        start(tmp_path / "east", setup_file)
    assert len(open_drive(tmp_path / "east").history()) == 1


def test_a_wrong_setup_makes_nothing(tmp_path: Path, setup_file: Path) -> None:
    setup_file.write_text(SETUP.replace("6.40", "-6"))
    with pytest.raises(SetupError, match=r"mine\.toml: \[machine\] bore_diameter_m = -6"):
        start(tmp_path / "east", setup_file)
    assert not (tmp_path / "east").exists()


def _operations(folder: Path, setup_file: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    done: list[str] = []
    monkeypatch.setattr(disk, "before", lambda operation, path: done.append(operation))
    start(folder, setup_file)
    return done


def test_whichever_operation_fails_nothing_is_left(
    tmp_path: Path, setup_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    operations = _operations(tmp_path / "whole", setup_file, monkeypatch)
    assert {"mkdir", "create", "write", "sync", "rename", "commit"} <= set(operations)
    for fails_at in range(len(operations)):
        monkeypatch.setattr(disk, "before", full_disk_at(fails_at))
        with pytest.raises(DriveError, match="the disk is full"):
            start(tmp_path / "new" / "east", setup_file)
        assert not (tmp_path / "new").exists(), operations[fails_at]


def test_what_a_killed_start_left_is_not_in_the_way(tmp_path: Path, setup_file: Path) -> None:
    (tmp_path / "east" / "incoming").mkdir(parents=True)
    (tmp_path / "east" / "incoming" / "catalogue.sqlite").write_bytes(b"half")
    (tmp_path / "east" / "drive.toml").write_text("half")
    assert start(tmp_path / "east", setup_file).setup.drive.name == "Larkfell, east drive"


def test_a_setup_spoilt_later_is_told_on_opening(tmp_path: Path) -> None:
    drive = new_drive(tmp_path / "east")
    path = drive.folder / "drive.toml"
    path.write_text(path.read_text().replace("bore_diameter_m = 6.4", "bore_diameter_m = 64"))
    with pytest.raises(SetupError, match=r"drive\.toml: \[machine\] bore_diameter_m = 64"):
        open_drive(drive.folder)


@pytest.mark.parametrize("content", [None, "folder", "file"])
def test_what_is_no_drive_is_told(tmp_path: Path, content: str | None) -> None:
    path = tmp_path / "nothing"
    if content == "folder":
        path.mkdir()
    if content == "file":
        path.write_text("")
    with pytest.raises(TbmReviewError, match="tbmreview start"):
        open_drive(path)
