"""Adds a log to copies of a drive, each in a process that is killed before one of its file operations.

    python kill_add.py TEMPLATE LOG WORK

The operations are those of a first, whole run. For each of them the drive TEMPLATE is copied to WORK/000, WORK/001, …
and LOG is added to it by a child process, which kills itself (SIGKILL: nothing is flushed, closed or caught) just
before it: before the k-th that bears its name, since threads may do those of other names in another order. Prints each
operation that was not done; the last copy is of an import that was not stopped. After the first derived table, which is
written like the others, only every fifth operation is taken.
"""

import os
import shutil
import signal
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from tbmreview.drive.add import add
from tbmreview.store import disk

FURTHER = 12  # operations behind the commit, all of which are taken: a derived table and more


def main(template: Path, log: Path, work: Path) -> None:
    names = _operations(template, log, work / "warm")
    all_of = names.index("commit") + FURTHER
    counted: Counter[str] = Counter()
    stops = []
    for i, name in enumerate(names):
        counted[name] += 1
        if i < all_of or i % 5 == 0:
            stops.append((name, counted[name]))
    for n, stop in enumerate([*stops, None]):
        folder = work / f"{n:03d}"
        shutil.copytree(template, folder)
        child = os.fork()
        if child == 0:
            _add_until(stop, folder, log)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        if stop is None:
            assert os.WIFEXITED(status)
            assert os.WEXITSTATUS(status) == 0
        else:
            assert os.WIFSIGNALED(status), stop
            assert os.WTERMSIG(status) == signal.SIGKILL, stop
            print(*stop, flush=True)


def _operations(template: Path, log: Path, folder: Path) -> list[str]:
    """The operations of an import, in order; what is loaded and parsed once is so before the children."""
    shutil.copytree(template, folder)
    names: list[str] = []
    _watched(lambda operation: names.append(operation), folder, log)
    return names


def _add_until(stop: tuple[str, int] | None, folder: Path, log: Path) -> None:
    counted: Counter[str] = Counter()

    def met(operation: str) -> None:
        counted[operation] += 1
        if (operation, counted[operation]) == stop:
            os.kill(os.getpid(), signal.SIGKILL)

    _watched(met, folder, log)


def _watched(met: Callable[[str], None], folder: Path, log: Path) -> None:
    disk.before = lambda operation, path: met(operation)
    add(folder, [log])


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
