"""Judgements are whole or not there: a process that judges is killed before each statement to the catalogue."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tbmreview.domain.findings import AGREED
from tbmreview.drive.check import check
from tbmreview.drive.judge import judge
from tbmreview.drive.opened import Drive, open_drive
from tests.support import kill_judge
from tests.support.judged import judged_drive

pytestmark = pytest.mark.skipif(os.name == "nt", reason="needs fork and SIGKILL")


def state(drive: Drive) -> tuple[object, ...]:
    verdicts = tuple((j.finding, j.verdict) for j in drive.judgements())
    return verdicts, tuple(m.id for m in drive.marks()), len(drive.acts()), len(drive.sign_offs())


def test_a_killed_judgement_is_whole_or_not_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    template = judged_drive(tmp_path, monkeypatch).folder
    root = Path(__file__).parents[2]
    # the child's detectors find nothing in so short a log: F001 and F002 are gone there, and can still be judged
    subprocess.run(
        [sys.executable, kill_judge.__file__, template, tmp_path / "killed"],
        check=True,
        env={**os.environ, "PYTHONPATH": str(root)},
    )
    seen = []
    for folder in sorted((tmp_path / "killed").iterdir()):
        drive = open_drive(folder)
        assert not check(folder).problems
        seen.append(state(drive))
    none = ((), (), 0, 0)
    one = (
        ((("F001", AGREED),), (), 0, 0),
        ((("F001", AGREED),), ("M1",), 1, 0),
        ((("F001", AGREED),), ("M1",), 1, 1),
    )
    assert list(dict.fromkeys(seen)) == [none, *one]
    assert seen == sorted(seen, key=[none, *one].index)  # nothing done is undone by a later death
    again = open_drive(sorted((tmp_path / "killed").iterdir())[0])
    judge(again, ["F001"], "agreed")  # and the drive goes on
    assert len(again.judgements()) == 1
