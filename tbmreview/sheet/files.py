"""Pages to files: one after the other or all in one, all of them written or none."""

import os
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from tbmreview.domain.errors import UsageError
from tbmreview.scene.plan import Plan
from tbmreview.sheet import devices


def check_suffix(out: Path) -> str:
    """The suffix that chooses the format; UsageError for another."""
    suffix = out.suffix.lower()
    if suffix not in devices.SUFFIXES:
        raise UsageError(f"{out}: a sheet is written as {', '.join(devices.SUFFIXES)}")
    return suffix


def write_pages(out: Path, plans: Sequence[Plan], title: str) -> list[Path]:
    """The files written: one .pdf of all pages, or an .svg or .png a page, numbered where there are several."""
    suffix = check_suffix(out)
    if suffix == ".pdf":
        return put({out: devices.pdf_bytes(plans, title)})
    draw = devices.SINGLE[suffix]
    return put({numbered(out, i, len(plans)): draw(plan, title) for i, plan in enumerate(plans, start=1)})


def numbered(out: Path, page: int, count: int) -> Path:
    if count == 1:
        return out
    return out.with_name(f"{out.stem}-{page:0{len(str(count))}d}{out.suffix}")


def put(contents: dict[Path, bytes]) -> list[Path]:
    """Write all files aside, then rename them into place; on an error nothing is left behind."""
    aside: dict[Path, Path] = {}
    try:
        for path, data in contents.items():
            with _told_of(path):
                handle, name = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=path.suffix)
                aside[path] = Path(name)
                with os.fdopen(handle, "wb") as file:
                    file.write(data)
                    file.flush()
                    os.fsync(file.fileno())
                aside[path].chmod(0o666 & ~_umask())
        for path, temporary in aside.items():
            with _told_of(path):
                temporary.replace(path)
    finally:
        for temporary in aside.values():
            with suppress(FileNotFoundError):
                temporary.unlink()
    return list(contents)


@contextmanager
def _told_of(path: Path) -> Iterator[None]:
    """An error of the disk names the file that was asked for."""
    try:
        yield
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(path)) from error


def _umask() -> int:
    """The person's mask for new files, which a temporary file ignores."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
