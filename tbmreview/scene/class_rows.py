"""Thin rows below each kind of ground: the classes of its intervals, told by letters and by lightness."""

from collections.abc import Mapping

import numpy as np

from tbmreview.domain.ground import PREDICTED
from tbmreview.indicators.classes import Classed, Texts
from tbmreview.scene.class_list import CLASS_ROWS, ClassRow
from tbmreview.scene.ground_rows import outline
from tbmreview.scene.look import Look
from tbmreview.scene.measure import text_width
from tbmreview.scene.plan import Box, Boxes, Fill, Flags, Floats, Item, Label, Whole, level
from tbmreview.scene.rows import Rows
from tbmreview.scene.session import Session
from tbmreview.scene.source import Source

TONES = 6  # steps of lightness, from the most favourable end of a scheme to the least


def chosen(source: Source, session: Session, kind: str) -> tuple[ClassRow, ...]:
    """The rows of a kind of ground that the session asks for and its table carries."""
    if not any(row.kind == kind and row.name in session.classes for row in CLASS_ROWS):
        return ()
    carried = classes_shown(source, session, kind)
    return tuple(
        row for row in CLASS_ROWS if row.kind == kind and row.name in session.classes and row.stem in carried
    )


def offered(source: Source, session: Session) -> tuple[ClassRow, ...]:
    """The rows that the ground tables of the source carry."""
    return tuple(row for row in CLASS_ROWS if row.stem in classes_shown(source, session, row.kind))


def classes_shown(source: Source, session: Session, kind: str) -> Mapping[str, Classed]:
    """The classes of the ground of a kind that the session shows, by stem."""
    if not source.ground_names(kind):
        return {}
    return source.classes(kind, session.predicted if kind == PREDICTED else "")


def schemes(classed: Classed) -> tuple[str, ...]:
    """The schemes that the classes of a table are of."""
    return tuple(sorted(set(classed.scheme.tolist()) - {""}))


def class_row(rows: Rows, classed: Classed, box: Box, look: Look) -> list[Item]:
    """A toned box a run of intervals of one class, its name where it fits, an outline."""
    text, scheme = classed.text[rows.rows], classed.scheme[rows.rows]
    items: list[Item] = [Fill("ground-none", box)]
    if not len(text):
        return items
    first = _run_starts(rows, (text, scheme))
    last = np.append(first[1:], len(text)) - 1
    named = text[first] != ""
    left, right = rows.left[first][named], rows.right[last][named]
    right = np.maximum(right, left + look.column)
    tone = np.rint(classed.burden[rows.rows][first][named] * (TONES - 1)).astype(np.int64)
    items += [_boxes(int(t), left[tone == t], right[tone == t], box) for t in np.unique(tone)]
    items += outline(box, np.unique(np.concatenate([left, right])))
    several = len(schemes(classed)) > 1
    short = classed.short[rows.rows]
    wide = right - left > look.small  # narrower holds no name
    runs = (column[wide].tolist() for column in (first[named], left, right))
    for i, x1, x2 in zip(*runs, strict=True):
        by = f" ({scheme[i]})" if several else ""
        items += _name((f"{text[i]}{by}", f"{short[i]}{by}"), (x1, x2), box, look)
    return items


def _run_starts(rows: Rows, columns: tuple[Texts, ...]) -> Whole:
    """The first row of each run of touching intervals that are alike."""
    begins: Flags = np.ones(len(rows), bool)
    begins[1:] = rows.from_m[1:] > rows.to_m[:-1] + rows.across.column_m / 2
    for column in columns:
        begins[1:] |= column[1:] != column[:-1]
    return np.flatnonzero(begins)


def _boxes(tone: int, left: Floats, right: Floats, box: Box) -> Boxes:
    return Boxes(f"class-{tone}", left, level(box.top, left), right, level(box.bottom, left))


def _name(texts: tuple[str, ...], ends: tuple[float, float], box: Box, look: Look) -> list[Item]:
    """The longest of the texts that fits between the ends."""
    size = min(look.small, box.height * 0.8)
    for text in texts:
        width = text_width(text, size)
        if text and width + 2 * look.pad <= ends[1] - ends[0]:
            base = box.top + box.height / 2 + size * 0.35
            return [Label("ground", sum(ends) / 2, base, text, size, "centre", room=width)]
    return []


def row_title(row: ClassRow, classed: Classed, box: Box, look: Look) -> list[Item]:
    """'RMR' left of the row and the scheme beside it."""
    size = min(look.small, box.height * 0.8)
    base = box.top + box.height / 2 + size * 0.35
    left = look.margin + 2 * look.pad
    taken = text_width(row.label, size) + 2 * look.pad
    known = schemes(classed)
    told = known[0] if len(known) == 1 else "schemes differ"
    room = box.left - look.pad - left
    return [
        Label("small", left, base, row.label, size, room=room),
        Label("unit", left + taken, base, told, size, room=room - taken),
    ]
