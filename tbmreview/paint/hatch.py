"""Hatches as families of lines cut to their boxes by arithmetic, so that every device draws the same."""

import math

import numpy as np

from tbmreview.paint.style import HATCHES, Family
from tbmreview.scene.plan import Floats, Whole


def hatch_lines(hatch: str, boxes: Floats) -> Floats:
    """Lines (n, 4) as x1, y1, x2, y2 that hatch boxes (k, 5): left, top, right, bottom, anchor x."""
    return np.concatenate([family_lines(family, boxes) for family in HATCHES[hatch]])


def family_lines(family: Family, boxes: Floats) -> Floats:
    """Lines (n, 4) of one family in boxes (k, 5).

    Lines are numbered along their normal from the anchor at the box's top, so that a pattern moves
    with its box and the part of it that is cut off does not matter.
    """
    along = np.array([math.cos(math.radians(family.angle)), -math.sin(math.radians(family.angle))])
    normal = np.array([-along[1], along[0]])
    origin = boxes[:, [4, 1]]
    corners = boxes[:, [[0, 1], [2, 1], [0, 3], [2, 3]]] - origin[:, None, :]
    reach = corners @ normal
    first = np.ceil(reach.min(axis=1) / family.apart + 1e-9).astype(np.int64)
    last = np.floor(reach.max(axis=1) / family.apart - 1e-9).astype(np.int64)
    count = np.maximum(last - first + 1, 0)
    box = np.repeat(np.arange(len(boxes)), count)
    number = np.arange(len(box)) - np.repeat(np.cumsum(count) - count, count) + first[box]
    start = origin[box] + number[:, None] * family.apart * normal
    enter, leave = _cut(start, along, boxes[box])
    if family.dash:
        start, enter, leave = _dashed(family, number, start, enter, leave)
    keep = leave - enter > 1e-6
    start, enter, leave = start[keep], enter[keep, None], leave[keep, None]
    return np.hstack([start + enter * along, start + leave * along])


def _cut(start: Floats, along: Floats, boxes: Floats) -> tuple[Floats, Floats]:
    """Where each line enters and leaves its box, as distance from `start` (slabs of the box)."""
    enter, leave = np.full(len(start), -np.inf), np.full(len(start), np.inf)
    for side in (0, 1):
        low, high = boxes[:, side] - start[:, side], boxes[:, side + 2] - start[:, side]
        if abs(along[side]) < 1e-12:
            outside = (low > 0) | (high < 0)
            leave[outside] = -np.inf
            continue
        ends = np.stack([low, high]) / along[side]
        enter, leave = np.maximum(enter, ends.min(axis=0)), np.minimum(leave, ends.max(axis=0))
    return enter, leave


def _dashed(
    family: Family, number: Whole, start: Floats, enter: Floats, leave: Floats
) -> tuple[Floats, Floats, Floats]:
    """The dashes of each line between where it enters and leaves."""
    period = family.dash + family.gap
    offset = np.where(number % 2 == 0, 0.0, family.shift)
    first = np.floor((enter - offset) / period).astype(np.int64)
    last = np.floor((leave - offset) / period).astype(np.int64)
    count = np.where(leave > enter, last - first + 1, 0)
    line = np.repeat(np.arange(len(start)), count)
    index = np.arange(len(line)) - np.repeat(np.cumsum(count) - count, count) + first[line]
    begin = offset[line] + index * period
    return start[line], np.maximum(begin, enter[line]), np.minimum(begin + family.dash, leave[line])
