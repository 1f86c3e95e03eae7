"""Ground tables at the command line: classes in and out, the prediction that is named, rows of classes on a sheet."""

import csv
from pathlib import Path

import pytest
from support.small_drive import new_drive, small_log

from tbmreview.cli import main
from tbmreview.drive.add import add


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("ground")
    folder = new_drive(place / "east").folder
    add(folder, [small_log(place / "a.csv", range(-600, 600))])
    mapped, tender = place / "mapped.csv", place / "tender.csv"
    mapped.write_text("from,to,rock,RMR,CAI,Q\n4180,4190,gneiss,III,2.5,10\n", encoding="utf-8")
    tender.write_text("from,to,rock,RMR,CAI,CAI scheme\n4170,4190,gneiss,72,2.5,ASTM\n", encoding="utf-8")
    assert main(["ground", str(folder), str(mapped), "--as", "mapped"]) == 0
    named = ["--name", "tender", "--issued", "2030-01-31"]
    assert main(["ground", str(folder), str(tender), "--as", "predicted", *named]) == 0
    return folder


def run(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    capsys.readouterr()
    code = main([str(word) for word in words])
    return code, *capsys.readouterr()


def test_classes_of_the_table_that_is_named(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    of_tender = ("--by", "ground", "--ground", "predicted", "--name", "tender")
    assert run(capsys, "table", folder, *of_tender, "--out", tmp_path / "t.csv")[0] == 0
    (row,) = csv.DictReader((tmp_path / "t.csv").read_text("utf-8").splitlines())
    assert (row["ground_name"], row["ground_issued"]) == ("tender", "2030-01-31")
    assert (row["rmr"], row["rmr_class"], row["rmr_scheme"]) == ("72.0", "II good", "RMR 1989")
    assert (row["cai_class"], row["cai_scheme"]) == ("high", "ASTM D7625")
    code, out, _ = run(capsys, "table", folder, "--by", "ground", "--convert", "rmr_from_q")
    assert code == 0
    assert "III fair" in out
    assert "64.72" in out
    assert "by mapped ground 'mapped', without a date of issue" in out
    assert "CERCHAR has no class: names differ" in out
    assert "rmr_from_q: 9 ln Q + 44 (Bieniawski;" in out


@pytest.mark.parametrize("command", ["balance", "discs"])
def test_whatever_goes_by_ground_says_which(
    command: str, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(capsys, command, folder, "--by", "ground")
    assert code == 0
    assert "by mapped ground 'mapped', without a date of issue" in out
    bare = new_drive(tmp_path / "bare").folder
    add(bare, [small_log(tmp_path / "a.csv", range(-600, 600))])
    assert (
        "by no ground table: nothing is mapped, so all is outside"
        in run(capsys, command, bare, "--by", "ground")[1]
    )


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("table", "--by", "day", "--ground", "predicted"), 2, "go with --by ground"),
        (("table", "--by", "ground", "--ground", "predicted", "--name", "nobody"), 1, "there is 'tender'"),
        (("table", "--by", "ground", "--convert", "rqd"), 2, "expected of rmr_from_q"),
        (("sheet", "--from", "4180", "--to", "4182", "--classes", "rmr", "--out", "s.svg"), 2, "predicted_rmr_class"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told(
    words: tuple[str, ...], code: int, said: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    try:
        got, out, err = run(capsys, words[0], folder, *words[1:])
    except SystemExit as stop:  # argparse
        got, (out, err) = int(str(stop.code)), capsys.readouterr()
    assert got == code
    assert said in out + err


def test_a_sheet_has_the_rows_that_are_asked_for(
    folder: Path, tmp_path: Path, qapp: object, capsys: pytest.CaptureFixture[str]
) -> None:
    def words_of(*classes: str) -> str:
        out = tmp_path / "s.svg"
        asked = ("--classes", *classes) if classes else ()
        place = ("--from", "4180", "--to", "4190")
        assert run(capsys, "sheet", folder, *place, *asked, "--out", out)[0] == 0
        return out.read_text("utf-8")

    mapped, predicted = words_of(), words_of("predicted_rmr_class")
    assert "III fair" in mapped
    assert "RMR 1989" in mapped
    assert "II good" not in mapped
    assert "II good" in predicted
    assert "III fair" not in predicted
