"""Sign-offs: who, when, what was open; a changed log, threshold or verdict shows afterwards."""

from pathlib import Path

import pandas as pd
import pytest

import tbmreview.drive.sign_off as sign_off_module
from tbmreview.cli import main
from tbmreview.domain.errors import DriveError, Overtaken, UsageError
from tbmreview.drive.judge import judge
from tbmreview.drive.opened import Drive, open_drive
from tbmreview.drive.sign_off import changed_since, sign_off, signed, signed_text
from tests.support.judged import START_US, judged_drive
from tests.support.small_drive import row, write_log

SHIFT_US = START_US - 20 * 3_600_000_000  # 06:00 in Oslo the day before


@pytest.fixture
def drive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Drive:
    return judged_drive(tmp_path, monkeypatch)


def changes(drive: Drive) -> tuple[str, ...]:
    again = open_drive(drive.folder)
    one = signed(again, SHIFT_US)
    assert one is not None
    return changed_since(again, one)


def again(drive: Drive) -> Drive:
    return open_drive(drive.folder)


def told(drive: Drive) -> str:
    one = signed(again(drive), SHIFT_US)
    assert one is not None
    return signed_text(again(drive), one)


def test_signed_with_what_was_open_then(drive: Drive) -> None:
    judge(drive, ["F001"], "agreed", who="Ida")
    one = sign_off(open_drive(drive.folder), SHIFT_US, "F002 to be seen", "Ida")
    assert (one.open, one.decided_by) == (("F002",), "Ida")
    assert changes(drive) == ()
    text = told(drive)
    assert text.startswith("Data reviewed and signed off by Ida, ")
    assert "open then: F002" in text
    assert "Changed" not in text


def test_what_changed_since_is_told(drive: Drive, tmp_path: Path) -> None:
    sign_off(drive, SHIFT_US)
    judge(open_drive(drive.folder), ["F002"], "agreed")
    assert changes(drive) == ("findings or verdicts",)
    sign_off(again(drive), SHIFT_US, who="Ida")  # anew, since a verdict changed
    with pytest.raises(DriveError, match="signed off by Ida already"):
        sign_off(again(drive), SHIFT_US)
    setup = drive.folder / "drive.toml"
    setup.write_text(setup.read_text().replace("fpi_ratio = 1.6", "fpi_ratio = 1.8"))
    assert changes(drive) == ("thresholds of findings",)
    later = write_log(tmp_path / "late.csv", [row(s) for s in range(90, 200)])
    assert main(["add", str(drive.folder), str(later)]) == 0
    assert changes(drive) == ("the log", "thresholds of findings")
    assert "Changed since: the log, thresholds of findings." in told(drive)


def test_a_log_of_another_shift_changes_nothing(drive: Drive, tmp_path: Path) -> None:
    sign_off(drive, SHIFT_US)
    other = write_log(
        tmp_path / "other.csv", [row(s) for s in range(5 * 3600, 5 * 3600 + 60)]
    )  # 07:00 in Oslo
    assert main(["add", str(drive.folder), str(other)]) == 0
    assert changes(drive) == ()


def test_taken_back_with_a_reason(drive: Drive) -> None:
    with pytest.raises(DriveError, match="not signed off"):
        sign_off(drive, SHIFT_US, "why", withdrawn=True)
    sign_off(drive, SHIFT_US)
    with pytest.raises(UsageError, match="reason"):
        sign_off(drive, SHIFT_US, withdrawn=True)
    sign_off(drive, SHIFT_US, "too early", withdrawn=True)
    again = open_drive(drive.folder)
    assert signed(again, SHIFT_US) is None
    assert [one.withdrawn for one in again.sign_offs(every=True)] == [False, True]
    with pytest.raises(DriveError, match="no shift of the drive begins"):
        sign_off(again, SHIFT_US + 1)


def test_two_who_sign_at_once_do_not_both_count(drive: Drive, monkeypatch: pytest.MonkeyPatch) -> None:
    detected = sign_off_module.detect

    def another_signs(of: Drive) -> object:
        monkeypatch.setattr(sign_off_module, "detect", detected)
        sign_off(again(drive), SHIFT_US, who="Ida")
        return detected(of)

    monkeypatch.setattr(sign_off_module, "detect", another_signs)
    with pytest.raises(Overtaken, match="look again"):
        sign_off(drive, SHIFT_US, who="Jon")
    assert [one.decided_by for one in again(drive).sign_offs(every=True)] == ["Ida"]


def test_the_command(drive: Drive, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = str(drive.folder)
    assert main(["sign-off", folder]) == 0
    assert "no shift is signed off" in capsys.readouterr().out
    assert main(["sign-off", folder, "--date", "2030-05-01", "--person", "Ida"]) == 0
    assert "says nothing about support, entry or lining" in capsys.readouterr().out
    assert main(["time", folder]) == 0
    assert "Data reviewed and signed off by Ida" in capsys.readouterr().out
    assert main(["sign-off", folder, "--withdraw"]) == 2
    assert main(["sign-off", folder, "--date", "2030-06-01"]) == 1
    assert main(["sign-off", folder, "--out", str(tmp_path / "s.csv")]) == 0
    rows = pd.read_csv(tmp_path / "s.csv")
    assert rows[["shift", "decided_by", "open"]].values.tolist() == [["day", "Ida", "F001 F002"]]
