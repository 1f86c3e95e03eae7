"""Photos that marks rest on: paths as a person wrote them, and where the files lie."""

import os
from pathlib import Path

from tbmreview.domain.marks import Mark


def photo_file(folder: Path, path: str) -> Path | None:
    """The file of a photo: a relative path is taken from the drive folder, else from the current one; None where
    neither has it."""
    return next((file.absolute() for file in (folder / path, Path(path)) if os.path.isfile(file)), None)


def photos_text(folder: Path, mark: Mark) -> str:
    """The paths of a mark's photos in one line, told of each that is not there."""
    return "; ".join(
        path if photo_file(folder, path) is not None else f"{path} (no such file)" for path in mark.photos
    )
