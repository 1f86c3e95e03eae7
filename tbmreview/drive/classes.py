"""Classes of the intervals of a ground table, each with its scheme, as columns."""

from collections.abc import Iterator, Sequence

import numpy as np

from tbmreview.domain.classes import QUANTITIES, Quantity, scheme_named, schemes_of
from tbmreview.domain.errors import UsageError
from tbmreview.domain.table import Column, Table
from tbmreview.drive.which_ground import which_says
from tbmreview.indicators.classes import BOREABILITY, Classed, boreability_class, classed
from tbmreview.indicators.conversions import OF_GROUND

CLASS_COLUMNS: tuple[str, ...] = tuple(
    name for q in QUANTITIES for name in (q.column, f"{q.stem}_class", f"{q.stem}_scheme") if name
)
SEEN_COLUMNS = ("seen_how", "seen_when")
BOREABILITY_COLUMNS = ("boreability_class", "boreability_scheme")


def classes_of(ground: Table) -> Iterator[tuple[Quantity, Classed]]:
    """What is classed in the intervals of a ground table (domain.ground), and its classes."""
    for quantity in QUANTITIES:
        values = ground[quantity.column] if quantity.column else np.full(len(ground), np.nan)
        stated, schemes = (ground[f"{quantity.stem}_{part}"] for part in ("class", "scheme"))
        yield quantity, classed(quantity.stem, values, stated, schemes)


def class_columns(ground: Table) -> dict[str, Column]:
    """CLASS_COLUMNS and SEEN_COLUMNS of a ground table, (intervals,): number, class and scheme of each quantity,
    '' and NaN where there is none."""
    columns: dict[str, Column] = {}
    for quantity, found in classes_of(ground):
        if quantity.column:
            columns[quantity.column] = ground[quantity.column]
        columns |= {f"{quantity.stem}_class": found.text, f"{quantity.stem}_scheme": found.scheme}
    return columns | {name: ground[name] for name in SEEN_COLUMNS}


def converted_columns(ground: Table, names: Sequence[str]) -> dict[str, Column]:
    """Conversions (indicators.conversions.OF_GROUND) of a ground table, (intervals,). UsageError for a name that is
    none."""
    for name in names:
        if name not in OF_GROUND:
            raise UsageError(f"there is no conversion '{name}'; expected of {', '.join(OF_GROUND)}")
    chosen = [OF_GROUND[name] for name in names]
    return {one.name: one.function(*(ground[column] for column in one.needs)) for one in chosen}


def ground_says(rows: Table) -> list[str]:
    """Of a table by ground, in lines: which ground table it is by, and each scheme that a class is of, each conversion."""
    said = which_says(rows)
    for quantity in QUANTITIES:
        for name in sorted(set(rows[f"{quantity.stem}_scheme"].tolist()) - {""}):
            scheme = scheme_named(quantity.stem, name)
            said.append(f"{quantity.label} class: {scheme.name} ({scheme.source}; {scheme.label})")
    said += unclassed(rows)
    converted = [OF_GROUND[name] for name in rows if name in OF_GROUND]
    return [*said, *(f"{one.name}: {one.formula} ({one.source}; {one.label})" for one in converted)]


def unclassed(rows: Table) -> list[str]:
    """In lines, which numbers have no class because the names of their schemes differ and none is stated; rows: with
    the columns of `class_columns`."""
    said = []
    for quantity in QUANTITIES:
        if quantity.scheme or not quantity.column:
            continue
        without = np.isfinite(rows[quantity.column]) & (rows[f"{quantity.stem}_scheme"] == "")
        if without.any():
            schemes = ", ".join(scheme.name for scheme in schemes_of(quantity.stem))
            said.append(
                f"{quantity.label} has no class: names differ between {schemes}; state one in a column "
                f"{quantity.stem}_scheme"
            )
    return said


def boreability_columns(fpi_kN_per_mm_rev: Column) -> dict[str, Column]:
    """Class and scheme of a field penetration index, (n,). Limits from memory, unconfirmed."""
    found = boreability_class(fpi_kN_per_mm_rev)
    scheme = np.where(found == "", "", BOREABILITY.name).astype(object)
    return dict(zip(BOREABILITY_COLUMNS, (found, scheme), strict=True))
