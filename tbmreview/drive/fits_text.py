"""Fits as tables and as text, and a kept fit as a model of expectation."""

from collections.abc import Sequence
from datetime import datetime
from typing import Protocol
from zoneinfo import ZoneInfo

import numpy as np

from tbmreview.domain.ground import GROUND_COLUMNS
from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.table import Table
from tbmreview.drive.export import text_table
from tbmreview.drive.fits import LINEAR, POWER, TOLD_APART, Fit, data_changed, fit_of
from tbmreview.drive.reading import Floats, Readable
from tbmreview.indicators.models.record import GROUND, Input, Model
from tbmreview.indicators.response import UNCONTROLLED
from tbmreview.store.fits import KeptFit

CAUTION = (
    "a fit holds for the ground, the machine and the range that it was made of; it explains nothing and foretells "
    "nothing beyond, and does not replace the judgement of the responsible engineer"
)
AS_KEPT, CHANGED = "as when kept", "data changed since"
_SHOWN = (
    *("chainage_from_m", "chainage_to_m", "ground", "observed", "fitted", "fitted_low", "fitted_high"),
    *("residual", "left_out"),
)


class Keeping(Readable, Protocol):
    """A drive that keeps fits."""

    def kept_fits(self) -> tuple[KeptFit, ...]:
        """The last fit of each name."""


def equation(found: Fit) -> str:
    """The fit in a line, five digits: 'net_fpi_kN_per_mm_rev = 1.2345 + 0.2 ucs_MPa'."""
    wanted = found.wanted
    left = wanted.quantity.name(wanted.gross)
    parts = [f"{found.values[0]:.5g}"]
    parts += [
        f"{'-' if value < 0 else '+'} {abs(value):.5g} {term}"
        for value, term in zip(found.values[1:].tolist(), wanted.terms[1:], strict=True)
    ]
    return f"{left if wanted.form == LINEAR else f'ln {left}'} = {' '.join(parts)}"


def method(found: Fit) -> str:
    """How it was fitted, in words."""
    how = "robust regression (Huber)" if found.wanted.robust else "ordinary least squares"
    return f"{found.wanted.form}, {how}, {UNCONTROLLED}: of normal boring"


def ground_told(found: Fit) -> str:
    """The ground table of a fit by kind, name and date of issue."""
    issued = f"issued {found.issued}" if found.issued else "without a date of issue"
    return f"{found.wanted.ground} ground '{found.wanted.name}', {issued}"


def interval_table(found: Fit) -> Table:
    """The intervals of a fit with bands and residuals, and what they are of, for a file."""
    wanted = found.wanted
    same = {
        "quantity": wanted.quantity.name(wanted.gross),
        "unit": wanted.quantity.unit,
        "ground_kind": wanted.ground,
        "ground_name": wanted.name or "",
        "ground_issued": found.issued,
    }
    return found.rows.with_columns({n: np.full(len(found), text, object) for n, text in same.items()})


def coefficient_table(fits: Sequence[tuple[str, Fit, str]]) -> Table:
    """A row a coefficient of each (name, fit, state of its data): term, value, standard_error, low_95, high_95, and
    beside it what the fit is of and how good."""
    rows = [
        {
            "fit": name,
            "quantity": found.wanted.quantity.name(found.wanted.gross),
            "unit": found.wanted.quantity.unit,
            "form": found.wanted.form,
            "method": "robust" if found.wanted.robust else "ordinary",
            "term": term,
            "value": float(found.values[i]),
            "standard_error": float(found.standard_errors[i]),
            "low_95": float(found.low[i]),
            "high_95": float(found.high[i]),
            "intervals": float(len(found)),
            "residual_sd": found.residual_sd,
            "r_squared": found.r_squared,
            "left_out_error": found.left_out_error,
            "ground_kind": found.wanted.ground,
            "ground_name": found.wanted.name or "",
            "ground_issued": found.issued,
            "data": state,
            "fingerprint": found.fingerprint,
            "control": UNCONTROLLED,
        }
        for name, found, state in fits
        for i, term in enumerate(found.wanted.terms)
    ]
    numbers = {
        *("value", "standard_error", "low_95", "high_95"),
        *("intervals", "residual_sd", "r_squared", "left_out_error"),
    }
    names = list(rows[0]) if rows else ["fit", "term", "value"]
    return Table(
        {n: np.array([row[n] for row in rows], np.float64 if n in numbers else object) for n in names}
    )


def fit_text(found: Fit, zone: ZoneInfo) -> str:
    """A fit for a terminal: equation, coefficients, how good, and each interval with band and residual."""
    unit = found.wanted.quantity.unit
    shown = ("term", "value", "standard_error", "low_95", "high_95")
    coefficients = coefficient_table([("", found, "")])
    digits = {n: np.array([f"{value:.5g}" for value in coefficients[n].tolist()], object) for n in shown[1:]}
    return "\n".join(
        [
            f"{equation(found)}   [{unit}]",
            f"{method(found)}; {len(found)} intervals of {ground_told(found)}",
            *([f"passed over: {', '.join(found.passed_over)}"] if found.passed_over else []),
            "",
            text_table(coefficients.with_columns(digits), zone, shown),
            "",
            text_table(found.rows, zone, _SHOWN),
            "",
            *goodness(found),
            "bounds and bands hold 95 %, by Student's t; left out: what a fit to the other intervals tells",
            CAUTION,
        ]
    )


def goodness(found: Fit) -> list[str]:
    """How good a fit is, and what it cannot bear."""
    unit = found.wanted.quantity.unit
    of = unit if found.wanted.form == LINEAR else "in the logarithm"
    squared = "" if np.isnan(found.r_squared) else f"; R2 {found.r_squared:.3f}"
    error = "not known" if np.isnan(found.left_out_error) else f"{found.left_out_error:.3g} {unit}"
    lines = [
        f"standard deviation about the fit {found.residual_sd:.3g} {of}{squared}; error with one interval left out {error}"
    ]
    if np.isnan(found.left_out_error):
        lines.append("without one of the intervals the others make no fit: it rests on that one alone")
    distinct = len(np.unique(np.column_stack([found.rows[n] for n in found.wanted.on]), axis=0))
    if distinct < len(found):
        lines.append(
            f"the {len(found)} intervals have {distinct} different sets of columns: ground that was given one figure is not "
            "seen anew in each, so bounds are wider than shown"
        )
    if found.condition > TOLD_APART:
        lines.append(
            f"the columns move together (condition number {found.condition:.0f}): their coefficients are not told apart"
        )
    return lines


def kept_text(drive: Keeping, zone: ZoneInfo) -> str:
    """The kept fits, a line or two each, with whether their data changed since."""
    lines = []
    for kept in drive.kept_fits():
        found = fit_of(kept)
        when = datetime.fromtimestamp(kept.decided_us / MICROSECONDS, zone)
        lines += [
            f"{kept.name}: {equation(found)}   [{found.wanted.quantity.unit}]",
            f"  {method(found)}; {len(found)} intervals of {ground_told(found)}; {'; '.join(goodness(found))}",
            f"  kept by {kept.decided_by}, {when:%Y-%m-%d %H:%M}; {state_of(drive, kept)}"
            + (f"; {kept.note}" if kept.note else ""),
        ]
    return "\n".join([*lines, CAUTION]) if lines else "no fit is kept in this drive"


def state_of(drive: Keeping, kept: KeptFit) -> str:
    """Whether the data of a kept fit are those of the drive today."""
    return CHANGED if data_changed(drive, kept) else AS_KEPT


def kept_table(drive: Keeping) -> Table:
    """The coefficients of every kept fit, see coefficient_table."""
    return coefficient_table([(kept.name, fit_of(kept), state_of(drive, kept)) for kept in drive.kept_fits()])


def model_of(kept: KeptFit) -> Model:
    """A kept fit as a model of expectation; its range is that of its data."""
    found = fit_of(kept)
    wanted = found.wanted
    units = {name: (unit, what) for name, unit, what in GROUND_COLUMNS}
    inputs = tuple(
        Input(n, *units[n], GROUND, float(found.rows[n].min()), float(found.rows[n].max())) for n in wanted.on
    )

    def function(*x: Floats) -> Floats:
        columns = [np.log(one) for one in x] if wanted.form == POWER else x
        y = found.values[0] + sum(c * one for c, one in zip(found.values[1:], columns, strict=True))
        return np.asarray(y if wanted.form == LINEAR else np.exp(y))

    return Model(
        kept.name,
        f"site fit '{kept.name}'",
        "fit",
        wanted.quantity,
        inputs,
        function,
        f"fit kept by {kept.decided_by}",
        f"site fit, {len(found)} intervals of {ground_told(found)}, {UNCONTROLLED}",
        equation(found),
    )
