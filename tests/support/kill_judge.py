"""Judges copies of a drive, each in a process that is killed before its n-th statement to the catalogue.

    python kill_judge.py TEMPLATE WORK

For n = 0, 11, 22, … the drive TEMPLATE is copied to WORK/n, and a child process judges F001, draws a mark and signs
the shift off there, and kills itself (SIGKILL) just before statement n. Ends with the first copy whose acts were not
stopped.
"""

import itertools
import os
import shutil
import signal
import sqlite3
import sys
from pathlib import Path
from typing import Any

from tbmreview.domain.marks import Mark
from tbmreview.drive.judge import judge
from tbmreview.drive.marks import draw
from tbmreview.drive.opened import open_drive
from tbmreview.drive.sign_off import shifts_told, sign_off
from tbmreview.store import writing

EVERY = 11  # statements: a kill before each takes a minute


def main(template: Path, work: Path) -> None:
    shutil.copytree(template, work.with_name("warm"))
    _judge_until(-1, work.with_name("warm"))  # what is loaded once is so before the children
    for n in itertools.count(0, EVERY):
        folder = work / f"{n:03d}"
        shutil.copytree(template, folder)
        child = os.fork()
        if child == 0:
            _judge_until(n, folder)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        if os.WIFEXITED(status):
            assert os.WEXITSTATUS(status) == 0
            return
        assert os.WTERMSIG(status) == signal.SIGKILL


def _judge_until(n: int, folder: Path) -> None:
    count, connect = itertools.count(), writing.connect

    def watched(*given: Any) -> sqlite3.Connection:
        db = connect(*given)
        db.set_trace_callback(lambda _: os.kill(os.getpid(), signal.SIGKILL) if next(count) == n else None)
        return db

    drive = open_drive(folder)
    start_us = shifts_told(drive)[0][0]
    writing.connect = watched
    judge(drive, ["F001"], "agreed")
    draw(drive, Mark("water", 0.02, 0.06))
    sign_off(open_drive(folder), start_us)


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
