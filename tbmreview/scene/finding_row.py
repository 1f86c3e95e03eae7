"""Findings as brackets in a row above the strips, and their edges across the strips."""

from collections.abc import Sequence

import numpy as np

from tbmreview.domain.findings import OPEN, Finding
from tbmreview.scene.look import Look
from tbmreview.scene.measure import text_width
from tbmreview.scene.plan import Box, Fill, Floats, Item, Label, Segments
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
    return [Segments("finding-edge", x, np.full_like(x, plot.top), x, np.full_like(x, plot.bottom))]


def brackets(findings: Sequence[Finding], chosen: str, box: Box, across: Across, look: Look) -> list[Item]:
    """A bracket a finding by its verdict, and its id where there is room: the selected one first, then
    the strongest."""
    items: list[Item] = []
    level = box.bottom - look.pad
    foot = box.bottom
    spans = np.array([(f.position_from_m, f.position_to_m) for f in findings], np.float64).reshape(-1, 2)
    left, right = across.inside(spans[:, 0]), across.inside(spans[:, 1])
    right = np.maximum(right, left + 3 * across.column)
    roles = np.array([_role(f, chosen) for f in findings])
    for role in ("set aside", "agreed", OPEN, "selected"):
        these = roles == role
        if these.any():
            x1, x2 = left[these], right[these]
            high, low = np.full_like(x1, level), np.full_like(x1, foot)
            items.append(
                Segments(
                    f"finding-{role.replace(' ', '-')}",
                    np.concatenate([x1, x1, x2]),
                    np.concatenate([high, high, high]),
                    np.concatenate([x2, x1, x2]),
                    np.concatenate([high, low, low]),
                )
            )
    return items + _ids(findings, (left + right) / 2, chosen, box, look)


def _role(finding: Finding, chosen: str) -> str:
    return "selected" if chosen and finding.id == chosen else finding.verdict


def _ids(
    findings: Sequence[Finding],
    middle: Floats,
    chosen: str,
    box: Box,
    look: Look,
) -> list[Item]:
    """Ids that do not touch each other."""
    first = sorted(range(len(findings)), key=lambda i: (findings[i].id != chosen, -findings[i].strength))
    cell = look.text / 2
    taken = np.zeros(int(box.width / cell) + 2, bool)
    places = middle.tolist()
    items: list[Item] = []
    for i in first:
        text = findings[i].id
        width = text_width(text, look.small)
        x = min(max(places[i], box.left + width / 2), box.right - width / 2)
        cells = slice(int((x - width / 2 - box.left) / cell), int((x + width / 2 - box.left) / cell) + 2)
        if not text or taken[cells].any():
            continue
        taken[cells] = True
        role = "finding-id-selected" if findings[i].id == chosen else "finding-id"
        items.append(Label(role, x, box.bottom - 2.2 * look.pad, text, look.small, "centre"))
    return items
