"""Notes of a drive: what its motion says (tests/motion/test_notes.py), and clocks that were set back in a file."""

from pathlib import Path

import pytest

from tbmreview.drive.add import add
from tbmreview.drive.notes import LEAST_ROWS
from tbmreview.drive.opened import Drive, open_drive
from tests.support.small_drive import new_drive, row, write_log


def told(drive: Drive) -> list[str]:
    return [note.text for note in drive.notes() if note.name == "clock_set_back"]


def drive_of(tmp_path: Path, rows: list[str]) -> Drive:
    drive = new_drive(tmp_path / "drive")
    add(drive.folder, [write_log(tmp_path / "log.csv", rows)])
    return open_drive(drive.folder)


@pytest.mark.parametrize("back", [LEAST_ROWS, 40])
def test_a_clock_that_was_set_back_is_told_by_file_and_line(tmp_path: Path, back: int) -> None:
    """Stamps go back in a file; the machine stands, so its stroke says nothing of it."""
    before = [row(second, stroke="500.0") for second in range(100)]
    after = [row(second, stroke="501.0") for second in range(100 - back, 160)]
    (text,) = told(drive_of(tmp_path, [*before, *after]))
    first = 2 + len(before)  # below the header
    assert text.startswith(f"log.csv, lines {first} to {first + back - 1}: {back} rows in a row have stamps")


def test_rows_that_are_written_twice_here_and_there_are_no_clock(tmp_path: Path) -> None:
    rows = [row(second) for second in range(200)]
    for at in range(150, 50, -5):  # with another value, each behind its own
        rows.insert(at + 1, row(at, thrust="1"))
    drive = drive_of(tmp_path, rows)
    assert len(drive.quarantine()) == 20
    assert told(drive) == []


def test_a_file_that_comes_twice_is_no_clock(tmp_path: Path) -> None:
    drive = drive_of(tmp_path, [row(second) for second in range(200)])
    add(drive.folder, [write_log(tmp_path / "again.csv", [row(s, thrust="9100") for s in range(200)])])
    assert told(open_drive(drive.folder)) == []
