"""Mapped and predicted classes for a terminal: rows quantity by quantity, metres crosswise, what is to be said."""

from zoneinfo import ZoneInfo

import numpy as np

from tbmreview.domain.classes import QUANTITIES
from tbmreview.domain.ground import MAPPED, PREDICTED
from tbmreview.domain.table import Column, Table
from tbmreview.drive.class_match import (
    DIFFERS,
    EQUAL,
    NEITHER,
    NOT_COMPARABLE,
    NOT_MAPPED,
    NOT_PREDICTED,
    Asked,
    Compared,
    agreed_share,
    class_cross,
    class_order,
    converted_says,
    metres_of,
    stem_of,
)
from tbmreview.drive.classes import unclassed
from tbmreview.drive.delays import texts
from tbmreview.drive.export import text_table
from tbmreview.drive.reading import Readable
from tbmreview.drive.which_ground import told

CAUTION = (
    "Classes describe; support, method and safety are decided on site, by local codes and those responsible."
)
NO_CLASS = "no class"
DOWN = "m; predicted down, mapped across"
NOTHING = "neither table has a class where it was bored"
_SHOWN = (
    *("chainage_from_m", "chainage_to_m", "length_m", "mapped_class", "mapped_scheme"),
    *("predicted_class", "predicted_scheme", "outcome", "classes_off"),
)


def match_text(drive: Readable, found: Compared, asked: Asked, *, cross: bool) -> str:
    """The rows of each quantity, or its metres crosswise, and what is to be said of them."""
    parts, zone = [], drive.setup.drive.zone
    for quantity, rows in _by_quantity(found.rows):
        shown = crosswise(rows, zone) if cross else text_table(rows, zone, _SHOWN)
        parts.append(f"{quantity}\n{shown}\n")
    return "\n".join([*(parts or [NOTHING]), *match_says(drive, found, asked)])


def _by_quantity(rows: Table) -> list[tuple[str, Table]]:
    there = set(rows["quantity"].tolist())
    return [(q.label, rows.rows(rows["quantity"] == q.label)) for q in QUANTITIES if q.label in there]


def match_says(drive: Readable, found: Compared, asked: Asked) -> list[str]:
    """In lines: which tables, which predictions were not compared, of each quantity how far it agrees, what a sign
    means, why a number has no class, conversions, the caution."""
    tables = [told(entry.kind, entry.name, entry.issued) for entry in (found.mapped, found.predicted)]
    said = [f"{tables[0]} against {tables[1]}"]
    others = [e.name for e in drive.ground_entries(PREDICTED) if e.name != found.predicted.name]
    if others:
        named = ", ".join(f"'{name}'" for name in dict.fromkeys(others))
        said.append(f"other predictions, not compared here: {named}")
    said += [_agreement(quantity, rows) for quantity, rows in _by_quantity(found.rows)]
    if np.isfinite(found.rows["classes_off"]).any():
        said.append(
            "mapped off: classes, mapped less predicted; positive: what was mapped is less favourable"
        )
    for side, name in ((MAPPED, found.mapped.name), (PREDICTED, found.predicted.name)):
        said += [f"{side}: {line}" for line in unclassed(drive.ground(side, name))]
    return [*said, *converted_says(asked), CAUTION]


def _agreement(quantity: str, rows: Table) -> str:
    bored, compared = float(rows["length_m"].sum()), metres_of(rows, (EQUAL, DIFFERS))
    parts = [f"{quantity}: {compared:.1f} m of {bored:.1f} m bored could be compared"]
    if compared > 0:
        worse, better = (
            float(rows["length_m"][np.nan_to_num(sign * rows["classes_off"]) > 0].sum()) for sign in (1, -1)
        )
        parts.append(f"{agreed_share(rows):.1%} of them equal by length")
        parts.append(f"mapped less favourable over {worse:.1f} m, more favourable over {better:.1f} m")
    left = [
        f"{what} {metres:.1f} m"
        for what in (NOT_COMPARABLE, NOT_MAPPED, NOT_PREDICTED, NEITHER)
        if (metres := metres_of(rows, (what,))) > 0
    ]
    return "; ".join([*parts, *left])


def crosswise(rows: Table, zone: ZoneInfo) -> str:
    """Metres of one quantity: a line for each predicted class, a column for each mapped one, with their sums."""
    cross = class_cross(rows)
    (lines, at_line), (heads, at_head) = (_labels(cross, side) for side in (PREDICTED, MAPPED))
    metres = np.zeros((len(lines) + 1, len(heads) + 1))
    np.add.at(metres, (at_line, at_head), cross["length_m"])
    metres[-1] = metres.sum(axis=0)
    metres[:, -1] = metres.sum(axis=1)
    columns: dict[str, Column] = {DOWN: texts([*lines, "sum"])}
    columns |= {head: metres[:, j] for j, head in enumerate([*heads, "sum"])}
    return text_table(Table(columns), zone)


def _labels(cross: Table, side: str) -> tuple[list[str], list[int]]:
    """(the classes of a side from the most favourable, that of each row by number); the scheme stands behind a class
    where there are several."""
    stem, several = stem_of(cross["quantity"][0]), len(set(cross[f"{side}_scheme"].tolist()) - {""}) > 1
    pairs = list(zip(cross[f"{side}_class"].tolist(), cross[f"{side}_scheme"].tolist(), strict=True))
    kinds = sorted(set(pairs), key=lambda pair: class_order(stem, *pair))
    named = [(f"{text} ({scheme})" if several else text) if text else NO_CLASS for text, scheme in kinds]
    return named, [kinds.index(pair) for pair in pairs]
