"""Adds a log to copies of a drive, each in a process that is killed before one of its file operations.

    python kill_add.py TEMPLATE LOG WORK

The operations are those of a first, whole run. For each of them the drive TEMPLATE is copied to WORK/000, WORK/001, …
and LOG is added to it by a child process, which kills itself (SIGKILL: nothing is flushed, closed or caught) just
before it: before the k-th of its name on its file, since threads may do those on other files in another order, and
two of them may make one folder. Prints each operation that was not done; the last copy is of an import that was not
stopped. After the first derived table, which is written like the others, only every fifth operation is taken.
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


Operation = tuple[str, str, int]  # name, file, how many times so far


def main(template: Path, log: Path, work: Path) -> None:
    shutil.copytree(template, work / "warm")
    found = _operations(work / "warm", log)
    all_of = [name for name, *_ in found].index("commit") + FURTHER
    stops = [operation for i, operation in enumerate(found) if i < all_of or i % 5 == 0]
    stopped = 0
    for stop in [*stops, None]:
        folder = work / f"{stopped:03d}"
        shutil.copytree(template, folder)
        child = os.fork()
        if child == 0:
            _add_until(stop, folder, log)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        if os.WIFEXITED(status):
            assert os.WEXITSTATUS(status) == 0
            if stop is not None:  # a folder that only one thread made this time
                shutil.rmtree(folder)
            continue
        assert os.WTERMSIG(status) == signal.SIGKILL
        print(*stop, flush=True)
        stopped += 1


def _operations(folder: Path, log: Path) -> list[Operation]:
    """The operations of an import, in order; what is loaded and parsed once is so before the children."""
    found: list[Operation] = []
    _watched(found.append, folder, log)
    return found


def _add_until(stop: Operation | None, folder: Path, log: Path) -> None:
    def met(operation: Operation) -> None:
        if operation == stop:
            os.kill(os.getpid(), signal.SIGKILL)

    _watched(met, folder, log)


def _watched(met: Callable[[Operation], None], folder: Path, log: Path) -> None:
    counted: Counter[tuple[str, str]] = Counter()

    def before(name: str, path: Path) -> None:
        key = name, "" if path == folder else path.name.replace(str(os.getpid()), "")
        counted[key] += 1
        met((*key, counted[key]))

    disk.before = before
    add(folder, [log])


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
