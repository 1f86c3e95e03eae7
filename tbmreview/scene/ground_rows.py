"""Rows of ground above the strips, and the key to their hatches."""

import numpy as np

from tbmreview.domain.ground import GROUND_KINDS, HATCHES, MAPPED, PREDICTED
from tbmreview.domain.table import Table
from tbmreview.scene.look import Look
from tbmreview.scene.measure import text_width
from tbmreview.scene.plan import Box, Boxes, Fill, Floats, Item, Label, Segments, level
from tbmreview.scene.rows import Rows
from tbmreview.scene.session import Session
from tbmreview.scene.source import Source

OTHER = "other"
HATCH_COLUMNS = 8  # an interval narrower than so many pixel columns keeps its tone but no hatch


def kinds(source: Source) -> tuple[str, ...]:
    """The kinds of ground that there are, from the top row down."""
    return tuple(kind for kind in GROUND_KINDS if source.ground_names(kind))


def table_shown(source: Source, session: Session, kind: str) -> Table:
    """The ground of a kind that the session shows."""
    return source.ground(kind, session.predicted if kind == PREDICTED else "")


def ground_row(rows: Rows, box: Box, look: Look) -> list[Item]:
    """One row: a hatched box an interval, its rock where it fits, an outline."""
    right = np.maximum(rows.right, rows.left + look.column)
    hatch = rows["hatch"]
    wide = right - rows.left >= HATCH_COLUMNS * look.column
    items: list[Item] = [Fill("ground-none", box)]
    for name in HATCHES:
        these = ~np.isin(hatch, HATCHES) if name == OTHER else hatch == name
        these |= (hatch == OTHER) & (name == OTHER)
        for chosen, drawn in ((these & ~wide, ""), (these & wide, name)):
            if chosen.any():
                items.append(_boxes(name, drawn, rows, chosen, right, box))
    items += outline(box, np.unique(np.concatenate([rows.left, right])))
    return items + _names(rows, box, look)


def _boxes(name: str, hatch: str, rows: Rows, chosen: Floats, right: Floats, box: Box) -> Boxes:
    left = rows.left[chosen]
    top, bottom = level(box.top, left), level(box.bottom, left)
    anchor = rows.across.x(rows.from_m[chosen])
    return Boxes(f"ground-{name}", left, top, right[chosen], bottom, hatch, anchor)


def outline(box: Box, x: Floats) -> list[Item]:
    """Upright lines at x and the upper and lower edge of a box."""
    top, bottom = level(box.top, x), level(box.bottom, x)
    across = np.array([box.left, box.left])
    sides = np.array([box.top, box.bottom])
    return [
        Segments("ground-edge", x, top, x, bottom),
        Segments("ground-edge", across, sides, across + box.width, sides),
    ]


def _names(rows: Rows, box: Box, look: Look) -> list[Item]:
    """The rock's name on a plain plate in the middle of each interval where the whole name fits."""
    plates: list[Item] = []
    labels: list[Item] = []
    wide = rows.right - rows.left > look.small
    spans = zip(rows["rock"][wide].tolist(), rows.left[wide].tolist(), rows.right[wide].tolist(), strict=True)
    for rock, left, right in spans:
        width = text_width(rock, look.small)
        if not rock or width + 4 * look.pad > right - left:
            continue
        middle, height = (left + right) / 2, look.small * 1.25
        top = box.top + (box.height - height) / 2
        plates.append(Fill("plate", Box(middle - width / 2 - look.pad, top, width + 2 * look.pad, height)))
        labels.append(Label("ground", middle, top + height * 0.76, rock, look.small, "centre", room=width))
    return plates + labels


def row_title(kind: str, names: tuple[str, ...], chosen: str, box: Box, look: Look) -> list[Item]:
    """'Mapped' or 'Predicted' left of the row, the baseline's name beside it."""
    room = box.left - look.margin - look.pad
    base = box.top + box.height / 2 + look.text * 0.35
    words = kind.capitalize()
    items: list[Item] = [Label("strong", look.margin, base, words, look.text, room=room)]
    name = "" if kind == MAPPED else chosen or names[-1]
    if name and name != kind:
        taken = text_width(words, look.text) + look.pad
        items.append(Label("unit", look.margin + taken, base, name, look.small, room=room - taken))
    return items


def rocks(shown: list[Rows]) -> list[tuple[str, str]]:
    """(hatch, rock) of each ground met in the view, in the order of the hatches."""
    met: set[tuple[str, str]] = set()
    for rows in shown:
        met |= set(zip(rows["hatch"].tolist(), rows["rock"].tolist(), strict=True))
    known = {(hatch if hatch in HATCHES else OTHER, rock) for hatch, rock in met}
    return sorted(known, key=lambda pair: (HATCHES.index(pair[0]), pair[1]))


def key_row(met: list[tuple[str, str]], box: Box, look: Look) -> list[Item]:
    """Swatch and rock side by side, as many as fit; the last words say how many do not."""
    items: list[Item] = []
    edges: list[Item] = []  # after all swatches, whose hatches are then drawn in one go
    x = box.left
    height = look.small * 1.1
    top = box.top + (box.height - height) / 2
    swatch = height * 1.8
    for i, (hatch, rock) in enumerate(met):
        text = rock or hatch
        width = swatch + look.pad + text_width(text, look.small) + 4 * look.pad
        rest = f"and {len(met) - i} more"
        spare = 0.0 if i == len(met) - 1 else text_width(rest, look.small)
        if x + width + spare > box.right:
            items.append(Label("small", x, top + height * 0.82, rest, look.small))
            break
        piece = Box(x, top, swatch, height)
        items.append(Fill(f"ground-{hatch}", piece, hatch, x))
        edges += outline(piece, np.array([piece.left, piece.right]))
        edges.append(Label("small", x + swatch + look.pad, top + height * 0.82, text, look.small))
        x += width
    return items + edges
