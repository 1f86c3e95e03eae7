"""Columns of single pads among those that a drive keeps as they are: which pad, what was measured, in which unit."""

import re
from collections.abc import Iterable
from dataclasses import dataclass

from tbmreview.domain.channels import EXTRA_PREFIX
from tbmreview.ingest.headers import parse_header
from tbmreview.ingest.synonyms import PAD, fold_words, meaning, part_labels
from tbmreview.ingest.units import Unit, parse_unit

FORCE, PRESSURE = "force", "pressure"
_ELSE = frozenset(
    {"gripper", "setpoint", "limit", "running", "elsewhere", "difference"}
)  # no force of a pad on a ring


@dataclass(frozen=True, slots=True)
class PadColumn:
    """name: in the store (extra:…). label: number or letter of the pad, '' where the heading tells none. unit: as the
    heading states it, None where it states none of force or pressure."""

    name: str
    label: str
    unit: Unit | None


def pad_columns(names: Iterable[str]) -> tuple[PadColumn, ...]:
    """The columns whose heading speaks of one pad's force or pressure, in the order of the pads."""
    found = []
    for name in names:
        header = parse_header(name.removeprefix(EXTRA_PREFIX))
        atoms = meaning(header).atoms
        unit = _unit(header.units)
        measured = unit is not None or (not header.units and {FORCE, PRESSURE, "thrust"} & atoms)
        if name.startswith(EXTRA_PREFIX) and PAD in atoms and not _ELSE & atoms and measured:
            found.append(stated_column(name))
    return tuple(
        sorted(found, key=lambda column: (not column.label.isdigit(), column.label.zfill(9), column.name))
    )


def stated_column(name: str) -> PadColumn:
    """A column that a person named, with what its heading tells."""
    header = parse_header(name.removeprefix(EXTRA_PREFIX))
    labels = part_labels(re.sub(r"\b(?:no|nr|number)\s*(?=\d)", "", fold_words(header.text)))
    return PadColumn(name, labels[0] if len(labels) == 1 else "", _unit(header.units))


def unit_named(text: str) -> Unit:
    """The unit of force or pressure of a spelling; ValueError if it is none."""
    unit = _unit(parse_unit(text))
    if unit is None:
        raise ValueError(text)
    return unit


def _unit(units: Iterable[Unit]) -> Unit | None:
    return next((unit for unit in units if unit.quantity in (FORCE, PRESSURE)), None)
