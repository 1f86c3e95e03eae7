"""Rows of ground above the strips, and the key to their hatches."""

import numpy as np

from tbmreview.domain.ground import GROUND_KINDS, HATCHES, MAPPED, PREDICTED
from tbmreview.domain.table import Table
from tbmreview.scene import lod
from tbmreview.scene.curves import Across
from tbmreview.scene.look import Look
from tbmreview.scene.measure import text_width
from tbmreview.scene.plan import Box, Fill, Floats, Item, Label, Segments
from tbmreview.scene.session import Session
from tbmreview.scene.source import Source


def kinds(source: Source) -> tuple[str, ...]:
    """The kinds of ground that there are, from the top row down."""
    return tuple(kind for kind in GROUND_KINDS if source.ground_names(kind))


def table_shown(source: Source, session: Session, kind: str) -> Table:
    """The ground of a kind that the session shows."""
    return source.ground(kind, session.predicted if kind == PREDICTED else "")


def ground_row(table: Table, box: Box, across: Across, look: Look) -> list[Item]:
    """One row: a hatched box an interval, its rock where it fits, an outline."""
    rows = lod.visible(table["position_from_m"], table["position_to_m"], across.view_m)
    left = across.inside(table["position_from_m"][rows])
    right = across.inside(table["position_to_m"][rows])
    anchor = across.x(table["position_from_m"][rows])
    hatches = [h if h in HATCHES else "other" for h in table["hatch"][rows]]
    items: list[Item] = [Fill("ground-none", box)]
    for i in sorted(range(len(left)), key=lambda i: hatches[i]):  # the painter draws a hatch in one go
        width = max(float(right[i] - left[i]), look.column)
        piece = Box(float(left[i]), box.top, width, box.height)
        items.append(Fill(f"ground-{hatches[i]}", piece, hatches[i], float(anchor[i])))
    items += _outline(box, np.unique(np.r_[left, right]))
    items += _names(table["rock"][rows].tolist(), list(zip(left, right, strict=True)), box, look)
    return items


def _outline(box: Box, x: Floats) -> list[Item]:
    top, bottom = np.full_like(x, box.top), np.full_like(x, box.bottom)
    across = np.array([box.left, box.left])
    level = np.array([box.top, box.bottom])
    return [
        Segments("ground-edge", x, top, x, bottom),
        Segments("ground-edge", across, level, across + box.width, level),
    ]


def _names(rocks: list[str], spans: list[tuple[float, float]], box: Box, look: Look) -> list[Item]:
    """The rock's name on a plain ground in the middle of each interval where the whole name fits."""
    items: list[Item] = []
    for rock, (left, right) in zip(rocks, spans, strict=True):
        width = text_width(rock, look.small)
        if not rock or width + 4 * look.pad > right - left:
            continue
        middle, height = (left + right) / 2, look.small * 1.25
        plate = Box(
            middle - width / 2 - look.pad, box.top + (box.height - height) / 2, width + 2 * look.pad, height
        )
        items.append(Fill("plate", plate))
        items.append(
            Label(
                "ground", middle, plate.top + height * 0.76, rock, look.small, "centre", room=width + look.pad
            )
        )
    return items


def row_title(kind: str, names: tuple[str, ...], chosen: str, box: Box, look: Look) -> list[Item]:
    """'mapped' or 'predicted' left of the row, the baseline's name under it."""
    room = box.left - look.margin - look.pad
    name = "" if kind == MAPPED else chosen or names[-1]
    middle = box.top + box.height / 2
    if not name or name == kind:
        return [Label("strong", look.margin, middle + look.text * 0.35, kind, look.text, room=room)]
    width = text_width(kind, look.text)
    return [
        Label("strong", look.margin, middle + look.text * 0.35, kind, look.text, room=room),
        Label(
            "unit",
            look.margin + width + look.pad,
            middle + look.text * 0.35,
            name,
            look.small,
            room=room - width - look.pad,
        ),
    ]


def rocks_in_view(tables: list[Table], view_m: tuple[float, float]) -> list[tuple[str, str]]:
    """(hatch, rock) of each ground met in the view, in the order of the hatches."""
    met: set[tuple[str, str]] = set()
    for table in tables:
        rows = lod.visible(table["position_from_m"], table["position_to_m"], view_m)
        met |= set(zip(table["hatch"][rows].tolist(), table["rock"][rows].tolist(), strict=True))
    known = [(hatch if hatch in HATCHES else "other", rock) for hatch, rock in met]
    return sorted(set(known), key=lambda pair: (HATCHES.index(pair[0]), pair[1]))


def key_row(rocks: list[tuple[str, str]], box: Box, look: Look) -> list[Item]:
    """Swatch and rock side by side, as many as fit; the last words say how many do not."""
    items: list[Item] = []
    x = box.left
    height = look.small * 1.1
    top = box.top + (box.height - height) / 2
    swatch = height * 1.8
    for i, (hatch, rock) in enumerate(rocks):
        text = rock or hatch
        width = swatch + look.pad + text_width(text, look.small) + 4 * look.pad
        rest = f"and {len(rocks) - i} more"
        spare = 0.0 if i == len(rocks) - 1 else text_width(rest, look.small)
        if x + width + spare > box.right:
            items.append(Label("small", x, top + height * 0.82, rest, look.small))
            break
        piece = Box(x, top, swatch, height)
        items.append(Fill(f"ground-{hatch}", piece, hatch, x))
        items += _outline(piece, np.array([piece.left, piece.right]))
        items.append(Label("small", x + swatch + look.pad, top + height * 0.82, text, look.small))
        x += width
    return items
