"""Adds a log to copies of a drive, each in a process that is killed before its n-th file operation.

    python kill_add.py TEMPLATE LOG WORK

For n = 0, 1, 2, … the drive TEMPLATE is copied to WORK/n and LOG is added to it by a child process,
which kills itself (SIGKILL: nothing is flushed, closed or caught) just before operation n of the store.
Prints each operation that was not done; ends with the first copy whose import was not stopped. After the
first derived table, which is written like the others, only every fifth operation is taken.
"""

import itertools
import os
import shutil
import signal
import sys
from pathlib import Path

from tbmreview.drive.add import add
from tbmreview.store import disk

ALL_OF = 21  # the commit and the first derived table are in these


def main(template: Path, log: Path, work: Path) -> None:
    shutil.copytree(template, work / "warm")
    add(work / "warm", [log])  # what is loaded and parsed once is so before the children
    for n in itertools.chain(range(ALL_OF), itertools.count(ALL_OF, 5)):
        folder = work / f"{n:03d}"
        shutil.copytree(template, folder)
        child = os.fork()
        if child == 0:
            _add_until(n, folder, log, work / "stopped")
            os._exit(0)
        _, status = os.waitpid(child, 0)
        if os.WIFEXITED(status):
            assert os.WEXITSTATUS(status) == 0
            return
        assert os.WTERMSIG(status) == signal.SIGKILL
        print((work / "stopped").read_text(), flush=True)


def _add_until(n: int, folder: Path, log: Path, note: Path) -> None:
    count = itertools.count()

    def before(operation: str, path: Path) -> None:
        if next(count) == n:
            note.write_text(f"{operation} {path.name}")
            os.kill(os.getpid(), signal.SIGKILL)

    disk.before = before
    add(folder, [log])


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
