"""The morning's shift review: one page a shift, the ribbon of its time above what was bored along chainage."""

from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import numpy as np

from tbmreview.domain.cautions import CAUTIONS
from tbmreview.domain.station import format_chainage
from tbmreview.drive.notes import notes
from tbmreview.drive.opened import Drive
from tbmreview.drive.shift_review import ShiftReview, chosen_reviews, heading
from tbmreview.drive.shift_text import delays_words, facts_of, path_words, rates_of
from tbmreview.scene.compose import compose
from tbmreview.scene.look import PAPER
from tbmreview.scene.measure import text_width
from tbmreview.scene.of_drive import DriveSource
from tbmreview.scene.plan import Box, Item, Label, Plan, Segments
from tbmreview.scene.ribbon import ribbon, times_of
from tbmreview.scene.session import open_session
from tbmreview.sheet import devices
from tbmreview.sheet.blocks import finding_texts
from tbmreview.sheet.column import BODY, SMALL, Column
from tbmreview.sheet.files import check_suffix, write_pages
from tbmreview.sheet.layout import FRAME, PAD, PAGE_HEIGHT, PAGE_WIDTH
from tbmreview.sheet.place import moved
from tbmreview.sheet.provenance import Facts, facts

LOOK = replace(PAPER, ground_row=420.0, finding_row=480.0)
STRIPS = ("penetration", "thrust", "fpi", "energy", "reaction")
BAND = 6_400.0
BAND_TOP = FRAME.bottom - BAND
HEAD = 900.0
RIBBON = Box(FRAME.left + 300, FRAME.top + HEAD, FRAME.width - 600, 9_700)
ALONG = Box(RIBBON.left, RIBBON.bottom + 500, RIBBON.width, BAND_TOP - RIBBON.bottom - 600)
WIDTHS = (12_000.0, 11_500.0, 15_500.0)
MARGIN_M = 0.5  # of tunnel shown on either side of what was bored
NO_FINDINGS = "None in this shift. That does not mean safe ground."


@dataclass(frozen=True, slots=True)
class Order:
    """What the pages are made of."""

    drive: Drive
    source: DriveSource
    written: str


def write_shifts(
    drive: Drive, out: Path, day: str | None = None, name: str | None = None, written: str = ""
) -> list[Path]:
    """Write a page for each shift of a date, or for the one of a name; without a date, of the last date with a
    record. The files written. The suffix of `out` chooses .pdf, .svg or .png.

    UsageError for another suffix, date or name; DriveError if there is no such shift.
    """
    check_suffix(out)
    found = chosen_reviews(drive, day, name)
    stamp = written or datetime.now(drive.setup.drive.zone).strftime("%Y-%m-%d %H:%M")
    order = Order(drive, DriveSource(drive), stamp)
    devices.ensure_application()
    plans = [page(order, review, (i, len(found))) for i, review in enumerate(found, start=1)]
    return write_pages(out, plans, f"{drive.setup.drive.name}, shift review {found[0].day}")


def page(order: Order, review: ShiftReview, number: tuple[int, int]) -> Plan:
    """The page of one shift."""
    drive, span = order.drive, (review.start_us, review.end_us)
    title = f"Shift review: {heading(review, drive)}"
    room = FRAME.width - text_width(title, 400.0) - 1_500
    items: list[Item] = [
        Label("strong", FRAME.left + 300, FRAME.top + 560, title, 400.0),
        Label("unit", FRAME.right - 300, FRAME.top + 560, drive.setup.drive.name, 300.0, "right", room=room),
        *ribbon(times_of(drive, review), RIBBON, LOOK),
    ]
    picture = along_chainage(order, review)
    if picture is None:
        words = "Nothing bored in this shift."
        items.append(
            Label("unit", ALONG.left + ALONG.width / 2, ALONG.top + ALONG.height / 2, words, 300.0, "centre")
        )
    else:
        items += [moved(item, ALONG.left, ALONG.top) for item in picture.items]
    told = facts(drive, span_us=span)
    items += [
        *_figures(order, review),
        *_findings(order, review),
        *_title(order, review, told, number),
        *_frame(),
    ]
    empty = Box(ALONG.left, ALONG.top, 0.0, 0.0)
    return Plan(PAGE_WIDTH, PAGE_HEIGHT, empty, (0.0, 0.0), (), tuple(items))


def along_chainage(order: Order, review: ShiftReview) -> Plan | None:
    """Main indicators along the stretch that was bored, not to scale; None where nothing was."""
    low, high = review.position_m
    if not high > low:
        return None
    view = (low - MARGIN_M, high + MARGIN_M)
    session = replace(open_session(order.source, STRIPS), view_m=view, fit_values=True)
    return compose(order.source, session, (ALONG.width, ALONG.height), LOOK)


def _box(column: int) -> Box:
    return Box(FRAME.left + sum(WIDTHS[:column]), BAND_TOP, WIDTHS[column], BAND)


def _figures(order: Order, review: ShiftReview) -> list[Item]:
    """Advance, rates with their denominators, delays, critical path; contradictions and what the log does not show
    as far as there is room."""
    column = Column(_box(0))
    column.heading("Advance, rates, delays")
    for name, value in (*facts_of(review, order.drive), *rates_of(review)):
        column.row(name, value, at=2_300)
    for name, value in (("critical path", path_words(review)), ("delays", delays_words(review))):
        column.row(name, value, at=2_300)
    column.gap(60)
    missing = [note.text for note in notes(order.drive, review.start_us)]
    for name, texts in (("contradictions", review.contradictions), ("not in the log", missing)):
        for i, text in enumerate(texts):
            if column.height_of(text, SMALL, 2_300) + 2 * SMALL > column.left_over:
                column.row("", f"and {len(texts) - i} more: tbmreview time", at=2_300, height=SMALL)
                break
            column.row("" if i else name, text, at=2_300, height=SMALL)
    return column.items


def _findings(order: Order, review: ShiftReview) -> list[Item]:
    """The findings that were bored in the shift, with their evidence, as far as there is room."""
    column = Column(_box(1))
    column.heading("Findings")
    if not review.findings:
        column.paragraph(NO_FINDINGS)
    for i, finding in enumerate(review.findings):
        title, body = finding_texts(finding, order.drive.axis)
        if column.height_of(title) + column.height_of(body, SMALL, 300.0) + 2 * BODY > column.left_over:
            column.paragraph(f"{len(review.findings) - i} more: tbmreview findings")
            break
        column.paragraph(title, role="strong")
        column.paragraph(body, SMALL, 300.0)
        column.gap(40)
    return column.items


def _title(order: Order, review: ShiftReview, told: Facts, number: tuple[int, int]) -> list[Item]:
    """Drive, shift, provenance, cautions, and where to sign."""
    column = Column(_box(2))
    column.heading(order.drive.setup.drive.name)
    ends = [format_chainage(float(order.drive.axis.chainage_m(p)), 2) for p in review.position_m if p == p]
    stretch = f"; chainage {' to '.join(ends)} m" if ends else ""
    column.row("shift", f"{review.name}, {review.day}{stretch}", at=1_500)
    column.row("written", f"{order.written}, page {number[0]} of {number[1]}", at=1_500)
    column.rule()
    for name, text in told:
        column.row(name, text, at=1_500, height=SMALL)
    column.rule()
    column.paragraph(" ".join(CAUTIONS), SMALL)
    if review.signed:
        column.rule()
        column.paragraph(review.signed)
    base = FRAME.bottom - PAD - 80
    left = column.box.left + PAD
    line = np.array([base + 50.0])
    items: list[Item] = [
        Label("unit", left, base, "data reviewed by", SMALL),
        Label("unit", left + 9_000, base, "date", SMALL),
    ]
    for start, end in ((1_700, 8_700), (9_500, 15_000)):
        items.append(Segments("tick", np.array([left + start]), line, np.array([left + end]), line))
    return [*column.items, *items]


def _frame() -> list[Item]:
    """The border of the page and the lines between its parts."""
    lines = [
        (FRAME.left, FRAME.top, FRAME.right, FRAME.top),
        (FRAME.left, FRAME.bottom, FRAME.right, FRAME.bottom),
        (FRAME.left, FRAME.top, FRAME.left, FRAME.bottom),
        (FRAME.right, FRAME.top, FRAME.right, FRAME.bottom),
        (FRAME.left, RIBBON.bottom + 250, FRAME.right, RIBBON.bottom + 250),
        (FRAME.left, BAND_TOP, FRAME.right, BAND_TOP),
        *((_box(i).left, BAND_TOP, _box(i).left, FRAME.bottom) for i in (1, 2)),
    ]
    x1, y1, x2, y2 = np.array(lines).T
    return [Segments("frame", x1, y1, x2, y2)]
