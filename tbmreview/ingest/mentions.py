"""Columns that are no channel as they stand, but that a person should hear of: a torque in percent, a
column that runs like a chainage."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.channels import CHANNELS
from tbmreview.ingest.headers import Header
from tbmreview.ingest.laws import POWER, TIGHT, never_goes_back, ratio_fit
from tbmreview.ingest.ranges import C, N, T, W
from tbmreview.ingest.report import CHANNEL, EXTRA, Column
from tbmreview.ingest.synonyms import meaning
from tbmreview.ingest.units import for_channel

Values = NDArray[np.float64]

NO_NAME = "no channel has this name"
_RUNS_M = (
    0.5  # metres (or a thousandth of that, in km) over the sample from which a column runs like a chainage
)


def foreign_unit(header: Header) -> str:
    """Named like a channel, but in a unit that measures none, such as a torque in % or A; '' else."""
    percent = any(u.quantity == "share" for u in header.units)
    if not header.units or (not percent and any(for_channel(header.units, c) for c in CHANNELS)):
        return ""
    named = meaning(replace(header, units=(), unit_text="")).channels
    return f"named like {named[0]}, but {header.unit_text} is no unit of it" if named else ""


def mentioned(
    columns: Sequence[Column], headers: Sequence[Header], values: Mapping[int, Values]
) -> tuple[Column, ...]:
    """The columns, a torque in percent asked where the log has no other, a nameless chainage said to be one."""
    taken = {c.name for c in columns if c.role == CHANNEL}
    shares = [c for c in columns if T not in taken and _is_share_of_torque(c, headers[c.index])]
    out = list(columns)
    for k, column in enumerate(columns):
        if len(shares) == 1 and column is shares[0]:
            out[k] = _asked(column, columns, values)
        elif C not in taken and column.reason.startswith(NO_NAME) and _runs(column, values):
            out[k] = replace(column, reason=f"{column.reason}; it runs like a chainage")
    return tuple(out)


def _is_share_of_torque(column: Column, header: Header) -> bool:
    percent = any(u.quantity == "share" for u in header.units)
    return column.role == EXTRA and percent and column.reason.startswith(f"named like {T},")


def _asked(column: Column, columns: Iterable[Column], values: Mapping[int, Values]) -> Column:
    one = _one_percent(column, columns, values)
    unit = f"{one:.4g} kNm"
    question = "is in percent of the installed torque: state what 1 % is"
    question += (
        f"; P = 2 pi n T / 60 holds with '{unit}'" if one > 0 else ", such as '40 kNm', or keep it as extra"
    )
    ways = (f"{T} in {unit}",) if one > 0 else ()
    return replace(
        column, role=CHANNEL, name=T, unit="", confidence=0.3, alternatives=ways, question=question
    )


def _one_percent(column: Column, columns: Iterable[Column], values: Mapping[int, Values]) -> float:
    """The torque of one percent by power and head speed [kNm]; NaN where the log does not tell."""
    by = {c.name: c for c in columns if c.conversion is not None}
    if W not in by or N not in by:
        return math.nan
    power, n = (np.abs(by[c].conversion.convert(values[by[c].index])) for c in (W, N))  # type: ignore[union-attr]
    fit = ratio_fit(power, n * np.abs(values[column.index]))
    return fit.ratio / POWER.constant if fit is not None and fit.spread <= TIGHT else math.nan


def _runs(column: Column, values: Mapping[int, Values]) -> bool:
    """One way, without steps of a counter, far from where it began only by a small part of itself."""
    raw = values.get(column.index)
    if raw is None:
        return False
    x = raw[np.isfinite(raw)]
    if len(x) < 100 or len(np.unique(x)) < 50 or np.all(x == np.round(x)):
        return False
    way = x if x[-1] >= x[0] else -x
    return any(never_goes_back(way, most) and np.ptp(x) < 1e6 * most for most in (_RUNS_M, _RUNS_M / 1000))
