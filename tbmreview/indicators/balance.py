"""Balance: what was bored against the belt scale, the annular gap against what was pumped, water over length.

All functions take and give arrays of one shape; NaN is missing and stays so; nothing is infinite. A balance
indicates, it never proves: a surplus may be a cavity, and one within tolerance excludes none.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.setup import Accuracy
from tbmreview.indicators.load import NORMAL_95
from tbmreview.indicators.record import Floats, ratio

SURPLUS, DEFICIT = "surplus", "deficit"
LEAST_STRENGTH = 0.4  # weaker, advance and belt hardly go together; professional judgement
LEAST_LEAD = 0.1  # so much stronger than any other peak, or the lag may as well be the other; the same
LEAST_PAIRS = 200  # pairs of values below which no correlation is looked at

Texts = NDArray[np.object_]


def mass_t(volume_m3: Floats, density_t_m3: float) -> Floats:
    """Mass of rock in place, (n,) [t]. Swell has no part in it."""
    mass: Floats = volume_m3 * density_t_m3
    return mass


def loose_m3(volume_m3: Floats, bulking: float) -> Floats:
    """Volume of the muck, (n,) [m3]: bulking times the volume in place."""
    loose: Floats = volume_m3 * bulking
    return loose


def surplus_pct(scale_t: Floats, bored_t: Floats) -> Floats:
    """How much more the belt scale saw than was bored, (n,) [%]; NaN where nothing was bored."""
    return 100 * (ratio(scale_t, bored_t) - 1)


def surplus_share_u95(bore_diameter_m: float, accuracy: Accuracy) -> float:
    """By what share of scale over bored mass the 95 % interval reaches to either side: scale, density, bore and
    stroke each off alike in every reading, first order (JCGM 100, 5.1). NaN where one of them is not given. What
    changes from reading to reading averages out over a ring and is left out."""
    bore = (
        None if accuracy.bore_systematic_mm is None else 0.2 * accuracy.bore_systematic_mm / bore_diameter_m
    )
    parts = (
        accuracy.belt_systematic_percent,
        accuracy.density_systematic_percent,
        bore,  # twice its share, in %
        accuracy.stroke_systematic_percent,
    )
    shares = [np.nan if part is None else part / 100 for part in parts]
    return NORMAL_95 * float(np.sqrt(np.sum(np.square(shares))))


def flagged(surplus: Floats, follows: NDArray[np.bool_], tolerance_pct: float, fewest: int) -> Texts:
    """SURPLUS or DEFICIT for each of `fewest` or more rings in a row that are beyond the tolerance [%] to the same
    side, else '', (n,). follows: whether a ring comes right after the one before it. A ring without a figure
    ends a row of them."""
    side = np.where(surplus > tolerance_pct, 1, np.where(surplus < -tolerance_pct, -1, 0))
    out = np.full(len(side), "", object)
    for start, end in runs(np.r_[True, (side[1:] != side[:-1]) | ~follows[1:]][: len(side)]):
        if side[start] and end - start >= fewest:
            out[start:end] = SURPLUS if side[start] > 0 else DEFICIT
    return out


def runs(begins: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """(first row, row after the last) of each run; begins: (n,) whether a run begins at a row, the first does."""
    starts = np.flatnonzero(begins).tolist()
    return list(zip(starts, [*starts[1:], len(begins)], strict=False))


# --- lag of the belt ----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Lag:
    """How far the belt scale is behind the face.

    lag_s: NaN where unclear. strength: correlation at its peak. why: '' or why it is unclear.
    """

    lag_s: float
    strength: float
    why: str = ""


def correlations(advance: Floats, belt: Floats, first: int, last: int) -> Floats:
    """Pearson correlation of advance[t] with belt[t + lag] for each lag from `first` to `last` samples, over
    pairs of which both are known; NaN where they are few or one of them does not vary. (last - first + 1,)."""
    out = np.full(last - first + 1, np.nan)
    for i, lag in enumerate(range(first, last + 1)):
        x = advance[max(0, -lag) : len(advance) - max(0, lag)]
        y = belt[max(0, lag) : len(belt) + min(0, lag)]
        both = np.isfinite(x) & np.isfinite(y)
        if np.count_nonzero(both) < LEAST_PAIRS:
            continue
        x, y = x[both] - x[both].mean(), y[both] - y[both].mean()
        spread = float(np.sqrt(x @ x) * np.sqrt(y @ y))
        if spread > 0:
            out[i] = float(x @ y) / spread
    return out


def belt_lag(advance: Floats, belt: Floats, step_s: float, most_s: float) -> Lag:
    """The lag at which advance and belt rate, both on one even clock of `step_s`, go together best.

    Looked for from the belt ahead by a tenth of `most_s` (which no belt is: clocks that differ) to `most_s`
    behind. Unclear where the peak is weak, lies at an end, is before the boring, or where another peak is about
    as strong.
    """
    first, last = -round(0.1 * most_s / step_s), round(most_s / step_s)
    r = correlations(advance, belt, first, last)
    if not np.isfinite(r).any():
        return Lag(np.nan, np.nan, "too little was logged of both, or one of them does not vary")
    best = int(np.nanargmax(r))
    strength, lag_s = float(r[best]), (first + best + _summit(r, best)) * step_s
    if strength < LEAST_STRENGTH:
        why = f"the correlation is {strength:.2f} at best, less than {LEAST_STRENGTH:g}"
    elif lag_s < -step_s:
        why = f"the belt would be {-lag_s:.0f} s before the boring; the clocks of the channels differ"
    elif best == len(r) - 1:
        why = f"the correlation still rises at {most_s / 60:g} min ([drive] belt_lag_most_min)"
    elif strength - (other := _other_peak(r, best)) < LEAST_LEAD:
        why = f"another lag is about as good ({other:.2f} against {strength:.2f})"
    else:
        return Lag(max(0.0, lag_s), strength)
    return Lag(np.nan, strength, why)


def _summit(r: Floats, best: int) -> float:
    """How far the top of the parabola through the peak and its neighbours is from it, in samples."""
    if not 0 < best < len(r) - 1:
        return 0.0
    before, peak, after = r[best - 1 : best + 2]
    bend = 2 * peak - before - after
    return float((after - before) / (2 * bend)) if bend > 0 else 0.0


def _other_peak(r: Floats, best: int) -> float:
    """The highest correlation apart from the peak: beyond where it falls twice LEAST_LEAD below; -1 for none."""
    filled = np.where(np.isfinite(r), r, -1.0)
    low_places = np.flatnonzero(filled <= filled[best] - 2 * LEAST_LEAD)
    before, after = low_places[low_places < best], low_places[low_places > best]
    apart = np.concatenate(
        [filled[: before[-1]] if len(before) else [], filled[after[0] :] if len(after) else []]
    )
    return float(apart.max(initial=-1.0))


# --- annular gap --------------------------------------------------------------------------------


def gap_m3(bore_diameter_m: float, segment_diameter_m: float, length_m: Floats) -> Floats:
    """Volume between bore and segment ring, (n,) [m3]: pi / 4 (D^2 - d^2) L; NaN where the ring is not
    smaller than the bore. Derived."""
    area = np.pi / 4 * (bore_diameter_m**2 - segment_diameter_m**2)
    volume: Floats = length_m * (area if area > 0 else np.nan)
    return volume


def filled_m3(gravel_m3: Floats, mortar_m3: Floats, void_share: float) -> Floats:
    """Volume that gravel and mortar fill, (n,) [m3]: mortar first fills the voids of the gravel, and what is
    more than the voids adds. Derived."""
    filled: Floats = np.maximum(gravel_m3, gravel_m3 * (1 - void_share) + mortar_m3)
    return filled


def voids_m3(gravel_m3: Floats, void_share: float) -> Floats:
    """Voids of loose gravel, (n,) [m3]."""
    voids: Floats = void_share * gravel_m3
    return voids


# --- water --------------------------------------------------------------------------------------


def inflow_over_10_m(inflow_l_min: Floats, length_m: Floats) -> Floats:
    """Inflow of a stretch over 10 m of tunnel, (n,) [l/min]; NaN without length."""
    return 10 * ratio(inflow_l_min, length_m)
