"""Tools for noisy, unevenly stamped signals: means and slopes in a time window, hysteresis, runs."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.robust import MAD_TO_SIGMA

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

LONG_GAP_S = 60.0  # across a longer gap nothing is known of a signal
USUAL = 500  # so many steps of the stamps show the usual one


@dataclass(frozen=True, slots=True)
class Window:
    """A window of time centred on each of n samples: sample numbers from `low` to before `high`."""

    low: Ints
    high: Ints

    def mean(self, x: Floats) -> Floats:
        """Mean of the measured values of x (n,) in each window; NaN where it holds none."""
        finite = np.isfinite(x)
        if finite.all():
            return self._sum(x) / (self.high - self.low)
        count = self._sum(finite.astype(np.float64))
        mean = self._sum(np.where(finite, x, 0.0)) / np.maximum(count, 1.0)
        mean[count == 0] = np.nan
        return mean

    def _sum(self, x: Floats) -> Floats:
        total = _sums(x)
        return total.take(self.high) - total.take(self.low)


@dataclass(frozen=True, slots=True)
class Slope:
    """Rise over time in a window centred on each of n samples: from the mean of its earlier half to that of
    its later one. later, earlier: samples in each half, at least 1; lag_s: time between the two, NaN where a
    half is empty."""

    window: Window
    later: Floats
    earlier: Floats
    lag_s: Floats

    def of(self, x: Floats) -> Floats:
        """Rise of x (n,) per second, no value missing; NaN where a half is empty."""
        return self._apart(x) / self.lag_s

    def _apart(self, x: Floats) -> Floats:
        total = _sums(x)
        here = total[1:]
        earlier = (here - total.take(self.window.low)) / self.earlier
        return (total.take(self.window.high) - here) / self.later - earlier


class Windows:
    """Windows and slopes over the rising `seconds` (n,); those of one width are made once."""

    def __init__(self, seconds: Floats) -> None:
        self.seconds = seconds
        self._windows: dict[float, Window] = {}
        self._slopes: dict[float, Slope] = {}

    def window(self, width_s: float) -> Window:
        """Windows of `width_s` seconds centred on each sample."""
        if width_s not in self._windows:
            self._windows[width_s] = window(self.seconds, width_s)
        return self._windows[width_s]

    def slope(self, width_s: float) -> Slope:
        """Slopes over windows of `width_s` seconds."""
        if width_s not in self._slopes:
            self._slopes[width_s] = _slope(self.window(width_s), self.seconds)
        return self._slopes[width_s]


def window(seconds: Floats, width_s: float) -> Window:
    """Windows of `width_s` seconds centred on each sample of the rising `seconds` (n,)."""
    half = width_s / 2 + 1e-6
    usual_s = middle(np.diff(seconds[:USUAL]))
    reach = min(int(half / usual_s), len(seconds)) if usual_s > 0 else 0
    return Window(_found(seconds, seconds - half, -reach), _found(seconds, seconds + half, reach + 1))


def slope(seconds: Floats, width_s: float) -> Slope:
    """Slopes over windows of `width_s` seconds."""
    return _slope(window(seconds, width_s), seconds)


def _found(seconds: Floats, wanted: Floats, ahead: int) -> Ints:
    """np.searchsorted(seconds, wanted), (n,). Most stamps of a log lie evenly, so that it is each sample's
    number and `ahead`; only where it is not it is looked for."""
    n = len(seconds)
    edge = np.full(abs(ahead) + 1, np.inf)
    edged = np.concatenate([-edge, seconds, edge])
    first = len(edge) + ahead
    before, at = edged[first - 1 : first - 1 + n], edged[first : first + n]
    wrong = np.flatnonzero((before >= wanted) | (at < wanted))
    found = np.arange(ahead, ahead + n)
    found[wrong] = np.searchsorted(seconds, wanted[wrong])
    return found


def _slope(over: Window, seconds: Floats) -> Slope:
    number = np.arange(1, len(seconds) + 1)
    later, earlier = (over.high - number).astype(np.float64), (number - over.low).astype(np.float64)
    none = later < 1
    made = Slope(over, np.maximum(later, 1.0), earlier, np.ones(1))
    lag_s = made.of(seconds)
    lag_s[none | (lag_s <= 0)] = np.nan
    return replace(made, lag_s=lag_s)


def _sums(x: Floats) -> Floats:
    out = np.empty(len(x) + 1)
    out[0] = 0.0
    np.cumsum(x, out=out[1:])
    return out


def median3(x: Floats) -> Floats:
    """Median of each value with its two neighbours: removes single spikes. NaN spreads to neighbours."""
    if len(x) < 3:
        return x
    edged = np.concatenate([x[:1], x, x[-1:]])
    before, after = edged[:-2], edged[2:]
    least, most = np.minimum(before, after), np.maximum(before, after)
    median: Floats = np.maximum(least, np.minimum(most, x))
    return median


def filled(x: Floats, seconds: Floats) -> Floats | None:
    """x with missing values put on the line between their neighbours; None if less than two are known.

    For finding movement only: what is summed is never filled.
    """
    known = np.isfinite(x)
    if known.sum() < 2:
        return None
    return x if known.all() else np.interp(seconds, seconds[known], x[known])


def measured(x: Floats, known: Flags | None = None) -> Floats:
    """x (n,) with 0 for what is not measured, or not `known`; x itself where nothing is missing."""
    known = np.isfinite(x) if known is None else known
    return x if known.all() else np.where(known, x, 0.0)


def noise(x: Floats) -> float:
    """Standard deviation of the noise of a smooth signal, from its second differences (robust)."""
    if len(x) < 5:
        return 0.0
    return MAD_TO_SIGMA * middle(np.abs(x[2:] - 2 * x[1:-1] + x[:-2])) / float(np.sqrt(6))


def hysteresis(x: Floats, on: float, off: float) -> Flags:
    """True from where x reaches `on` until it falls below `off`; NaN keeps what was. Starts False."""
    out: Flags = x >= on
    for first, stop in runs(~(out | (x < off))):
        out[first:stop] = first > 0 and out[first - 1]
    return out


def runs(flags: Flags) -> list[tuple[int, int]]:
    """(first, stop) of each run of True."""
    edges = (np.flatnonzero(flags[1:] != flags[:-1]) + 1).tolist()
    if len(flags) and flags[0]:
        edges.insert(0, 0)
    if len(flags) and flags[-1]:
        edges.append(len(flags))
    return list(zip(edges[::2], edges[1::2], strict=True))


def close_short(flags: Flags, seconds: Floats, shortest_s: float) -> Flags:
    """Runs of False between two runs of True that last less than `shortest_s` become True."""
    out = flags.copy()
    for first, stop in runs(~flags):
        if first > 0 and stop < len(flags) and seconds[stop] - seconds[first] < shortest_s:
            out[first:stop] = True
    return out


def drop_short(flags: Flags, seconds: Floats, shortest_s: float) -> Flags:
    """Runs of True that last less than `shortest_s` (to the next sample) become False."""
    out = flags.copy()
    for first, stop in runs(flags):
        end = seconds[min(stop, len(seconds) - 1)]
        if end - seconds[first] < shortest_s:
            out[first:stop] = False
    return out


def middle(x: Floats) -> float:
    """Median of the measured values; NaN if there is none. (numpy's costs ten times as much on a few.)"""
    finite = np.isfinite(x)
    known = x.copy() if finite.all() else x[finite]
    n = len(known)
    if not n:
        return float("nan")
    known.partition(n // 2)
    upper = known[n // 2]
    lower = upper if n % 2 else known[: n // 2].max()
    return float(lower + upper) / 2


def line(x: Floats, y: Floats) -> tuple[float, float]:
    """(rise, y at x = 0) of the straight line through points (k,), k >= 2, by least squares."""
    apart = x - x.mean()
    rise = float(apart @ y / (apart @ apart))
    return rise, float(y.mean()) - rise * float(x.mean())


def spread(x: Floats) -> float:
    """Robust standard deviation of the measured values, from the median of their distances to theirs."""
    return MAD_TO_SIGMA * middle(np.abs(x - middle(x)))
