"""Columns of a table that come on request: uncertainty of each indicator; penetration against disc load."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from tbmreview.domain.table import Column, Table
from tbmreview.drive.columns_on_request import RESPONSE_COLUMNS
from tbmreview.drive.reading import Readable
from tbmreview.drive.table import Asked, Beside, Groups, table_beside
from tbmreview.indicators.load import net_disc_load_kN
from tbmreview.indicators.rates import penetration_mm_rev
from tbmreview.indicators.response import UNCONTROLLED, Response, response
from tbmreview.indicators.uncertainty import PIECES, UNCERTAIN, Uncertainty, uncertainties

LEAST_REVOLUTIONS = 5.0  # of a point: with fewer, steps of the stroke between samples are its penetration


def table_on_request(drive: Readable, asked: Asked) -> Table:
    """The table that is asked for, with the columns on request after all others.

    uncertainty: `<name>_u95`, half-width of the 95 % interval, and `<name>_u95_random`, its random part alone,
    of each indicator; NaN where [accuracy] lacks a sensor that it depends on. response: RESPONSE_COLUMNS, from
    the cells of each row.
    """
    beside: list[Beside] = []
    if asked.uncertainty:
        beside.append(uncertainty_columns)
    if asked.response:
        beside.append(response_columns)
    return table_beside(drive, asked, beside)


def uncertainty_columns(drive: Readable, groups: Groups, sums: Table) -> dict[str, Column]:
    """Half-widths of the 95 % interval of each indicator, whole and random part, (rows,)."""
    out: dict[str, Column] = {}
    for name, one in _of_rows(drive, groups, sums).items():
        out |= {f"{name}_u95": one.u95, f"{name}_u95_random": one.u95_random}
    return out


def uncertainty_by_step(drive: Readable, step_m: float, names: Iterable[str]) -> dict[str, Uncertainty]:
    """Uncertainty of these indicators in the rows of `table(drive, "step", step_m)`, by name; (rows,) each."""
    found: dict[str, Uncertainty] = {}

    def beside(drive: Readable, groups: Groups, sums: Table) -> dict[str, Column]:
        found.update(_of_rows(drive, groups, sums, names))
        return {part + n: getattr(one, part) for n, one in found.items() for part in ("systematic", "random")}

    rows = table_beside(drive, Asked("step", step_m, uncertainty=True), [beside])
    return {
        name: replace(one, systematic=rows[f"systematic{name}"], random=rows[f"random{name}"])
        for name, one in found.items()
    }


def _of_rows(
    drive: Readable, groups: Groups, sums: Table, names: Iterable[str] = UNCERTAIN
) -> dict[str, Uncertainty]:
    known = {**sums.columns, PIECES: _stroke_pieces(groups)}
    return uncertainties(known, drive.setup.machine, drive.setup.accuracy, names)


def _stroke_pieces(groups: Groups) -> Column:
    """In how many pieces of strokes each row was bored, (rows,); cells lie by row and time."""
    number, stroke = groups.number, groups.cells["stroke"]
    begins = np.ones(len(number), bool)
    begins[1:] = (number[1:] != number[:-1]) | (stroke[1:] != stroke[:-1])
    return np.bincount(number[begins], minlength=groups.size).astype(np.float64)


def response_columns(drive: Readable, groups: Groups, sums: Table) -> dict[str, Column]:
    """Penetration against net disc load within each row, from its cells, (rows,)."""
    cells, machine = groups.cells.columns, drive.setup.machine
    load, penetration = net_disc_load_kN(cells, machine), penetration_mm_rev(cells, machine)
    enough = cells["revolutions"] >= LEAST_REVOLUTIONS
    load, penetration, number = load[enough], penetration[enough], groups.number[enough]
    ends = np.searchsorted(number, np.arange(groups.size + 1))
    return _columns([response(load[a:b], penetration[a:b]) for a, b in pairwise(ends)])


def _columns(found: Sequence[Response]) -> dict[str, Column]:
    numbers = {
        "response_slope": [r.slope for r in found],
        "response_slope_low": [r.slope_low for r in found],
        "response_slope_high": [r.slope_high for r in found],
        "critical_load_kN": [r.critical_load_kN for r in found],
        "critical_load_low_kN": [r.critical_load_low_kN for r in found],
        "critical_load_high_kN": [r.critical_load_high_kN for r in found],
        "response_points": [r.points for r in found],
    }
    columns: dict[str, Column] = {name: np.array(values, np.float64) for name, values in numbers.items()}
    columns["response_refused"] = np.array([*(r.refused for r in found), ""], object)[:-1]
    columns["response_control"] = np.where(np.isfinite(columns["response_slope"]), UNCONTROLLED, "").astype(
        object
    )
    return {name: columns[name] for name in RESPONSE_COLUMNS}
