"""Overruling from the command line and in the drive: reason, name, time; the original stays; withdrawn again."""

from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd
import pyarrow.parquet as pq
import pytest

from tbmreview.cli import main
from tbmreview.domain.errors import UsageError
from tbmreview.drive.opened import Drive, open_drive
from tbmreview.drive.overrule import counted, in_force, instant, overrule, withdraw
from tests.support.small_drive import bytes_of, new_drive, small_log

SPAN = ("2030-05-02 02:00:10", "2030-05-02 02:00:40")  # local; the log runs from 01:58:30 to 02:01:30


@pytest.fixture
def drive(tmp_path: Path) -> Drive:
    new_drive(tmp_path / "d")
    assert main(["add", str(tmp_path / "d"), str(small_log(tmp_path / "log.csv"))]) == 0
    return open_drive(tmp_path / "d")


def boring_s(folder: Path) -> float:
    return float(open_drive(folder).cells["boring_s"].sum())


def test_stated_listed_followed_and_withdrawn(drive: Drive) -> None:
    whole = boring_s(drive.folder)
    one = overrule(drive, "state", "turning_free", SPAN, "a test of the head", "Ingrid")
    assert (one.id, one.value, one.end_us - one.start_us) == ("O1", "turning free", 30_000_000)
    after = open_drive(drive.folder)
    assert boring_s(drive.folder) == pytest.approx(whole - 30)
    assert in_force(after) == after.overrules()
    assert after.overrules()[0].decided_by == "Ingrid"
    assert after.overrules()[0].reason == "a test of the head"
    assert counted(after) == "1 by people (O1 state)"
    assert counted(after, (one.end_us, one.end_us + 1)) == "0 by people"
    withdraw(after, "O1", "it bored after all")
    again = open_drive(drive.folder)
    assert boring_s(drive.folder) == pytest.approx(whole)
    assert in_force(again) == ()
    assert again.overrules()[0].reason == "a test of the head; withdrawn: it bored after all"
    assert [entry.what for entry in again.history()][-2:] == ["overrule", "overrule withdrawn"]


def test_the_command_says_what_changed_and_files_count_it(
    drive: Drive, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    folder = str(drive.folder)
    words = [
        "overrule",
        folder,
        "state",
        "standing",
        "--start",
        SPAN[0],
        "--end",
        SPAN[1],
        "--reason",
        "test",
    ]
    assert main(words) == 0
    assert "O1: state 'standing'; advance" in capsys.readouterr().out
    assert main(["overrule", folder]) == 0
    assert "standing" in capsys.readouterr().out
    assert main(["overrule", folder, "--out", str(tmp_path / "o.csv")]) == 0
    assert pd.read_csv(tmp_path / "o.csv")["value"].tolist() == ["standing"]
    for suffix in ("parquet", "xlsx", "csv"):
        assert main(["table", folder, "--by", "drive", "--out", str(tmp_path / f"t.{suffix}")]) == 0
    assert pq.read_schema(tmp_path / "t.parquet").metadata[b"overrules"] == b"1 by people (O1 state)"
    assert (tmp_path / "t.csv").read_text().startswith("position_from_m,")
    capsys.readouterr()
    assert main(["table", folder, "--by", "drive"]) == 0
    assert "overrules: 1 by people (O1 state)" in capsys.readouterr().out
    assert main(["overrule", folder, "--withdraw", "O1", "--reason", "no test"]) == 0
    assert "withdrawn" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("state", "standing", "--start", SPAN[0], "--end", SPAN[1]), 2, "reason"),
        (("state", "asleep", "--start", SPAN[0], "--end", SPAN[1], "--reason", "x"), 2, "turning free"),
        (("state", "standing", "--start", SPAN[0], "--reason", "x"), 2, "--end"),
        (("state", "standing", "--start", SPAN[1], "--end", SPAN[0], "--reason", "x"), 2, "not after"),
        (("state", "standing", "--start", "noon", "--end", SPAN[0], "--reason", "x"), 2, "no time"),
        (("ring", "many", "--start", SPAN[0], "--end", SPAN[1], "--reason", "x"), 2, "number of a ring"),
        (
            ("state", "standing", "--start", "2031-01-01", "--end", "2031-01-02", "--reason", "x"),
            1,
            "no sample",
        ),
        (("colour", "red", "--start", SPAN[0], "--end", SPAN[1], "--reason", "x"), 2, "colour"),
        (("--withdraw", "O7", "--reason", "x"), 1, "O7"),
        (("state",), 2, "--start"),
    ],
)
def test_a_mistake_is_told_and_changes_nothing(
    drive: Drive, words: tuple[str, ...], code: int, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = bytes_of(drive.folder)
    try:
        got = main(["overrule", str(drive.folder), *words])
    except SystemExit as stop:
        got = int(stop.code or 0)
    assert (got, says in capsys.readouterr().err) == (code, True)
    assert bytes_of(drive.folder) == before


def test_local_times_at_both_changes_of_the_clock() -> None:
    zone = ZoneInfo("Europe/Oslo")
    assert instant("2030-10-27 01:30", zone) == instant("2030-10-26T23:30Z", zone)
    for text, why in (("2030-10-27 02:30", "comes twice"), ("2030-03-31 02:30", "does not exist")):
        with pytest.raises(UsageError, match=why):
            instant(text, zone)
    assert instant("2030-10-27 02:30+01:00", zone) - instant("2030-10-27 02:30+02:00", zone) == 3_600_000_000
