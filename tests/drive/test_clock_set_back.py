"""A clock that was set back while a file was written: from the log to the finding."""

from pathlib import Path

import numpy as np
import pytest

from tbmreview.domain.findings import Finding
from tbmreview.drive.add import add
from tbmreview.drive.detect import findings
from tbmreview.drive.opened import open_drive
from tbmreview.findings.record_health import LEAST_ROWS, STEP
from tests.support.small_drive import new_drive, row, write_log


def clocks(tmp_path: Path, *logs: list[str]) -> list[Finding]:
    drive = new_drive(tmp_path / "drive")
    for number, rows in enumerate(logs):
        add(drive.folder, [write_log(tmp_path / f"log{number}.csv", rows)])
    return [f for f in findings(open_drive(drive.folder)) if f.kind == STEP]


@pytest.mark.parametrize("back", [LEAST_ROWS, 40])
def test_it_is_told_by_file_and_line_though_the_machine_stands(tmp_path: Path, back: int) -> None:
    before = [row(second, stroke="500.0") for second in range(100)]
    after = [row(second, stroke="501.0") for second in range(100 - back, 160)]
    (found,) = clocks(tmp_path, [*before, *after])
    first = 2 + len(before)  # below the header
    assert (
        f"log0.csv, lines {first} to {first + back - 1}, have stamps that the file had before; {back} of these rows"
        in (found.evidence)
    )
    assert found.figures == {"step_s": -back, "rows": back}
    assert found.end_us - found.start_us == (back - 1) * 1_000_000


def test_rows_between_them_may_be_the_same(tmp_path: Path) -> None:
    before = [row(second, stroke="500.0") for second in range(100)]
    after = [row(second, stroke="500.0" if second % 3 == 0 else "501.0") for second in range(60, 160)]
    (found,) = clocks(tmp_path, [*before, *after])
    assert found.figures["rows"] == 26
    assert found.figures["step_s"] == pytest.approx(-40, abs=2.5)


def test_one_row_less_is_no_clock(tmp_path: Path) -> None:
    before = [row(second, stroke="500.0") for second in range(100)]
    after = [row(second, stroke="501.0") for second in range(101 - LEAST_ROWS, 160)]
    assert clocks(tmp_path, [*before, *after]) == []


def test_rows_that_are_written_twice_here_and_there_are_no_clock(tmp_path: Path) -> None:
    rows = [row(second) for second in range(200)]
    for at in range(150, 50, -5):  # with another value, each behind its own
        rows.insert(at + 1, row(at, thrust="1"))
    assert clocks(tmp_path, rows) == []


def test_another_file_with_other_values_is_no_clock(tmp_path: Path) -> None:
    rows = [row(second) for second in range(200)]
    assert clocks(tmp_path, rows, [row(second, thrust="9100") for second in range(200)]) == []


def test_stamps_are_kept_of_rows_that_had_one_before_alone(tmp_path: Path) -> None:
    drive = new_drive(tmp_path / "drive")
    rows = [row(second) for second in range(60)]
    rows.insert(31, row(30, thrust="1"))
    rows.insert(20, "never" + row(20)[19:])
    add(drive.folder, [write_log(tmp_path / "log.csv", rows)])
    kept = open_drive(drive.folder)
    again = kept.stamped_again()
    assert (again["file"].tolist(), again["line"].tolist()) == (["log.csv"], [34])
    samples = kept.samples(0, 2**62)
    assert int(again["time_us"][0]) == int(samples.time_us[0]) + 30_000_000
    assert np.count_nonzero(kept.quarantine()["reason"] != "") == 2
