"""Tools for noisy, unevenly stamped signals: means and slopes in a time window, hysteresis, runs."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Window:
    """A window of time centred on each of n samples: sample numbers from `low` to before `high`."""

    low: Ints
    high: Ints

    def mean(self, x: Floats) -> Floats:
        """Mean of the measured values of x (n,) in each window; NaN where it holds none."""
        finite = np.isfinite(x)
        if finite.all():
            total = _sums(x)
            return (total[self.high] - total[self.low]) / (self.high - self.low)
        total, known = _sums(np.where(finite, x, 0.0)), _sums(finite.astype(np.float64))
        count = known[self.high] - known[self.low]
        mean = (total[self.high] - total[self.low]) / np.maximum(count, 1.0)
        return np.where(count > 0, mean, np.nan)


@dataclass(frozen=True, slots=True)
class Slope:
    """Rise over time in a window centred on each of n samples. lag_s: time between its two halves."""

    window: Window
    lag_s: Floats

    def of(self, x: Floats) -> Floats:
        """Rise of x (n,) per second, no value missing: mean of the later half of the window less that of
        the earlier. NaN where a half is empty."""
        return _halves_apart(self.window, x) / self.lag_s


def window(seconds: Floats, width_s: float) -> Window:
    """Windows of `width_s` seconds centred on each sample of the rising `seconds` (n,)."""
    low = np.searchsorted(seconds, seconds - width_s / 2 - 1e-6)
    high = np.searchsorted(seconds, seconds + width_s / 2 + 1e-6)
    return Window(low, high)


def slope(seconds: Floats, width_s: float) -> Slope:
    """Slopes over windows of `width_s` seconds."""
    over = window(seconds, width_s)
    lag_s = _halves_apart(over, seconds)
    return Slope(over, np.where(lag_s > 0, lag_s, np.nan))


def _halves_apart(over: Window, x: Floats) -> Floats:
    total = _sums(x)
    middle = np.arange(1, len(x) + 1)
    later = (total[over.high] - total[1:]) / np.maximum(over.high - middle, 1)
    earlier = (total[1:] - total[over.low]) / (middle - over.low)
    return np.where(over.high > middle, later - earlier, np.nan)


def _sums(x: Floats) -> Floats:
    out = np.empty(len(x) + 1)
    out[0] = 0.0
    np.cumsum(x, out=out[1:])
    return out


def median3(x: Floats) -> Floats:
    """Median of each value with its two neighbours: removes single spikes. NaN spreads to neighbours."""
    if len(x) < 3:
        return x
    before, after = np.r_[x[:1], x[:-1]], np.r_[x[1:], x[-1:]]
    least, most = np.minimum(before, after), np.maximum(before, after)
    return np.maximum(least, np.minimum(most, x))


def filled(x: Floats, seconds: Floats) -> Floats | None:
    """x with missing values put on the line between their neighbours; None if less than two are known.

    For finding movement only: what is summed is never filled.
    """
    known = np.isfinite(x)
    if known.sum() < 2:
        return None
    return x if known.all() else np.interp(seconds, seconds[known], x[known])


def noise(x: Floats) -> float:
    """Standard deviation of the noise of a smooth signal, from its second differences (robust)."""
    if len(x) < 5:
        return 0.0
    return 1.4826 * middle(np.abs(x[2:] - 2 * x[1:-1] + x[:-2])) / float(np.sqrt(6))


def hysteresis(x: Floats, on: float, off: float) -> Flags:
    """True from where x reaches `on` until it falls below `off`; NaN keeps what was. Starts False."""
    said = np.where(x >= on, 1, np.where(x < off, -1, 0))
    latest = np.maximum.accumulate(np.where(said != 0, np.arange(len(x)), -1))
    out: Flags = (latest >= 0) & (said[np.maximum(latest, 0)] == 1)
    return out


def runs(flags: Flags) -> list[tuple[int, int]]:
    """(first, stop) of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


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
    known = np.sort(x[np.isfinite(x)])
    n = len(known)
    return float(known[(n - 1) // 2] + known[n // 2]) / 2 if n else float("nan")


def spread(x: Floats) -> float:
    """Robust standard deviation of the measured values, from the median of their distances to theirs."""
    return 1.4826 * middle(np.abs(x - middle(x)))
