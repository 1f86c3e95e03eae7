"""Writes sheets: annotated A3 pages at a fixed scale, as PDF, SVG or PNG; all of them or none."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from tbmreview.domain.errors import TbmReviewError, UsageError
from tbmreview.domain.ground import GROUND_KINDS
from tbmreview.domain.station import format_chainage
from tbmreview.drive.opened import Drive
from tbmreview.scene.of_drive import DriveSource
from tbmreview.scene.session import open_session
from tbmreview.scene.source import Source
from tbmreview.scene.strips import DEFAULT
from tbmreview.sheet import devices
from tbmreview.sheet.layout import Stretch
from tbmreview.sheet.page import Order, pages
from tbmreview.sheet.provenance import facts, time_of


@dataclass(frozen=True, slots=True)
class Choice:
    """What a person may choose: strips from the top down, the step of the values in m (None: the one
    that suits the scale), the predicted baseline ('' the latest), and what stands as date of writing."""

    strips: tuple[str, ...] = DEFAULT
    step_m: float | None = None
    predicted: str = ""
    written: str = ""


def write_sheet(
    drive: Drive,
    out: Path,
    from_chainage_m: float,
    to_chainage_m: float,
    scale: int = 500,
    choice: Choice = Choice(),
) -> list[Path]:
    """Write the sheets of a stretch at 1:scale along the axis; the files written.

    The suffix of `out` chooses the format: one .pdf of all pages; .svg and .png are one file a page,
    numbered where there are several. Chainages in m, in either order. UsageError for another suffix;
    TbmReviewError if nothing is known of the stretch; OSError if a file cannot be written, and then
    none is.
    """
    suffix = out.suffix.lower()
    if suffix not in devices.SUFFIXES:
        raise UsageError(f"{out}: a sheet is written as {', '.join(devices.SUFFIXES)}")
    order = _order(drive, from_chainage_m, to_chainage_m, scale, choice)
    devices.ensure_application()
    plans = pages(order)
    title = f"{drive.setup.drive.name}, 1:{scale}"
    if suffix == ".pdf":
        return _put({out: devices.pdf_bytes(plans, title)})
    draw = devices.SINGLE[suffix]
    return _put({_numbered(out, i, len(plans)): draw(plan, title) for i, plan in enumerate(plans, start=1)})


def _order(drive: Drive, from_m: float, to_m: float, scale: int, choice: Choice) -> Order:
    source = DriveSource(drive)
    session = open_session(source, choice.strips).with_step(choice.step_m).with_predicted(choice.predicted)
    stretch = _known_part(source, from_m, to_m)
    written = choice.written or datetime.now(drive.setup.drive.zone).strftime("%Y-%m-%d %H:%M")
    told = facts(drive, choice.predicted, time_of(drive, stretch.from_m, stretch.to_m))
    return Order(source, session, stretch, scale, told, written)


def _known_part(source: Source, from_chainage_m: float, to_chainage_m: float) -> Stretch:
    """The asked-for stretch as far as anything is known of it: bored, or ground of any kind."""
    axis = source.axis
    low, high = sorted(float(axis.position_m(c)) for c in (from_chainage_m, to_chainage_m))
    ends = [*source.span_m]
    for kind in GROUND_KINDS:
        table = source.ground(kind)
        if len(table):
            ends += [float(table["position_from_m"].min()), float(table["position_to_m"].max())]
    known = min(ends), max(ends)
    low, high = max(low, known[0]), min(high, known[1])
    if high - low < 0.1:
        first, last = (format_chainage(float(axis.chainage_m(p))) for p in known)
        raise TbmReviewError(
            f"nothing to draw from {format_chainage(from_chainage_m)} to {format_chainage(to_chainage_m)}: "
            f"what is known of the drive lies from {first} to {last}"
        )
    return Stretch(low, high)


def _numbered(out: Path, page: int, count: int) -> Path:
    if count == 1:
        return out
    return out.with_name(f"{out.stem}-{page:0{len(str(count))}d}{out.suffix}")


def _put(contents: dict[Path, bytes]) -> list[Path]:
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
