"""From a drive and a session to a draw plan: the one place that decides what a picture shows."""

from collections.abc import Sequence

from tbmreview.domain.findings import Finding
from tbmreview.scene import axis_row, class_rows, finding_row, ground_rows, mark_row, strip_items
from tbmreview.scene.layout import Layout, lay_out
from tbmreview.scene.look import WINDOW, Look
from tbmreview.scene.plan import Box, Item, Label, Plan, RowFrame, Segments, StripFrame
from tbmreview.scene.rows import Rows, rows_in_view
from tbmreview.scene.session import STEPS_M, Session
from tbmreview.scene.source import Source
from tbmreview.scene.strip_items import Shown
from tbmreview.scene.strips import BY_NAME, LINE

STEP_COLUMNS = 2  # a step narrower than so many pixel columns is drawn as columns with a coarser line
AUTO_COLUMNS = 5  # the step chosen for a view spans at least so many ...
AUTO_MOST_M = 1.0  # ... but is never coarser than this, so that zooming out hides nothing
LEVEL_COLUMNS = 4  # steps of the line over the columns span at least so many

FINDINGS, MARKS = "findings", "marks"


def stated_step_m(session: Session, column_m: float) -> float:
    """The step whose values are shown: the one chosen, or the one that suits the view."""
    if session.step_m is not None:
        return session.step_m
    fitting = [s for s in STEPS_M if s >= AUTO_COLUMNS * column_m]
    return min(fitting[0], AUTO_MOST_M) if fitting else AUTO_MOST_M


def level_step_m(step_m: float, column_m: float) -> float | None:
    """The coarser step whose line is drawn over the columns; None where the steps show themselves."""
    if step_m >= STEP_COLUMNS * column_m:
        return None
    fitting = [s for s in STEPS_M if s > step_m and s >= LEVEL_COLUMNS * column_m]
    return fitting[0] if fitting else max(STEPS_M[-1], step_m)


def compose(source: Source, session: Session, size: tuple[float, float], look: Look = WINDOW) -> Plan:
    """The picture of `session` on a page of `size` (width, height) in units.

    The same for the window (WINDOW: a unit is 1/PX of a pixel) and for paper (PAPER: 1/100 mm).
    """
    layout = lay_out(source, session, size, look)
    shown = _shown(source, session, layout)
    frames = _frames(source, session, layout, shown.fine)
    findings = finding_row.in_view(source.findings(), layout.across)
    items = _behind(source, session, layout, findings, look)
    for frame in frames:
        items += strip_items.strip_items(frame, shown, source.setup, look)
    items += _above(source, session, layout, findings, look)
    items += axis_row.axis_row(source.axis, layout.axis, layout.across, look)
    notices = (*_notices(shown, items), *_band_notices(session, shown, frames))
    items += _words(notices, layout, look)
    rows = (
        *(RowFrame(kind, box) for kind, box in layout.ground),
        *(RowFrame(row.name, box) for row, box in layout.classes),
        RowFrame(FINDINGS, layout.findings),
        *([RowFrame(MARKS, layout.marks)] if layout.marks else []),
    )
    return Plan(size[0], size[1], layout.plot, session.view_m, frames, tuple(items), notices, rows)


def _shown(source: Source, session: Session, layout: Layout) -> Shown:
    across = layout.across
    step_m = stated_step_m(session, across.column_m)
    level_m = level_step_m(step_m, across.column_m)
    level = None if level_m is None else rows_in_view(source.profile(level_m), across)
    fine = rows_in_view(source.profile(step_m), across, by_column=True)
    bands = source.bands(step_m, _banded(session)) if session.band else {}
    return Shown(step_m, fine, level_m, level, bands)


def _banded(session: Session) -> tuple[str, ...]:
    """The columns that a band may lie around."""
    strips = (BY_NAME[name] for name in session.strips)
    return tuple(s.column for strip in strips if strip.kind == LINE for s in strip.series)


def _frames(source: Source, session: Session, layout: Layout, fine: Rows) -> tuple[StripFrame, ...]:
    rows = fine.rows if session.fit_values else None
    return tuple(
        strip_items.frame_of(strip, box, fine.table, rows, source.setup) for strip, box in layout.strips
    )


def _behind(
    source: Source, session: Session, layout: Layout, findings: Sequence[Finding], look: Look
) -> list[Item]:
    """What lies behind the values: the selected finding, upright grid, edges of findings."""
    items = finding_row.selection(findings, session.finding, layout.plot, layout.across)
    items += axis_row.upright_grid(source.axis, layout.plot, layout.across, look)
    items += finding_row.edges(findings, layout.plot, layout.across)
    items += mark_row.ends(mark_row.in_view(source.marks(), layout.across), layout.plot, layout.across)
    return items


def _above(
    source: Source, session: Session, layout: Layout, findings: Sequence[Finding], look: Look
) -> list[Item]:
    """Rows above the strips: ground of each kind with its classes, findings; and the key below."""
    items: list[Item] = []
    shown: list[Rows] = []
    for kind, box in layout.ground:
        shown.append(rows_in_view(ground_rows.table_shown(source, session, kind), layout.across))
        items += ground_rows.ground_row(shown[-1], box, look)
        items += ground_rows.row_title(kind, source.ground_names(kind), session.predicted, box, look)
    items += _classes(source, session, layout, look)
    box = layout.findings
    items.append(
        Label(
            "strong",
            look.margin,
            box.bottom - look.pad,
            FINDINGS.capitalize(),
            look.text,
            room=box.left - 2 * look.margin,
        )
    )
    items += finding_row.brackets(findings, session.finding, box, layout.across, look)
    items += _marks(source, session, layout, look)
    if look.key:
        key, taken = layout.key, 0.0
        if findings and key.width > 2 * finding_row.key_width(look):
            taken = finding_row.key_width(look)
            items += finding_row.verdict_key(key, look)
        room = Box(key.left, key.top, key.width - taken, key.height)
        items += ground_rows.key_row(ground_rows.rocks(shown), room, look)
    return items


def _marks(source: Source, session: Session, layout: Layout, look: Look) -> list[Item]:
    box = layout.marks
    if box is None:
        return []
    marks = source.marks()
    shown = [
        pair
        for pair in zip(marks, mark_row.lanes(marks), strict=True)
        if mark_row.in_view(pair[:1], layout.across)
    ]
    title = Label(
        "strong",
        look.margin,
        box.bottom - look.pad,
        MARKS.capitalize(),
        look.text,
        room=box.left - 2 * look.margin,
    )
    count = mark_row.lane_count(marks)
    return [
        title,
        *mark_row.boxes(
            [m for m, _ in shown],
            ([lane for _, lane in shown], count),
            session.mark,
            box,
            layout.across,
            look,
        ),
    ]


def _classes(source: Source, session: Session, layout: Layout, look: Look) -> list[Item]:
    items: list[Item] = []
    for row, box in layout.classes:
        rows = rows_in_view(ground_rows.table_shown(source, session, row.kind), layout.across)
        classed = class_rows.classes_shown(source, session, row.kind)[row.stem]
        items += class_rows.class_row(rows, classed, box, look)
        items += class_rows.row_title(row, classed, box, look)
    return items


def _notices(shown: Shown, items: Sequence[Item]) -> tuple[str, ...]:
    """What the picture reduces or leaves out, in words."""
    notices = []
    if len(shown.fine) == 0:
        notices.append("Nothing bored in view.")
    elif shown.level_m is None:
        notices.append(f"Values by {shown.step_m:g} m of advance.")
    else:
        notices.append(
            f"Columns: least and greatest {shown.step_m:g} m value in each; line: {shown.level_m:g} m values."
        )
    if any(isinstance(item, Segments) and item.role == "off-scale" for item in items):
        notices.append("Heavy ticks at a strip's edge: value beyond its scale.")
    return tuple(notices)


def _band_notices(session: Session, shown: Shown, frames: Sequence[StripFrame]) -> tuple[str, ...]:
    """What the band is, and which strips have none because the accuracy of a sensor is not given."""
    if not session.band:
        return ()
    strips = {frame.label: BY_NAME[frame.name] for frame in frames}
    lacks = {
        label: tuple(
            sensor for s in strip.series if s.column in shown.bands for sensor in shown.bands[s.column].lacks
        )
        for label, strip in strips.items()
    }
    sensors = dict.fromkeys(sensor for several in lacks.values() for sensor in several)
    without = [label for label, several in lacks.items() if several]
    said = () if len(without) == len(frames) else ("Pale band: 95 % uncertainty.",)
    if without:
        said = (
            *said,
            f"No band for {', '.join(without)}: [accuracy] in drive.toml lacks {', '.join(sensors)}.",
        )
    return said


def _words(notices: tuple[str, ...], layout: Layout, look: Look) -> list[Item]:
    box = layout.notice
    base = box.top + box.height / 2 + look.small * 0.35
    return [Label("notice", box.left, base, "  ".join(notices), look.small, room=box.width)]
