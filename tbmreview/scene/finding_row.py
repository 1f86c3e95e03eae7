"""Findings as brackets in a row above the strips, and their edges across the strips."""

import math
from collections.abc import Sequence

import numpy as np

from tbmreview.domain.findings import AGREED, OPEN, SET_ASIDE, Finding
from tbmreview.scene.look import Look
from tbmreview.scene.measure import text_width
from tbmreview.scene.plan import Box, Fill, Floats, Item, Label, Segments, level
from tbmreview.scene.rows import Across

EDGES_FROM = 6  # pixel columns a finding must span before its edges run through the strips


def in_view(findings: Sequence[Finding], across: Across) -> list[Finding]:
    """The findings that reach into the view, along position."""
    low, high = across.view_m
    return [f for f in findings if f.position_to_m >= low and f.position_from_m <= high]


def selection(findings: Sequence[Finding], chosen: str, plot: Box, across: Across) -> list[Item]:
    """A tint behind the strips where the selected finding lies."""
    items: list[Item] = []
    for finding in findings:
        if chosen and finding.id == chosen:
            left, right = across.inside(np.array([finding.position_from_m, finding.position_to_m])).tolist()
            items.append(Fill("selected", Box(left, plot.top, max(right - left, across.column), plot.height)))
    return items


def edges(findings: Sequence[Finding], plot: Box, across: Across) -> list[Item]:
    """Light lines through the strips at the ends of findings that are wide enough in the view."""
    ends = np.array([(f.position_from_m, f.position_to_m) for f in findings], np.float64).reshape(-1, 2)
    wide = ends[:, 1] - ends[:, 0] >= EDGES_FROM * across.column_m
    shown = ends[wide].ravel()
    x = across.x(shown[(shown >= across.view_m[0]) & (shown <= across.view_m[1])])
    return [Segments("finding-edge", x, level(plot.top, x), x, level(plot.bottom, x))]


def brackets(findings: Sequence[Finding], chosen: str, box: Box, across: Across, look: Look) -> list[Item]:
    """A bracket a finding by its verdict, and its id where there is room."""
    if not findings:
        return []
    items: list[Item] = []
    spans = np.array([(f.position_from_m, f.position_to_m) for f in findings], np.float64).reshape(-1, 2)
    left = across.inside(spans[:, 0])
    right = np.maximum(across.inside(spans[:, 1]), left + 3 * across.column)
    begins, ends = spans[:, 0] >= across.view_m[0], spans[:, 1] <= across.view_m[1]
    roles = np.array([_role(f, chosen) for f in findings])
    for role in (SET_ASIDE, AGREED, OPEN, "selected"):
        these = roles == role
        if np.any(these):
            y = box.bottom - look.pad
            feet = np.concatenate([left[these & begins], right[these & ends]])
            items.append(_bracket(role, left[these], right[these], feet, y, look.pad))
    return items + _ids(findings, (left + right) / 2, chosen, box, look)


def _role(finding: Finding, chosen: str) -> str:
    return "selected" if chosen and finding.id == chosen else finding.verdict


def _ids(findings: Sequence[Finding], middle: Floats, chosen: str, box: Box, look: Look) -> list[Item]:
    """Ids that do not touch each other: the selected one first, then the strongest."""
    half = np.array([text_width(f.id, look.small) for f in findings]) / 2
    x = np.minimum(np.maximum(middle, box.left + half), box.right - half)
    cell = look.text / 2
    begin = ((x - half - box.left) / cell).astype(int).tolist()
    end = (((x + half - box.left) / cell).astype(int) + 2).tolist()
    rank = np.array([math.inf if chosen and f.id == chosen else f.strength for f in findings])
    taken = bytearray(int(box.width / cell) + 4)
    items: list[Item] = []
    for i in np.argsort(-rank, kind="stable").tolist():
        text = findings[i].id
        if not text or taken.find(1, begin[i], end[i]) >= 0:
            continue
        taken[begin[i] : end[i]] = b"\1" * (end[i] - begin[i])
        role = "finding-id-selected" if text == chosen else "finding-id"
        items.append(Label(role, float(x[i]), box.bottom - 2.2 * look.pad, text, look.small, "centre"))
    return items


def verdict_key(box: Box, look: Look) -> list[Item]:
    """How a finding's bracket tells its verdict, right-aligned in the key."""
    items: list[Item] = []
    x, base = box.right, box.top + box.height / 2 + look.small * 0.35
    for verdict in (SET_ASIDE, AGREED, OPEN):
        items.append(Label("small", x, base, verdict, look.small, "right"))
        x -= text_width(verdict, look.small) + look.pad
        ends = np.array([x - 1.5 * look.small, x])
        items.append(_bracket(verdict, ends[:1], ends[1:], ends, base - look.small * 0.5, look.pad))
        x -= 1.5 * look.small + 3 * look.pad
    items.append(Label("small", x, base, "finding:", look.small, "right"))
    return items


def key_width(look: Look) -> float:
    """Room that the key of verdicts takes."""
    words = text_width("finding:" + OPEN + AGREED + SET_ASIDE, look.small)
    return words + 4.5 * look.small + 18 * look.pad


def _bracket(verdict: str, left: Floats, right: Floats, feet: Floats, y: float, down: float) -> Segments:
    """Brackets from left to right at y, with a foot where a finding ends (not where the view does)."""
    return Segments(
        f"finding-{verdict.replace(' ', '-')}",
        np.concatenate([left, feet]),
        level(y, np.concatenate([left, feet])),
        np.concatenate([right, feet]),
        np.concatenate([level(y, right), level(y + down, feet)]),
    )
