"""Verdicts: kept with name, time and note; the last one counts; another's verdict is never overwritten unseen."""

from pathlib import Path

import pandas as pd
import pytest

from tbmreview.cli import main
from tbmreview.domain.errors import DriveError, Overtaken, UsageError
from tbmreview.domain.findings import AGREED, OPEN, SET_ASIDE
from tbmreview.drive.detect import changed, detect
from tbmreview.drive.judge import change_text, judge, normal
from tbmreview.drive.opened import Drive, open_drive
from tests.support.judged import found, judged_drive, noticed


@pytest.fixture
def drive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Drive:
    return judged_drive(tmp_path, monkeypatch)


def test_the_last_verdict_counts_and_all_are_kept(drive: Drive) -> None:
    one, two = judge(drive, ["F001", "f2"], "agreed", "seen in the face", "Ida")
    assert (one.id, one.verdict, one.decided_by, one.note) == ("F001", AGREED, "Ida", "seen in the face")
    assert two.id == "F002"
    judge(open_drive(drive.folder), ["F001"], "set-aside", "thrust was lowered", "Bo")
    after = open_drive(drive.folder)
    assert [f.verdict for f in after.findings] == [SET_ASIDE, AGREED]
    assert [(j.finding, j.verdict, j.decided_by) for j in after.judgements()] == [
        ("F001", AGREED, "Ida"),
        ("F002", AGREED, "Ida"),
        ("F001", SET_ASIDE, "Bo"),
    ]


def test_two_people_the_second_is_told_and_nothing_is_written(drive: Drive) -> None:
    seen = {f.id: f.decided_us for f in drive.findings}
    judge(drive, ["F002"], AGREED, who="Ida", seen_us=seen)
    with pytest.raises(Overtaken, match=r"F002 was judged 'agreed' by Ida"):
        judge(drive, ["F001", "F002"], SET_ASIDE, "no", "Bo", seen)
    assert [j.decided_by for j in drive.judgements()] == ["Ida"]
    now = {f.id: f.decided_us for f in open_drive(drive.folder).findings}
    judge(drive, ["F001", "F002"], SET_ASIDE, "no", "Bo", now)
    assert len(drive.judgements()) == 3


@pytest.mark.parametrize(
    ("names", "verdict", "note", "error"),
    [
        (["F009"], AGREED, "", DriveError),
        (["F001"], "maybe", "", UsageError),
        (["F001"], SET_ASIDE, " ", UsageError),
    ],
)
def test_what_cannot_be_judged_is_said(
    drive: Drive, names: list[str], verdict: str, note: str, error: type
) -> None:
    with pytest.raises(error):
        judge(drive, names, verdict, note)
    assert drive.judgements() == ()


def test_verdicts_outlive_detection_and_a_finding_that_was_gone(
    drive: Drive, monkeypatch: pytest.MonkeyPatch
) -> None:
    judge(drive, ["F001"], AGREED, who="Ida")
    noticed(monkeypatch, [found(50.0)])
    assert [f.id for f in detect(open_drive(drive.folder))] == ["F002"]
    assert [f.id for f in open_drive(drive.folder).stored_findings(gone=True)] == ["F001"]
    noticed(monkeypatch, [found(11.0), found(50.0), found(80.0)])
    again = detect(open_drive(drive.folder))
    assert [(f.id, f.verdict) for f in again] == [("F001", AGREED), ("F002", OPEN), ("F003", OPEN)]
    last = open_drive(drive.folder).changes_seen()[-1]
    assert (last.new, last.gone, last.moved) == (("F001", "F003"), (), ())
    assert "2 new (F001, F003)" in change_text(last, drive)


def test_what_moved_is_told_in_metres() -> None:
    from dataclasses import replace

    before = [replace(found(10.0), id="F001"), replace(found(50.0), id="F002")]
    now = [replace(found(10.0), id="F001", position_to_m=15.0), replace(found(50.1), id="F002")]
    assert changed(before, now) == {"new": [], "gone": [], "moved": [("F001", 0.0, 2.0)]}


def test_the_commands(drive: Drive, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder = str(drive.folder)
    assert main(["verdict", folder, "F001", "--as", "agreed", "--note", "=seen", "--person", "Ida"]) == 0
    assert main(["verdict", folder, "F001", "--as", "set aside"]) == 2
    assert main(["verdict", folder, "F077", "--as", "agreed"]) == 1
    assert main(["verdict", folder, "F001"]) == 2
    assert main(["verdict", folder, "--out", str(tmp_path / "v.csv")]) == 0
    rows = pd.read_csv(tmp_path / "v.csv")
    assert rows[["id", "verdict", "decided_by", "note"]].values.tolist() == [
        ["F001", "agreed", "Ida", "'=seen"]
    ]
    capsys.readouterr()
    assert main(["findings", folder]) == 0
    said = capsys.readouterr().out
    assert "Agreed by Ida: =seen." in said
    assert "2 findings: 1 open, 1 agreed" in said
    assert main(["findings", folder, "--gone"]) == 0
    assert "no rows" in capsys.readouterr().out


def test_names_of_findings() -> None:
    assert [normal(name) for name in ("f1", " F012", "7", "1234", "x")] == [
        "F001",
        "F012",
        "F007",
        "F1234",
        "x",
    ]
