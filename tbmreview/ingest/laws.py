"""How well raw columns obey the laws of the machine, whatever they are called.

v = n p and P = 2 pi n T / 60 are products, a stroke is the integral of a speed, a force is an area times
a pressure: exact identities of motion and mechanics. A column that obeys one does so up to a constant
factor (its unit) with little spread; one that does not is off by a factor or has much spread.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.ingest.ranges import C, N, P, S, T, V, W
from tbmreview.ingest.units import Unit

Values = NDArray[np.float64]
TIGHT, LOOSE = 0.03, 0.15  # spread of a law that a logger computes; of one that smoothing blurs
_WINDOW = 30  # rows over which a stroke's change is compared with a speed
_ROWS = 3000  # of the sample that products are tried on


@dataclass(frozen=True, slots=True)
class Fit:
    """ratio: median of left side over right side, in raw numbers. spread: median relative deviation from it."""

    ratio: float
    spread: float


@dataclass(frozen=True, slots=True)
class Relation:
    """A law: the first channel over the others is `constant`, up to `low` to `high` times.

    terms: channels with their powers. far: a value off by more than this factor is a contradiction; else it
    is only noted.
    """

    name: str
    terms: Mapping[str, int]
    low: float
    high: float
    far: float
    constant: float = 1.0

    def value(self, ratio: float, units: Mapping[str, Unit]) -> float:
        """1 where the law holds exactly; ratio: of the raw numbers, written in `units`."""
        for channel, power in self.terms.items():
            ratio *= units[channel].factor ** power
        return ratio / self.constant


VNP = Relation("v = n p", {V: 1, N: -1, P: -1}, 0.87, 1.15, 2.0)
POWER = Relation("P = 2 pi n T / 60", {W: 1, N: -1, T: -1}, 0.75, 1.15, 3.0, 2 * math.pi / 60)
STROKE = Relation("stroke step = v dt", {S: 1, V: -1}, 0.87, 1.15, 2.0)
# only tells metres from kilometres and millimetres: a guidance chainage is coarse, and v may lack time
CHAINAGE = Relation("chainage follows the integral of v", {C: 1, V: -1}, 0.4, 2.5, math.inf)


def ratio_fit(a: Values, b: Values) -> Fit | None:
    """How constant a / b is, (n,) each, where both are well above their noise; None with too little data."""
    good = np.isfinite(a) & np.isfinite(b) & (a > 0) & (b > 0)
    if good.sum() < 20:
        return None
    good &= (a > 0.2 * np.quantile(a[good], 0.9)) & (b > 0.2 * np.quantile(b[good], 0.9))
    return _fit(a[good] / b[good]) if good.sum() >= 20 else None


def _fit(ratios: Values) -> Fit:
    middle = float(np.median(ratios))
    return Fit(middle, float(np.median(np.abs(ratios / middle - 1))))


@dataclass(frozen=True, slots=True)
class _Windows:
    """A column over windows of rows: change, integral over time / 60, least and greatest value; (w,) each."""

    change: Values
    integral: Values
    least: Values
    top: float


class Laws:
    """Columns of a sample, raw (n,) each, tried against each other. seconds: stamps of each run [s]."""

    def __init__(self, columns: Mapping[int, Values], seconds: Sequence[Values]) -> None:
        self.columns = columns
        self._seconds = seconds
        rows = sum(map(len, seconds))
        self._thin = {k: np.abs(c[:: max(1, rows // _ROWS)]) for k, c in columns.items()}
        self._seen: dict[int, _Windows] = {}
        self._lively: dict[int, float] = {}
        self._pairs: dict[tuple[int, int], Fit | None] = {}
        self._products: dict[tuple[int, int, int], Fit | None] = {}

    def product(self, a: int, b: int, c: int) -> Fit | None:
        """a / (b c), of magnitudes."""
        key = (a, min(b, c), max(b, c))
        if key not in self._products:
            self._products[key] = ratio_fit(self._thin[a], self._thin[b] * self._thin[c])
        return self._products[key]

    def liveliness(self, k: int) -> float:
        """Median relative deviation of a column from its median, while well above its noise."""
        if k not in self._lively:
            self._lively[k] = self._liveliness(k)
        return self._lively[k]

    def _liveliness(self, k: int) -> float:
        x = self._thin[k]
        x = x[np.isfinite(x) & (x > 0)]
        return unsteadiness(x, x > 0.2 * np.quantile(x, 0.9)) if len(x) >= 20 else 0.0

    def proportional(self, a: int, b: int) -> Fit | None:
        """a / b, of magnitudes."""
        if (a, b) not in self._pairs:
            self._pairs[a, b] = ratio_fit(self._thin[a], self._thin[b])
        return self._pairs[a, b]

    def rate(self, stroke: int, speed: int) -> Fit | None:
        """Change of a stroke over the integral of a speed per minute, while the speed is in use."""
        s, v = self._windows(stroke), self._windows(speed)
        good = (v.least > 0.2 * v.top) & np.isfinite(s.change) & (v.integral > 0)
        if v.top <= 0 or good.sum() < 3:
            return None
        ratios = s.change[good] / v.integral[good]
        rising = ratios[ratios > 0]
        return _fit(rising) if len(rising) >= max(3, 0.6 * len(ratios)) else None

    def _windows(self, k: int) -> _Windows:
        if k not in self._seen:
            self._seen[k] = self._cut(self.columns[k])
        return self._seen[k]

    def _cut(self, column: Values) -> _Windows:
        found: list[Values] = []
        at = 0
        for run in self._seconds:
            part, at = column[at : at + len(run)], at + len(run)
            rows = np.arange(0, max(0, len(run) - _WINDOW), _WINDOW)[:, None] + np.arange(_WINDOW + 1)
            x, dt = part[rows], np.diff(run[rows], axis=1)
            usable = (dt > 0).all(axis=1)
            with np.errstate(invalid="ignore"):
                change, integral = x[:, -1] - x[:, 0], (x[:, :-1] * dt).sum(axis=1) / 60
            least = x.min(axis=1)
            found.append(
                np.column_stack([change, np.where(usable, integral, np.nan), np.where(usable, least, np.nan)])
            )
        table = np.concatenate([np.empty((0, 3)), *found])
        alive = column[np.isfinite(column) & (column > 0)]
        return _Windows(
            table[:, 0], table[:, 1], table[:, 2], float(np.quantile(alive, 0.9)) if len(alive) >= 20 else 0.0
        )


def turns_free(n: Values, p: Values, v: Values) -> int:
    """Rows in which n runs while neither p nor v does: a head turning off the face; (n,) each."""
    tops = [float(np.nanquantile(np.abs(x), 0.9)) for x in (n, p, v)]
    return int(
        np.sum((np.abs(n) > 0.2 * tops[0]) & (np.abs(p) < 0.02 * tops[1]) & (np.abs(v) < 0.02 * tops[2]))
    )


def unsteadiness(values: Values, busy: NDArray[np.bool_]) -> float:
    """Median relative deviation from the median over the busy rows; infinite where that is zero."""
    part = values[busy & np.isfinite(values)]
    middle = float(np.median(part)) if len(part) else 0.0
    return float(np.median(np.abs(part / middle - 1))) if middle else np.inf


def goes_back(values: Values) -> float:
    """By how much a column falls at most below what it had reached."""
    x = values[np.isfinite(values)]
    return float(np.max(np.maximum.accumulate(x) - x)) if len(x) else 0.0


def never_goes_back(values: Values, most: float) -> bool:
    """Whether a column rises by more than `most` (in its own unit) over the sample and never falls back by
    a tenth of that: a distance, not a stroke."""
    x = values[np.isfinite(values)]
    return len(x) >= 20 and float(np.ptp(x)) > most and goes_back(x) < 0.1 * most
