"""One strip: its scale and its values, with what is fixed around them."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from tbmreview.domain.setup import Setup
from tbmreview.domain.table import Table
from tbmreview.scene import curves, reaction, strip_fixed
from tbmreview.scene.extent import extent, scale
from tbmreview.scene.look import Look
from tbmreview.scene.plan import Box, Item, StripFrame
from tbmreview.scene.rows import Rows
from tbmreview.scene.source import Band
from tbmreview.scene.strips import BY_NAME, REACTION, Strip


@dataclass(frozen=True, slots=True)
class Shown:
    """The profile shown: `fine` at the stated step; `level` at a coarser one where a step is narrower
    than the pixels, None where the steps show themselves. bands: of the columns of `fine`, where asked for."""

    step_m: float
    fine: Rows
    level_m: float | None
    level: Rows | None
    bands: Mapping[str, Band] = field(default_factory=dict)


def frame_of(strip: Strip, box: Box, table: Table, rows: slice | None, setup: Setup) -> StripFrame:
    """The strip's box with its scale. rows: those that the scale follows, None for the whole drive."""
    if strip.kind == REACTION:
        return StripFrame(strip.name, strip.label, strip.unit, box, 0.0, 1.0)
    columns = [table[s.column] for s in strip.series if s.column in table]
    known = [extent(c if rows is None else c[rows]) for c in columns]
    limit = limit_of(strip, setup)
    reach = math.nan if limit is None else limit
    low, high = scale(known, logarithmic=strip.logarithmic, at_least=reach)
    return StripFrame(strip.name, strip.label, strip.unit, box, low, high, strip.logarithmic)


def strip_items(frame: StripFrame, shown: Shown, setup: Setup, look: Look) -> list[Item]:
    """Everything of a strip, from its grid to its words."""
    strip, box = BY_NAME[frame.name], frame.box
    if strip.kind == REACTION:
        column = strip.series[0].column
        drawn = reaction.band(frame, shown.fine, column) if column in shown.fine else []
        return [*drawn, strip_fixed.frame_lines(box), *reaction.key(frame.label, box, look)]
    roles = tuple(s.role for s in strip.series if s.column in shown.fine)
    limit = limit_of(strip, setup)
    return [
        *bands(strip, frame, shown),
        *strip_fixed.grid(frame, look),
        *values(strip, frame, shown),
        *(() if limit is None else strip_fixed.limit_line(frame, limit, look)),
        strip_fixed.frame_lines(box),
        *strip_fixed.title(frame, roles, look),
    ]


def limit_of(strip: Strip, setup: Setup) -> float | None:
    """The limit that a strip draws, where the setup gives it."""
    return getattr(setup.machine, strip.limit) if strip.limit else None


def bands(strip: Strip, frame: StripFrame, shown: Shown) -> list[Item]:
    """Where each series lies with 95 %; an edge around it where the steps show themselves."""
    draw = curves.step_bands if shown.level is None else curves.column_bands
    rows = shown.fine.rows
    found = [shown.bands[s.column] for s in strip.series if s.column in shown.bands]
    return [i for band in found for i in draw(frame, shown.fine, band.low[rows], band.high[rows])]


def values(strip: Strip, frame: StripFrame, shown: Shown) -> list[Item]:
    """The series: steps, or columns from least to greatest with the coarser steps over them."""
    series = [s for s in strip.series if s.column in shown.fine]
    items: list[Item] = []
    if shown.level is not None:
        items += [
            curves.column_lines(f"range-{s.role}", frame, shown.fine, shown.fine[s.column]) for s in series
        ]
    if shown.level is None or not strip.adds:
        rows = shown.fine if shown.level is None else shown.level
        items += [curves.step_lines(f"line-{s.role}", frame, rows, rows[s.column]) for s in series]
    return items + curves.off_scale(frame, shown.fine, [s.column for s in series])
