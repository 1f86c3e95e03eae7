"""Named rules that make a value missing or a row a duplicate; each counts what it did."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.channels import BY_NAME

Values = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Numbers that loggers write for *no reading* and that no channel reads by chance (common practice).
# Others (-999, 32767) are caught by the channel's range where they cannot be a reading.
SENTINELS = np.array([-9999.0, -9999.99, -9999.25, -999.25, -99999.0])


@dataclass(frozen=True, slots=True)
class ValueRule:
    """`finds(raw, name)` marks values, (n,), that are no measurement; raw as written in the file."""

    name: str
    finds: Callable[[Values, str], Mask]


def _infinite(raw: Values, name: str) -> Mask:
    return np.isinf(raw)


def _sentinel(raw: Values, name: str) -> Mask:
    return np.isin(raw, SENTINELS)


VALUE_RULES: tuple[ValueRule, ...] = (
    ValueRule("infinite", _infinite),
    ValueRule("sentinel for no reading", _sentinel),
)


def out_of_range(values: Values, name: str) -> Mask:
    """Values, (n,) in canonical units, that no machine reads; all False for an extra channel."""
    channel = BY_NAME.get(name)
    if channel is None:
        return np.zeros(len(values), bool)
    return np.asarray((values < channel.low) | (values > channel.high))


@dataclass(frozen=True, slots=True)
class Ordered:
    """rows: indices of the kept rows in order of time; same: duplicates; other: same stamp, other values."""

    rows: NDArray[np.int64]
    same: NDArray[np.int64]
    other: NDArray[np.int64]
    unordered: int


def order_rows(time_us: NDArray[np.int64], values: Mapping[str, Values]) -> Ordered:
    """Sort by time; of rows with one stamp the first in the file stays."""
    steps = np.diff(time_us)
    if np.all(steps > 0):
        none = np.empty(0, np.int64)
        return Ordered(np.arange(len(time_us)), none, none, 0)
    order = np.argsort(time_us, kind="stable")
    stamps = time_us[order]
    new = np.r_[True, stamps[1:] != stamps[:-1]]
    first = order[np.maximum.accumulate(np.where(new, np.arange(len(order)), 0))]
    again, of = order[~new], first[~new]
    agree = np.ones(len(again), bool)
    for column in values.values():
        a, b = column[again], column[of]
        agree &= (a == b) | (np.isnan(a) & np.isnan(b))
    return Ordered(order[new], again[agree], again[~agree], int((steps < 0).sum()))
