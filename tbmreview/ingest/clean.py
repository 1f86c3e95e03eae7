"""Rules that look at one value or one stamp: what is no measurement, which rows say the same.

Rules that look at the rows around a value are in `surroundings`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.channels import BY_NAME

Values = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Numbers that loggers write for *no reading* and that no channel reads by chance (common practice).
# Others (-1, -999, 32767) may be readings: `surroundings` looks at what stands beside them.
SENTINELS = np.array([-9999.0, -9999.99, -9999.25, -999.25, -99999.0])
OUT_OF_RANGE = "outside what a machine reads"

WEAK, STRONG = 1, 2
COUNTER_FROM = 32_000.0  # below it no 16-bit counter begins again
_STRONG = (-999.0, 9999.0, 32767.0, -32767.0, -32768.0, 65535.0)
_COUNTS = 700  # what a counter adds at most from one value to the next


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


def extremes(values: Values) -> tuple[float, float]:
    """(lowest, highest) of (n,); NaN where there is no value. They tell whether a rule can find anything."""
    if not len(values):
        return np.nan, np.nan
    return float(np.fmin.reduce(values)), float(np.fmax.reduce(values))


def value_faults(raw: Values, values: Values, name: str, span: tuple[float, float]) -> list[tuple[str, Mask]]:
    """(rule, marks (n,)) of the rules that found something; no value is marked twice.

    raw: as written, span: its extremes; values: in the channel's unit.
    """
    found: list[tuple[str, Mask]] = []
    lowest, highest = span
    if lowest <= SENTINELS.max() or np.isinf(highest):
        found = [(rule.name, rule.finds(raw, name)) for rule in VALUE_RULES]
    channel = BY_NAME.get(name)
    if channel is not None:
        low, high = span if values is raw else extremes(values)
        if low < channel.low or high > channel.high:
            odd = (values < channel.low) | (values > channel.high)
            for _, marks in found:
                odd &= ~marks
            found.append((OUT_OF_RANGE, odd))
    return [(rule, marks) for rule, marks in found if marks.any()]


def suspects(values: Values, span: tuple[float, float], scale: float = 1.0) -> NDArray[np.int8] | None:
    """(n,) 0, WEAK or from STRONG on: numbers that often mean *no reading*; None where there is none.

    From STRONG on, a code each: -999, 9999 and the ends of a 16-bit register; WEAK is -1, which a sensor at
    rest may read. span: the extremes of values. scale: what the numbers as written were multiplied by.
    """
    lowest, highest = span
    if scale < 0:
        return suspects(-values, (-highest, -lowest), -scale)
    if not (lowest <= -scale or highest >= 9999 * scale):
        return None
    codes = np.where(values == -scale, WEAK, 0).astype(np.int8)
    if lowest <= -999 * scale or highest >= 9999 * scale:
        for code, number in enumerate(_STRONG, start=STRONG):
            codes[values == number * scale] = code
    return codes if codes.any() else None


def telling(raw: Values) -> Values:
    """A sample as written, without what tells nothing of its unit: STRONG suspects, and readings of up to three
    rows that lie a thousand usual steps off while those on both sides agree, or at its end."""
    codes = suspects(raw, extremes(raw))
    if codes is not None:
        raw = np.where(codes >= STRONG, np.nan, raw)
    step = np.abs(np.diff(raw))
    usual = step[step > 0]
    if not len(usual):
        return raw
    edges = np.flatnonzero(step > 1_000 * np.median(usual))
    out = raw.copy()
    for up, down in pairwise(edges.tolist()):
        if down - up <= 3 and abs(raw[down + 1] - raw[up]) < 0.01 * step[up]:
            out[up + 1 : down + 1] = np.nan
    if len(edges) and edges[0] < 3:
        out[: edges[0] + 1] = np.nan
    if len(edges) and edges[-1] >= len(step) - 3:
        out[edges[-1] + 1 :] = np.nan
    return out


def wraps(raw: Values) -> NDArray[np.int64]:
    """Rows, rising, at which a 16-bit counter that has risen to its end begins again; raw (n,) as written,
    NaN never."""
    new = np.flatnonzero(np.r_[True, raw[1:] != raw[:-1]] & np.isfinite(raw))
    value = raw[new]
    before, after = value[:-1], value[1:]
    signed = (before > 32_000) & (before <= 32_767) & (after >= -32_768) & (after < -32_000)
    restart = (after >= 0) & (after < _COUNTS)
    plain = restart & (((before > 32_000) & (before <= 32_768)) | ((before > 65_000) & (before <= 65_536)))
    begins = signed | plain
    begins[1:] &= np.abs(np.diff(before)) < _COUNTS
    return new[1:][begins]


def last_counts(raw: Values) -> Values:
    """The last two different values, of which `wraps` must know to see whether a counter begins again."""
    finite = raw[np.isfinite(raw)]
    new = np.flatnonzero(finite[1:] != finite[:-1])
    return finite[[int(new[-1]), -1]] if len(new) else finite[-1:]


@dataclass(frozen=True, slots=True)
class Ordered:
    """rows: indices of the kept rows in order of time; same: duplicates; other: same stamp, other values."""

    rows: NDArray[np.int64] | slice
    same: NDArray[np.int64]
    other: NDArray[np.int64]


def order_rows(time_us: NDArray[np.int64], values: Mapping[str, Values]) -> Ordered:
    """Sort by time; of rows with one stamp the first in the file stays."""
    if np.all(time_us[1:] > time_us[:-1]):
        none = np.empty(0, np.int64)
        return Ordered(slice(None), none, none)
    order = np.argsort(time_us, kind="stable")
    stamps = time_us[order]
    new = np.r_[True, stamps[1:] != stamps[:-1]]
    first = order[np.maximum.accumulate(np.where(new, np.arange(len(order)), 0))]
    again, of = order[~new], first[~new]
    agree = np.ones(len(again), bool)
    for column in values.values():
        a, b = column[again], column[of]
        agree &= (a == b) | (np.isnan(a) & np.isnan(b))
    return Ordered(order[new], again[agree], again[~agree])
