"""The few file operations with which a drive is changed, each announced before it happens.

Everything that alters the folder goes through here, so that a test can stop the program, or fill
the disk, before any one of them and prove that the drive is then the old or the new one.
"""

import io
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

Watch = Callable[[str, Path], None]


def unwatched(operation: str, path: Path) -> None:
    """Nobody is watching."""


before: Watch = unwatched  # called with each operation's name and path before it is done
buffer_bytes = 1 << 20


class _Written(io.FileIO):
    """A new file; a failing write names it."""

    def write(self, data: object) -> int:
        path = Path(os.fsdecode(self.name))
        before("write", path)
        try:
            return super().write(data)  # type: ignore[arg-type]
        except OSError as error:
            raise OSError(error.errno, error.strerror, str(path)) from error


@contextmanager
def new_file(path: Path, *, durable: bool = True) -> Iterator["io.BufferedWriter[_Written]"]:
    """A new file to write to; on leaving it is closed, and on the disk if `durable`.

    FileExistsError if it is there already. A file whose writing failed is left for the sweep.
    """
    before("create", path)
    raw = _Written(path, "x")
    try:
        stream = io.BufferedWriter(raw, buffer_bytes)
        yield stream
        stream.flush()
        if durable:
            before("sync", path)
            os.fsync(raw.fileno())
    finally:
        raw.close()


def rename(source: Path, target: Path) -> None:
    """Give a file its name, in place of what has it, and make the name durable."""
    before("rename", target)
    os.replace(source, target)
    sync_folder(target.parent)


def make_folder(folder: Path) -> None:
    """The folder and those above it, each name durable; one that is there is left alone."""
    if folder.is_dir():
        return
    make_folder(folder.parent)
    before("mkdir", folder)
    folder.mkdir(exist_ok=True)
    sync_folder(folder.parent)


def remove(path: Path) -> None:
    """Remove a file, or a folder with the files in it; one that is gone is no error."""
    if path.is_dir() and not path.is_symlink():
        for inner in sorted(path.iterdir()):
            remove(inner)
        before("rmdir", path)
        path.rmdir()
    else:
        before("unlink", path)
        path.unlink(missing_ok=True)


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable, where the system can (Windows cannot, and need not)."""
    if os.name == "nt":
        return
    before("sync", folder)
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
