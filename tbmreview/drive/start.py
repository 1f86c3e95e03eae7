"""Making a drive folder from a setup file: all or nothing."""

import contextlib
from pathlib import Path

from tbmreview.domain.errors import DriveError
from tbmreview.drive.history import person
from tbmreview.drive.opened import Drive, open_drive
from tbmreview.store import disk
from tbmreview.store.layout import Layout
from tbmreview.store.setup_file import full_text, parse, read_text
from tbmreview.store.writing import create_catalogue, file_errors, writing


def start(folder: Path | str, setup_file: Path | str) -> Drive:
    """Make a drive in a folder that is not there yet, or is empty.

    Its drive.toml states what the file gives and every default. SetupError if the file is wrong,
    DriveError if the folder is in the way or cannot be made; then nothing was made.
    """
    folder, setup_file = Path(folder), Path(setup_file)
    text = read_text(setup_file)
    setup, given = parse(text, str(setup_file))
    if folder.exists() and not _free(folder):
        raise DriveError(f"{folder}: in the way; a drive is made in a new or an empty folder")
    made = [path for path in (folder, *folder.parents) if not path.exists()]
    try:
        with file_errors(folder):
            _build(folder, full_text(setup, given), {"setup_file": setup_file.name, "text": text})
    except BaseException:
        with contextlib.suppress(OSError):
            _clear(folder)
            for path in filter(Path.exists, made):
                path.rmdir()
        raise
    return open_drive(folder)


def _build(folder: Path, text: str, origin: dict[str, str]) -> None:
    """Make both files aside, then move them in, the catalogue last: with it the drive is there."""
    there, aside = Layout(folder), Layout(Layout(folder).incoming)
    _clear(folder)
    disk.make_folder(aside.folder)
    with disk.new_file(aside.setup) as file:
        file.write(text.encode())
    create_catalogue(aside.folder)
    with writing(aside.folder, person()) as work:
        work.record("start", origin)
    disk.rename(aside.setup, there.setup)
    disk.rename(aside.catalogue, there.catalogue)
    disk.remove(aside.folder)


def _free(folder: Path) -> bool:
    """Whether the folder is empty, or holds no more than what a killed start has left."""
    there = Layout(folder)
    return folder.is_dir() and (
        not any(folder.iterdir())
        or set(folder.iterdir()) in ({there.incoming}, {there.incoming, there.setup})
    )


def _clear(folder: Path) -> None:
    """Remove what a start that did not finish has made."""
    there = Layout(folder)
    for path in (there.catalogue, there.setup, there.incoming):
        if path.exists():
            disk.remove(path)
