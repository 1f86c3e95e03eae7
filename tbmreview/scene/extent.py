"""The scale of a strip: from all values of its series, over the whole drive or the view."""

import math
import weakref
from collections.abc import Iterable
from dataclasses import dataclass
from functools import reduce

import numpy as np

from tbmreview.scene.plan import Floats
from tbmreview.scene.ticks import nice_step

OFF_SCALE = 2.5  # an extreme this many times beyond the rest is marked at the edge, not scaled to
LEAST_DRAWN = (
    1e-9  # in the unit of a strip: what is nearer to 0 is 0 to the eye, and below it steps lose their digits
)


@dataclass(frozen=True, slots=True)
class Extent:
    """What a column holds: its bulk (0.5 and 99.5 % quantiles of its rows) and its extremes. NaN: nothing."""

    low: float
    high: float
    least: float
    most: float
    least_positive: float


_NOTHING = Extent(math.nan, math.nan, math.nan, math.nan, math.nan)
_kept: dict[int, tuple["weakref.ref[Floats]", Extent]] = {}


def extent(values: Floats) -> Extent:
    """The extent of a column; kept as long as the array lives, since every picture asks for it."""
    key = id(values)
    held = _kept.get(key)
    if held is not None and held[0]() is values:
        return held[1]
    found = measure(values)
    _kept[key] = (weakref.ref(values, lambda _: _kept.pop(key, None)), found)
    return found


def measure(values: Floats) -> Extent:
    """The extent of (n,) values; NaN rows do not count."""
    known = values[np.isfinite(values)]
    if len(known) == 0:
        return _NOTHING
    low, high = np.quantile(known, (0.005, 0.995))
    positive = known[known > 0]
    least_positive = float(np.quantile(positive, 0.005)) if len(positive) else math.nan
    return Extent(float(low), float(high), float(known.min()), float(known.max()), least_positive)


def _join(one: Extent, other: Extent) -> Extent:
    return Extent(
        min(one.low, other.low),
        max(one.high, other.high),
        min(one.least, other.least),
        max(one.most, other.most),
        float(np.fmin(one.least_positive, other.least_positive)),
    )


def scale(extents: Iterable[Extent], *, logarithmic: bool, at_least: float = math.nan) -> tuple[float, float]:
    """(low, high) of a strip that shows these columns; `at_least` is a value it must reach (a limit)."""
    known = [e for e in extents if math.isfinite(e.high)]
    if not known:
        top = at_least if math.isfinite(at_least) else 1.0
        return (0.1, 1.0) if logarithmic else (0.0, top * 1.1)
    whole = reduce(_join, known)
    return _log_scale(whole) if logarithmic else _linear_scale(whole, at_least)


def _linear_scale(e: Extent, at_least: float) -> tuple[float, float]:
    top = e.most if e.most <= OFF_SCALE * max(e.high, 0) else e.high * 1.15
    if math.isfinite(at_least):
        top = max(top, at_least * 1.2)  # room for its words
    bottom = e.least if e.least >= -OFF_SCALE * max(-e.low, 0) else e.low * 1.15
    top, bottom = max(top, 0.0), min(bottom, 0.0)
    if top - bottom < LEAST_DRAWN:
        return 0.0, 1.0
    step = nice_step((top - bottom) / 20)
    return math.floor(bottom / step + 1e-9) * step, math.ceil(top / step - 1e-9) * step


def _log_scale(e: Extent) -> tuple[float, float]:
    if not math.isfinite(e.least_positive):
        return 0.1, 1.0
    top = e.most if e.most <= OFF_SCALE**2 * e.high else e.high * 1.5
    bottom = e.least if e.least >= e.least_positive / OFF_SCALE**2 and e.least > 0 else e.least_positive / 1.5
    bottom = max(bottom, LEAST_DRAWN)
    low, high = _log_floor(bottom), nice_step(max(top, bottom))
    return low, high if high > low * 1.5 else nice_step(low * 2)


def _log_floor(value: float) -> float:
    power = 10.0 ** math.floor(math.log10(value))
    return next(f * power for f in (5.0, 2.0, 1.0) if f * power <= value * (1 + 1e-12))
