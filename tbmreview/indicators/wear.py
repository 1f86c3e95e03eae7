"""Disc wear: how far a disc rolls, how fast, how long it lasts, and when it is due.

A disc rolls on its own track: its way is the circumference of the track times the revolutions of the head. All
functions take and give arrays of one shape; NaN is missing and stays so; nothing is infinite.
"""

import numpy as np
from numpy.typing import NDArray

from tbmreview.indicators.record import Floats, ratio

Flags = NDArray[np.bool_]

ROUNDING = 1e-12
FEWEST_LIVES = 3  # a median of fewer lives says nothing about the next


def rolling_km(radius_m: Floats, revolutions: Floats) -> Floats:
    """Way of a disc on a track of this radius [m] over these revolutions of the head, (n,) [km]. Derived."""
    way: Floats = 2 * np.pi * radius_m * revolutions / 1000
    return way


def rolling_m_per_m(radius_m: Floats, penetration_mm_rev: Floats) -> Floats:
    """Way of a disc over a metre of advance, (n,) [m/m]; NaN without penetration. Derived."""
    return ratio(2 * np.pi * radius_m * 1000, penetration_mm_rev)


def track_speed_m_min(radius_m: Floats, head_speed_rpm: Floats) -> Floats:
    """Speed of a disc along its track, (n,) [m/min]; of the outermost disc it is the gauge speed. Derived."""
    speed: Floats = 2 * np.pi * radius_m * head_speed_rpm
    return speed


def head_speed_at_rpm(radius_m: Floats, speed_m_min: Floats) -> Floats:
    """Head speed at which a disc of this track has this speed along it, (n,) [rpm]; NaN at radius 0."""
    return ratio(speed_m_min, 2 * np.pi * radius_m)


def bored_m3(bore_diameter_m: float, advance_m: Floats) -> Floats:
    """Rock in place that an advance took out, (n,) [m3]: face area times advance."""
    volume: Floats = np.pi / 4 * bore_diameter_m**2 * advance_m
    return volume


def m3_per_mm(volume_m3: Floats, wear_mm: Floats) -> Floats:
    """Rock bored per millimetre of summed disc wear, (n,) [m3/mm]; NaN without wear. Cutter life of a
    published study of a tunnel in Hangzhou (read; its table labels the unit upside down)."""
    return ratio(volume_m3, wear_mm)


def median_life(life: Floats, ended: Flags) -> float:
    """The life that half of the discs outlast; life, ended: (n,), discs still in have lasted so long and count as
    such. The product-limit estimate (Kaplan & Meier 1958): the least life at which at most half are left; NaN
    where more than half outlast all that is known."""
    left = 1.0
    for at in np.unique(life[ended]):
        left *= 1 - np.count_nonzero(life[ended] == at) / np.count_nonzero(life >= at)
        if left <= 0.5 + ROUNDING:
            return float(at)
    return float("nan")


def usual_life_km(
    disc: Floats, life_km: Floats, ended: Flags, positions: Floats
) -> tuple[Floats, Floats, Flags]:
    """How long discs usually last: the median life of a position, or of all where fewer than three of its discs
    have come out.

    disc, life_km, ended: (n,) position and way of each life, and whether its disc came out; lives without a way
    are left out. positions: (k,). Returns (median [km], count of discs that came out it is of, whether they are of
    the position alone), (k,) each; NaN where fewer than three discs came out at all, or most outlast them.
    """
    known = life_km > 0
    disc, life_km, ended = disc[known], life_km[known], ended[known]
    out = int(np.count_nonzero(ended))
    whole = median_life(life_km, ended) if out >= FEWEST_LIVES else np.nan
    median, count = np.full(len(positions), whole), np.full(len(positions), float(out))
    own = np.zeros(len(positions), bool)
    for i, position in enumerate(positions):
        of_it = disc == position
        count_here = np.count_nonzero(of_it & ended)
        if count_here >= FEWEST_LIVES:
            median[i], count[i], own[i] = median_life(life_km[of_it], ended[of_it]), count_here, True
    return median, count, own


def wear_rate_mm_km(life_km: Floats, wear_mm: Floats) -> tuple[float, int]:
    """(summed wear over summed way of the lives whose wear is known [mm/km], how many); NaN below three."""
    known = (life_km > 0) & np.isfinite(wear_mm)
    count = int(np.count_nonzero(known))
    if count < FEWEST_LIVES:
        return float("nan"), count
    return float(wear_mm[known].sum() / life_km[known].sum()), count


def life_shares(turns: Floats) -> Floats:
    """What share of each life was used up in each interval: turns (n, m), revolutions of n lives in m intervals,
    over the sum of the life. (n, m); all over intervals it is 1; a life without revolutions is used up nowhere."""
    whole = turns.sum(axis=1, keepdims=True)
    shares: Floats = np.where(whole > 0, turns, 0.0) / np.where(whole > 0, whole, 1.0)
    return shares
