"""Disc wear: how far a disc rolls, how fast, how long it lasts, and when it is due.

A disc rolls on its own track: its way is the circumference of the track times the revolutions of the head. All
functions take and give arrays of one shape; NaN is missing and stays so; nothing is infinite.
"""

import numpy as np

from tbmreview.indicators.record import Floats, ratio

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


def usual_life_km(disc: Floats, life_km: Floats, positions: Floats) -> tuple[Floats, Floats, Floats]:
    """What lasts usual: median of the ended lives of a position, or of all where it has fewer than three.

    disc, life_km: (n,) position and way of each ended life; lives without a way are left out. positions: (k,).
    Returns (median [km], count of lives it is of, 1.0 where they are of the position alone), (k,) each; NaN,
    their count and 0 where fewer than three lives are known at all.
    """
    known = life_km > 0
    disc, life_km = disc[known], life_km[known]
    median = np.full(len(positions), np.median(life_km) if len(life_km) >= FEWEST_LIVES else np.nan)
    count, own = np.full(len(positions), float(len(life_km))), np.zeros(len(positions))
    for i, position in enumerate(positions):
        of_it = life_km[disc == position]
        if len(of_it) >= FEWEST_LIVES:
            median[i], count[i], own[i] = np.median(of_it), len(of_it), 1.0
    return median, count, own


def wear_rate_mm_km(life_km: Floats, wear_mm: Floats) -> tuple[float, int]:
    """(summed wear over summed way of the lives whose wear is known [mm/km], how many); NaN below three."""
    known = (life_km > 0) & np.isfinite(wear_mm)
    count = int(np.count_nonzero(known))
    if count < FEWEST_LIVES:
        return float("nan"), count
    return float(wear_mm[known].sum() / life_km[known].sum()), count


def shared_lives(part: Floats, whole: Floats) -> Floats:
    """Lives used up in each of m intervals: part (n, m), the revolutions of each of n ended lives there, over
    whole (n,), those of the life. Summed over all intervals it is the number of lives; a life without
    revolutions counts nowhere. (m,)."""
    share = np.where(whole[:, None] > 0, part / np.where(whole > 0, whole, 1.0)[:, None], 0.0)
    used: Floats = share.sum(axis=0)
    return used
