"""Mapped classes beside predicted ones along what was bored: where they are equal, where not, and by how many classes."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tbmreview.domain.classes import BY_STEM, QUANTITIES, scheme_named
from tbmreview.domain.errors import UsageError
from tbmreview.domain.ground import MAPPED, PREDICTED
from tbmreview.domain.sums import sum_runs
from tbmreview.domain.table import Column, Table, stack
from tbmreview.drive.classes import converted_columns
from tbmreview.drive.columns_text import CLASS_CROSS_COLUMNS, CLASS_MATCH_COLUMNS
from tbmreview.drive.delays import texts
from tbmreview.drive.reading import Codes, Floats, Readable
from tbmreview.drive.table import pieces_of
from tbmreview.drive.which_ground import ground_entry
from tbmreview.indicators.classes import classed, same_classes
from tbmreview.indicators.conversions import OF_GROUND
from tbmreview.store.catalogue import GroundEntry

EQUAL, DIFFERS, NOT_COMPARABLE = "equal", "differs", "not comparable"
NOT_MAPPED, NOT_PREDICTED, NEITHER = "not mapped", "not predicted", "neither"
OUTCOMES = (EQUAL, DIFFERS, NOT_COMPARABLE, NOT_MAPPED, NOT_PREDICTED, NEITHER)
# Conversions that give the number of a quantity that has classes.
CONVERTS: Mapping[str, str] = {"rmr_from_q": "rmr", "rqd_from_jv_115": "rqd", "rqd_from_jv_110": "rqd"}
_SIDES = (MAPPED, PREDICTED)
_KEYS = tuple(f"{side}_{part}" for side in _SIDES for part in ("class", "scheme", "place", "by"))


@dataclass(frozen=True, slots=True)
class Asked:
    """What is compared. of: stems of quantities (domain.classes), () for all that have a class. mapped, predicted: names
    of the ground tables, by default those imported last. convert: keys of CONVERTS, which fill numbers that a table
    lacks."""

    of: tuple[str, ...] = ()
    mapped: str | None = None
    predicted: str | None = None
    convert: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Compared:
    """The tables that were compared and the rows (CLASS_MATCH_COLUMNS), along position."""

    mapped: GroundEntry
    predicted: GroundEntry
    rows: Table


def class_match(drive: Readable, asked: Asked) -> Compared:
    """Mapped and predicted classes side by side: for each quantity a row where neither changes, CLASS_MATCH_COLUMNS.

    outcome: one of OUTCOMES. classes_off: mapped less predicted in classes, positive where what was mapped is less
    favourable; NaN unless both are in one scheme, or in two with the same classes; compared_by says in which. length_m:
    bored in the row; of each quantity they add up to the advance. UsageError for a quantity or conversion that is none;
    DriveError where a table is missing.
    """
    _check(asked)
    names = {MAPPED: asked.mapped, PREDICTED: asked.predicted}
    grounds = {side: drive.ground(side, names[side]) for side in _SIDES}
    mapped, predicted = (ground_entry(drive, side, names[side]) for side in _SIDES)
    pieces = _pieces(drive, grounds)
    sides = {side: filled(grounds[side], asked.convert) for side in _SIDES}
    parts = [quantity_rows(pieces, sides, stem) for stem in asked.of or tuple(q.stem for q in QUANTITIES)]
    parts = [part for part in parts if asked.of or not np.all(part["outcome"] == NEITHER)]
    rows = stack(parts) if parts else quantity_rows(pieces.rows(slice(0, 0)), sides, QUANTITIES[0].stem)
    rows = rows.rows(np.argsort(rows["position_from_m"], kind="stable"))
    axis, count = drive.axis, len(rows)
    rows = rows.with_columns(
        {
            "chainage_from_m": axis.chainage_m(rows["position_from_m"]),
            "chainage_to_m": axis.chainage_m(rows["position_to_m"], ends=True),
            "mapped_name": texts([mapped.name] * count),
            "mapped_issued": texts([mapped.issued] * count),
            "predicted_name": texts([predicted.name] * count),
            "predicted_issued": texts([predicted.issued] * count),
        }
    )
    return Compared(mapped, predicted, Table({name: rows[name] for name in CLASS_MATCH_COLUMNS}))


def _check(asked: Asked) -> None:
    for stem in asked.of:
        if stem not in BY_STEM:
            raise UsageError(f"'{stem}' has no classes; expected of {', '.join(BY_STEM)}")
    for name in asked.convert:
        if name not in CONVERTS:
            raise UsageError(
                f"'{name}' is no conversion that gives classes; expected of {', '.join(CONVERTS)}"
            )
    if len({CONVERTS[name] for name in asked.convert}) < len(asked.convert):
        raise UsageError("two conversions give the same number and disagree; choose one")


def _pieces(drive: Readable, grounds: Mapping[str, Table]) -> Table:
    """The bored pieces along position, (n,): position_from_m, position_to_m, advance_m, and by side the row of its
    table that each lies in; the number of rows where it lies in none."""
    cells = Table({name: drive.cells[name] for name in ("position_from_m", "position_to_m", "advance_m")})
    for side, ground in grounds.items():
        cells, owner = pieces_of(cells, ground["position_from_m"], ground["position_to_m"])
        cells = cells.with_columns({side: owner})
    cells = cells.rows(cells["advance_m"] > 0)
    return cells.rows(np.argsort(cells["position_from_m"], kind="stable"))


def filled(ground: Table, convert: Sequence[str]) -> tuple[Table, Mapping[str, Column]]:
    """(the ground table, its numbers filled by conversions where it has neither number nor class; by quantity the
    conversion of each row, '' where none)."""
    by: dict[str, Column] = {}
    for name, values in converted_columns(ground, convert).items():
        stem = CONVERTS[name]
        column = BY_STEM[stem].column
        lacks = np.isnan(ground[column]) & (ground[f"{stem}_class"] == "") & np.isfinite(values)
        ground = ground.with_columns({column: np.where(lacks, values, ground[column])})
        by[stem] = np.where(lacks, name, "").astype(object)
    return ground, by


def _side(ground: Table, by: Mapping[str, Column], stem: str) -> dict[str, Column]:
    """Of each row of a ground table, and of no row at the end: class, scheme, place (from 0, the most favourable; NaN
    without a class) and by (the conversion)."""
    quantity = BY_STEM[stem]
    values = ground[quantity.column] if quantity.column else np.full(len(ground), np.nan)
    found = classed(stem, values, *(ground[f"{stem}_{part}"] for part in ("class", "scheme")))
    none = texts([""])
    return {
        "class": np.append(found.text, none),
        "scheme": np.append(found.scheme, none),
        "place": np.append(found.place, np.nan),
        "by": np.append(by.get(stem, texts([""] * len(ground))), none),
    }


def quantity_rows(pieces: Table, sides: Mapping[str, tuple[Table, Mapping[str, Column]]], stem: str) -> Table:
    """The rows of one quantity, by its stem, without names and chainages. pieces: bored, along position, with the row of
    each side's table (its number of rows: none); sides: table and conversions of each (`filled`)."""
    columns: dict[str, Column] = {}
    for side, (ground, by) in sides.items():
        row: Codes = pieces[side]
        columns |= {f"{side}_{part}": of[row] for part, of in _side(ground, by, stem).items()}
    rows = sum_runs(pieces.with_columns(_without_nan(columns)), _KEYS)
    return rows.with_columns(
        {
            "quantity": texts([BY_STEM[stem].label] * len(rows)),
            "length_m": rows["advance_m"],
            **_compared(rows, stem),
        }
    )


def _without_nan(columns: Mapping[str, Column]) -> dict[str, Column]:
    """Places as keys: NaN, which equals nothing, as -1."""
    return {n: np.nan_to_num(v, nan=-1.0) if n.endswith("_place") else v for n, v in columns.items()}


def _compared(rows: Table, stem: str) -> dict[str, Column]:
    """outcome, classes_off and compared_by of each row."""
    outcome, by = [], []
    off: Floats = np.full(len(rows), np.nan)
    for i, row in enumerate(zip(*(rows[key].tolist() for key in _KEYS), strict=True)):
        mapped, mapped_scheme, mapped_place, mapped_by, predicted, scheme, place, predicted_by = row
        how = ""
        if mapped and predicted:
            how = same_classes(scheme_named(stem, mapped_scheme), scheme_named(stem, scheme))
            off[i] = mapped_place - place if how else np.nan
        outcome.append(_outcome(bool(mapped), bool(predicted), float(off[i])))
        converted = [f"{s} {n}" for s, n in ((MAPPED, mapped_by), (PREDICTED, predicted_by)) if n]
        by.append("; ".join([how, *converted]) if how else "")
    return {"outcome": texts(outcome), "classes_off": off, "compared_by": texts(by)}


def _outcome(mapped: bool, predicted: bool, off: float) -> str:
    if not (mapped and predicted):
        return NOT_MAPPED if predicted else NOT_PREDICTED if mapped else NEITHER
    return NOT_COMPARABLE if np.isnan(off) else DIFFERS if off else EQUAL


def class_cross(rows: Table) -> Table:
    """Metres of each predicted class by each mapped class, CLASS_CROSS_COLUMNS, from rows of `class_match`.

    By quantity, then from the most favourable predicted and mapped class; what has no class comes last. share: of the
    bored length of the quantity, so they add up to 1. agreed_share: equal over equal and differing length of the
    quantity, NaN where nothing could be compared.
    """
    names = ("quantity", "predicted_class", "predicted_scheme", "mapped_class", "mapped_scheme", "outcome")
    keys = list(zip(*(rows[name].tolist() for name in names), strict=True))
    distinct = {key: i for i, key in reversed(list(enumerate(keys)))}
    order = sorted(distinct, key=_along)
    metres = dict.fromkeys(order, 0.0)
    for key, length in zip(keys, rows["length_m"].tolist(), strict=True):
        metres[key] += length
    first = np.array([distinct[key] for key in order], np.int64)
    length = np.array([metres[key] for key in order], np.float64)
    quantity = rows["quantity"][first]
    agreed, whole = np.full(len(order), np.nan), np.ones(len(order))
    for one in set(quantity.tolist()):
        agreed[quantity == one] = agreed_share(rows.rows(rows["quantity"] == one))
        whole[quantity == one] = length[quantity == one].sum()
    columns = {name: rows[name][first] for name in CLASS_CROSS_COLUMNS if name in rows}
    columns |= {"length_m": length, "share": length / whole, "agreed_share": agreed}
    return Table({name: columns[name] for name in CLASS_CROSS_COLUMNS})


def _along(key: tuple[str, ...]) -> tuple[object, ...]:
    quantity, predicted, scheme, mapped, mapped_scheme, _ = key
    stem = stem_of(quantity)
    at = list(BY_STEM).index(stem)
    return at, class_order(stem, predicted, scheme), class_order(stem, mapped, mapped_scheme)


def stem_of(label: str) -> str:
    """The stem of the quantity of a label."""
    return next(q.stem for q in QUANTITIES if q.label == label)


def class_order(stem: str, text: str, scheme: str) -> tuple[bool, str, float]:
    """To sort classes by: scheme by scheme from the most favourable, no class ('') last."""
    if not text:
        return (True, "", 0.0)
    of = scheme_named(stem, scheme)
    return (False, scheme, float(of.places(np.array([of.find(text)]))[0]))


def agreed_share(rows: Table) -> float:
    """Length that is equal over length that could be compared; NaN where there is none."""
    equal, compared = metres_of(rows, (EQUAL,)), metres_of(rows, (EQUAL, DIFFERS))
    return equal / compared if compared > 0 else float("nan")


def metres_of(rows: Table, outcomes: Iterable[str]) -> float:
    """Bored length of some outcomes."""
    return float(rows["length_m"][np.isin(rows["outcome"].astype(str), list(outcomes))].sum())


def converted_says(asked: Asked) -> list[str]:
    """In lines, each conversion that was asked for, with its source."""
    chosen = [OF_GROUND[name] for name in asked.convert]
    return [f"{one.name}: {one.formula} ({one.source}; {one.label})" for one in chosen]
