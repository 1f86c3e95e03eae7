"""A page of a sheet as one draw plan: the picture at its scale, and around it what makes it a document."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tbmreview.domain.errors import TbmReviewError
from tbmreview.domain.findings import Finding
from tbmreview.domain.marks import Mark
from tbmreview.domain.station import Axis, format_chainage
from tbmreview.scene import ground_rows, lod
from tbmreview.scene.compose import compose
from tbmreview.scene.look import PAPER, Look
from tbmreview.scene.plan import Box, Item, Plan, Segments
from tbmreview.scene.rows import Across, rows_in_view
from tbmreview.scene.session import Session
from tbmreview.scene.source import Source
from tbmreview.sheet import blocks
from tbmreview.sheet.layout import (
    BAND_TOP,
    FINDINGS,
    FRAME,
    LEGEND,
    PAGE_HEIGHT,
    PAGE_WIDTH,
    PICTURE,
    TITLE,
    Stretch,
    cut,
    units_per_metre,
)
from tbmreview.sheet.place import moved, moved_box
from tbmreview.sheet.provenance import Facts

LOOK = replace(PAPER, key=False)  # the key to the ground is in the legend
PLOT_ROOM = PICTURE.width - LOOK.gutter - LOOK.margin - LOOK.column
MOST_PAGES = 200
SCALES = tuple(k * 10**n for n in (2, 3, 4) for k in (1, 2, 5))
REST = Box(FRAME.left, FRAME.top, FRAME.width - TITLE.width, FRAME.height)


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be drawn: a source, the strips and step of a session, from where to where, 1:scale."""

    source: Source
    session: Session
    stretch: Stretch
    scale: int
    facts: Facts
    written: str

    @property
    def axis(self) -> Axis:
        return self.source.axis


def fitting_scale(stretch: Stretch) -> int:
    """The largest usual scale, 1:N, at which a stretch has room on one page; the smallest where none has."""
    fits = (scale for scale in SCALES if stretch.length_m * units_per_metre(scale) <= PLOT_ROOM)
    return next(fits, SCALES[-1])


def pages(order: Order) -> tuple[Plan, ...]:
    """Every page; findings whose evidence has no room beside the picture come on pages of their own."""
    stretches = cut(
        order.stretch.from_m, order.stretch.to_m, order.scale, PLOT_ROOM, order.axis.origin_um / 1e6
    )
    if len(stretches) > MOST_PAGES:
        raise TbmReviewError(
            f"that makes {len(stretches)} pages, and a sheet has {MOST_PAGES} at most: choose a shorter "
            f"stretch or a smaller scale than 1:{order.scale}"
        )
    drawn: list[tuple[Stretch, Plan | None, list[Item]]] = []
    for stretch in stretches:
        plan = picture(order, stretch)
        listed, rest = blocks.findings_block(
            findings_of(order.source, stretch), FINDINGS, order.axis, marks=marks_of(order.source, stretch)
        )
        drawn.append((stretch, plan, [*_legend(order, plan), *listed]))
        while rest:
            listed, rest = blocks.findings_block(rest, REST, order.axis, "Findings, continued")
            drawn.append((stretch, None, listed))
    return tuple(
        _page(order, stretch, plan, items, (number, len(drawn)))
        for number, (stretch, plan, items) in enumerate(drawn, start=1)
    )


def picture(order: Order, stretch: Stretch) -> Plan:
    """The strips of a stretch, its plot exactly as long as the scale says."""
    long = stretch.length_m * units_per_metre(order.scale)
    look = _look(long)
    session = replace(order.session, view_m=(stretch.from_m, stretch.to_m), finding="")
    width = look.gutter + long + look.margin + look.column / 2  # half a column to spare for rounding
    return compose(order.source, session, (width, PICTURE.height), look)


def _look(long: float) -> Look:
    """The look of paper with a column that divides the length of the plot."""
    return replace(LOOK, column=long / max(round(long / LOOK.column), 1))


def findings_of(source: Source, stretch: Stretch) -> tuple[Finding, ...]:
    """The findings that reach into a stretch."""
    return tuple(
        f
        for f in source.findings()
        if f.position_to_m >= stretch.from_m and f.position_from_m <= stretch.to_m
    )


def marks_of(source: Source, stretch: Stretch) -> tuple[Mark, ...]:
    """The marks that reach into a stretch."""
    return tuple(
        m for m in source.marks() if m.position_to_m >= stretch.from_m and m.position_from_m <= stretch.to_m
    )


def stretch_text(axis: Axis, stretch: Stretch) -> str:
    """'4+180.00 to 4+350.00 (170.00 m)'."""
    low, high = axis.chainage_m(stretch.from_m), axis.chainage_m(stretch.to_m, ends=True)
    ends = [format_chainage(float(c)) for c in (low, high)]
    return f"chainage {ends[0]} to {ends[1]} m ({stretch.length_m:.2f} m)"


def values_facts(order: Order, stretch: Stretch, plan: Plan | None) -> Facts:
    """How the values on the page were made: their step, and where the drag that net subtracts is from."""
    steps = " ".join(plan.notices) if plan is not None else "see the page with the picture"
    table = order.source.profile(1.0)
    rows = lod.visible(table["position_from_m"], table["position_to_m"], (stretch.from_m, stretch.to_m))
    told = table["drag_source"][rows].tolist() if "drag_source" in table else []
    sources = {source for text in set(told) for source in text.split("+")} - {""}
    return (("values", steps), ("drag from", ", ".join(sorted(sources)) or "not given"))


def _legend(order: Order, plan: Plan) -> list[Item]:
    source = order.source
    across = Across(plan.plot.left, plan.plot.width, 1, plan.view_m)
    tables = [ground_rows.table_shown(source, order.session, kind) for kind in ground_rows.kinds(source)]
    rocks = ground_rows.rocks([rows_in_view(table, across) for table in tables])
    roles = frozenset(item.role for item in plan.items)
    return [*blocks.legend_block(rocks, roles, LEGEND), *blocks.scale_bar(order.scale, LEGEND)]


def _page(
    order: Order, stretch: Stretch, plan: Plan | None, items: Sequence[Item], number: tuple[int, int]
) -> Plan:
    title = blocks.Title(
        order.source.setup.drive.name,
        stretch_text(order.axis, stretch),
        order.scale,
        order.written,
        *number,
    )
    facts = (*order.facts, *values_facts(order, stretch, plan))
    below = [*items, *blocks.title_block(title, facts, TITLE), *_frame(plan is not None)]
    if plan is None:
        empty = Box(PICTURE.left, PICTURE.top, 0.0, 0.0)
        return Plan(PAGE_WIDTH, PAGE_HEIGHT, empty, (stretch.from_m, stretch.to_m), (), tuple(below))
    dx, dy = PICTURE.left, PICTURE.top
    return Plan(
        PAGE_WIDTH,
        PAGE_HEIGHT,
        moved_box(plan.plot, dx, dy),
        plan.view_m,
        tuple(replace(frame, box=moved_box(frame.box, dx, dy)) for frame in plan.strips),
        (*(moved(item, dx, dy) for item in plan.items), *below),
        plan.notices,
        tuple(replace(row, box=moved_box(row.box, dx, dy)) for row in plan.rows),
    )


def _frame(pictured: bool) -> list[Item]:
    """The border of the page and the lines between its blocks."""
    lines = [
        (FRAME.left, FRAME.top, FRAME.right, FRAME.top),
        (FRAME.left, FRAME.bottom, FRAME.right, FRAME.bottom),
        (FRAME.left, FRAME.top, FRAME.left, FRAME.bottom),
        (FRAME.right, FRAME.top, FRAME.right, FRAME.bottom),
        (TITLE.left, TITLE.top if pictured else FRAME.top, TITLE.left, TITLE.bottom),
    ]
    if pictured:
        lines += [
            (FRAME.left, BAND_TOP, FRAME.right, BAND_TOP),
            (LEGEND.left, BAND_TOP, LEGEND.left, FRAME.bottom),
        ]
    else:
        lines += [(TITLE.left, BAND_TOP, TITLE.right, BAND_TOP)]
    x1, y1, x2, y2 = np.array(lines).T
    return [Segments("frame", x1, y1, x2, y2)]
