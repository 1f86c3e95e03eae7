"""Writes sheets: annotated A3 pages at a fixed scale, as PDF, SVG or PNG; all of them or none."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from tbmreview.domain.errors import TbmReviewError
from tbmreview.domain.ground import GROUND_KINDS
from tbmreview.domain.station import format_chainage
from tbmreview.drive.opened import Drive
from tbmreview.scene.class_list import DEFAULT_CLASSES
from tbmreview.scene.of_drive import DriveSource
from tbmreview.scene.session import open_session
from tbmreview.scene.source import Source
from tbmreview.scene.strips import DEFAULT
from tbmreview.sheet import devices
from tbmreview.sheet.files import check_suffix, write_pages
from tbmreview.sheet.layout import Stretch
from tbmreview.sheet.page import Order, fitting_scale, pages
from tbmreview.sheet.provenance import facts, time_of


@dataclass(frozen=True, slots=True)
class Choice:
    """What a person may choose: strips from the top down, the step of the values in m (None: the one
    that suits the scale), the predicted baseline ('' the latest), what stands as date of writing, and the band of
    uncertainty behind the values, and the rows of classes, which are shown where the ground carries them."""

    strips: tuple[str, ...] = DEFAULT
    step_m: float | None = None
    predicted: str = ""
    written: str = ""
    band: bool = False
    classes: tuple[str, ...] = DEFAULT_CLASSES


def write_sheet(
    drive: Drive,
    out: Path,
    from_chainage_m: float,
    to_chainage_m: float,
    scale: int | None = 500,
    choice: Choice = Choice(),
) -> list[Path]:
    """Write the sheets of a stretch at 1:scale along the axis; the files written. scale None: the largest usual
    one at which the stretch has room on one page.

    The suffix of `out` chooses the format: one .pdf of all pages; .svg and .png are one file a page,
    numbered where there are several. Chainages in m, in either order. UsageError for another suffix;
    TbmReviewError if nothing is known of the stretch; OSError if a file cannot be written, and then
    none is.
    """
    check_suffix(out)
    order = _order(drive, from_chainage_m, to_chainage_m, scale, choice)
    devices.ensure_application()
    plans = pages(order)
    title = f"{drive.setup.drive.name}, 1:{order.scale}"
    return write_pages(out, plans, title)


def _order(drive: Drive, from_m: float, to_m: float, scale: int | None, choice: Choice) -> Order:
    source = DriveSource(drive)
    session = open_session(source, choice.strips).with_step(choice.step_m).with_predicted(choice.predicted)
    session = session.with_band(choice.band).with_classes(choice.classes)
    stretch = _known_part(source, from_m, to_m)
    written = choice.written or datetime.now(drive.setup.drive.zone).strftime("%Y-%m-%d %H:%M")
    told = facts(drive, choice.predicted, time_of(drive, stretch.from_m, stretch.to_m))
    return Order(source, session, stretch, scale or fitting_scale(stretch), told, written)


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
