"""Series of a strip as lines: steps where they are wider than pixels, else least-to-greatest columns."""

import numpy as np

from tbmreview.scene import lod
from tbmreview.scene.extent import extent
from tbmreview.scene.plan import Box, Boxes, Floats, Item, Segments, StripFrame, level
from tbmreview.scene.rows import Rows

BAND_COLUMNS = (
    2  # a band changes little from pixel to pixel, and boxes of two take little more than half the time
)


def heights(frame: StripFrame, values: Floats) -> Floats:
    """Page y of values; those beyond the scale lie on its edge, NaN stays NaN."""
    low, high = frame.low, frame.high
    if frame.logarithmic:
        values = np.log10(np.maximum(values, low))  # NaN stays NaN; 0 and below lie on the edge
        low, high = np.log10(low), np.log10(high)
    share = np.minimum(np.maximum((values - low) / (high - low), 0.0), 1.0)
    return np.asarray(frame.box.bottom - share * frame.box.height)


def step_lines(role: str, frame: StripFrame, rows: Rows, values: Floats) -> Segments:
    """Values of the rows as steps: a level line a row and risers between rows that join; a gap stays a gap."""
    y = heights(frame, values)
    known = np.isfinite(values)
    joint = lod.joints(rows.from_m, rows.to_m, values, rows.across.column_m / 2)
    turn = rows.left[joint + 1]
    right = rows.right.copy()
    right[joint] = turn
    flat = y[known]
    return Segments(
        role,
        np.concatenate([rows.left[known], turn]),
        np.concatenate([flat, y[joint]]),
        np.concatenate([right[known], turn]),
        np.concatenate([flat, y[joint + 1]]),
        _clip(frame.box, rows.across.column),
    )


def _clip(box: Box, column: float) -> Box:
    """The strip with room above and below for the thickness of a line."""
    return Box(box.left, box.top - 2 * column, box.width, box.height + 4 * column)


def column_lines(role: str, frame: StripFrame, rows: Rows, values: Floats) -> Segments:
    """Values of the rows as one upright line a pixel column, from the least to the greatest there."""
    if rows.bins is None:
        raise ValueError("rows were not binned by pixel column")
    low, high = lod.columns(values, rows.bins)
    known = np.flatnonzero(np.isfinite(low))
    across, box = rows.across, frame.box
    x: Floats = across.left + (known.astype(np.float64) + 0.5) * across.column
    y1, y2 = heights(frame, low[known]), heights(frame, high[known])
    more = np.maximum(across.column - (y1 - y2), 0.0) / 2  # a single value still shows
    return Segments(role, x, np.minimum(y1 + more, box.bottom), x, np.maximum(y2 - more, box.top))


def step_bands(frame: StripFrame, rows: Rows, low: Floats, high: Floats) -> list[Item]:
    """A band from low to high, (n,) by row: a box a row, with an edge above and below."""
    known = np.isfinite(low) & np.isfinite(high)
    left, right = rows.left[known], rows.right[known]
    top, bottom = heights(frame, high[known]), heights(frame, low[known])
    y = np.concatenate([top, bottom])
    edge = Segments("band-edge", np.tile(left, 2), y, np.tile(right, 2), y)
    return [Boxes("band", left, top, right, bottom), edge] if len(left) else []


def column_bands(frame: StripFrame, rows: Rows, low: Floats, high: Floats) -> list[Item]:
    """A band from low to high, (n,) by row, as boxes as wide as BAND_COLUMNS pixel columns, each from the least of
    low to the greatest of high there."""
    if rows.bins is None:
        raise ValueError("rows were not binned by pixel column")
    least, most = lod.columns(low, lod.wider(rows.bins, BAND_COLUMNS), high)
    known = np.flatnonzero(np.isfinite(least))
    across = rows.across
    wide = BAND_COLUMNS * across.column
    left: Floats = across.left + known.astype(np.float64) * wide
    right = np.minimum(left + wide, across.right)
    top, bottom = heights(frame, most[known]), heights(frame, least[known])
    return [Boxes("band", left, top, right, bottom)] if len(left) else []


def off_scale(frame: StripFrame, rows: Rows, columns: list[str]) -> list[Item]:
    """Ticks at the edge of a strip where a value lies beyond its scale."""
    held = [extent(rows.table[column]) for column in columns]
    if not any(e.most > frame.high or e.least < frame.low for e in held):
        return []
    over = np.zeros(len(rows), bool)
    under = np.zeros(len(rows), bool)
    for column in columns:
        over |= rows[column] > frame.high
        under |= rows[column] < frame.low
    items: list[Item] = []
    across, box = rows.across, frame.box
    length = min(6 * across.column, box.height / 6)
    for places, y, towards in ((over, box.top, length), (under, box.bottom, -length)):
        if places.any():
            middle = (rows.left[places] + rows.right[places]) / 2 - across.left
            pixel = np.unique(np.clip(np.floor(middle / across.column), 0, across.columns - 1))
            x = across.left + (pixel + 0.5) * across.column
            items.append(Segments("off-scale", x, level(y, x), x, level(y + towards, x)))
    return items
