"""Atomic for real: a process that adds is killed between each pair of its file operations."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tbmreview.drive.add import add
from tbmreview.drive.check import check
from tests.support import kill_add
from tests.support.small_drive import new_drive, small_log, state_of

pytestmark = pytest.mark.skipif(os.name == "nt", reason="needs fork and SIGKILL")


def test_a_killed_import_leaves_the_old_drive_or_the_new_one(tmp_path: Path) -> None:
    template, log = new_drive(tmp_path / "template").folder, small_log(tmp_path / "b.csv", range(-60, 40))
    add(template, [small_log(tmp_path / "a.csv", range(-50, 0))])
    old = state_of(template)
    run = subprocess.run(
        [sys.executable, kill_add.__file__, template, log, tmp_path / "killed"],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )
    stopped = [line.split()[0] for line in run.stdout.splitlines()]
    assert {"lock", "mkdir", "create", "write", "sync", "rename", "rmdir", "commit"} <= set(stopped)
    folders = sorted(p for p in (tmp_path / "killed").iterdir() if p.name.isdigit())
    assert len(folders) == len(stopped) + 1
    new = state_of(folders[-1])
    assert new != old
    states = [state_of(folder) for folder in folders]
    assert states[0] == old
    at_commit = stopped.index("commit")
    assert [found == new for found in states] == [n > at_commit for n in range(len(states))]
    assert all(found in (old, new) for found in states)
    for n, folder in enumerate(folders):
        if n % 4 and n not in (at_commit, at_commit + 1):
            continue  # that the next writer heals it is shown on every fourth, and about the commit
        assert check(folder).problems == ()
        add(folder, [log])
        assert state_of(folder) == new
        report = check(folder)
        assert report.problems == ()
        assert [note.split(":")[0] for note in report.notes] == [
            "positions are sums of strokes"
        ]  # no leftovers
