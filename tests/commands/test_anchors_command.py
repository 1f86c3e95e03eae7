"""The command `anchors` on a small drive: what it takes in, shows, writes and refuses."""

import csv
from pathlib import Path

import pytest
from support.small_drive import new_drive, small_log

from tbmreview.cli import main
from tbmreview.drive.add import add


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("anchors")
    folder = new_drive(place / "east").folder
    add(folder, [small_log(place / "a.csv", range(-600, 600))])
    return folder


def run(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    code = main([str(word) for word in words])
    return code, *capsys.readouterr()


def test_stations_come_in_and_are_shown(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(capsys, "anchors", folder)
    assert (code, out.strip()) == (
        0,
        "positions are sums of strokes: there are no surveyed stations, and no chainage in the logs",
    )
    file = tmp_path / "survey.csv"
    file.write_text(
        "Time (UTC),Chainage\n2030-05-01 23:55,4180.30\n2030-05-01 23:59,4180.55\n2030-06-02 00:10,4181\n"
    )
    assert run(capsys, "anchors", folder, file)[0] == 0
    assert "nothing changed" in run(capsys, "anchors", folder, file)[1]
    code, out, _ = run(capsys, "anchors", folder)
    assert code == 0
    assert "there is no record of that time" in out
    assert "2 of 3 surveyed stations place the strokes" in out
    table = tmp_path / "anchors.csv"
    assert run(capsys, "anchors", folder, "--out", table)[0] == 0
    rows = list(csv.DictReader(table.read_text("utf-8").splitlines()))
    assert [row["used"] for row in rows].count("yes") == 2
    assert {row["chainage_m"][:4] for row in rows} <= {"4180", "4181"}


def test_equations_part_the_axis_and_ask_for_the_side(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "equations.csv"
    file.write_text("Time (UTC),Back,Ahead\n2030-05-01 00:00,4180.5,4180.2\n")
    assert run(capsys, "anchors", folder, file, "--equations")[0] == 0
    code, _, said = run(capsys, "table", folder, "--by", "drive", "--from", "4+180.3")
    assert code == 1
    assert "write '4+180.30 back'" in said
    assert run(capsys, "table", folder, "--by", "drive", "--from", "4+180.3 back")[0] == 0


def test_wrong_usage(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "anchors", folder, "--equations")[0] == 2
    file = tmp_path / "survey.csv"
    file.write_text("Time,Chainage\n2030-05-02 12:00,4181\n")
    assert run(capsys, "anchors", folder, file, "--out", tmp_path / "a.csv")[0] == 2
    assert run(capsys, "anchors", folder, tmp_path / "none.csv")[0] == 1
