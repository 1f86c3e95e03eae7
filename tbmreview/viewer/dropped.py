"""What was dropped on the window: files, and the files of folders."""

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import QUrl


def dropped_files(urls: Sequence[QUrl]) -> list[Path]:
    """The local files behind addresses, folders replaced by what lies in them (not in folders below), hidden
    files aside."""
    files: list[Path] = []
    for path in (Path(url.toLocalFile()) for url in urls if url.isLocalFile()):
        inside = sorted(path.iterdir()) if path.is_dir() else [path]
        files += [file for file in inside if file.is_file() and not file.name.startswith(".")]
    return list(dict.fromkeys(files))
