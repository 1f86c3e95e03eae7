"""A set read at rest, before and after a movement, where its sensor is surest.

Between the two nothing is lost, whatever the head did: so the whole advance of a stroke hangs on readings at
rest, as many as there are until the set moves again. Only where the log shows none is a level taken from the
movement itself.
"""

from typing import NamedTuple

import numpy as np

from tbmreview.motion.record import STOP_MM_MIN, Extension, Record
from tbmreview.motion.signals import Floats, middle

REST_S = 300.0  # a set at rest is read over so long: it may creep over longer ones
LEAST_READINGS = 5  # at rest; in a fine log fewer say less than the movement does
MOVES = 4.0  # deviations by which a set at rest moves
ODD = 5.0  # and by which a lone reading is not merely odd
FELL = 3.0  # deviations by which one reading lies below another
STILL_ON_ITS_WAY = 2.0  # deviations of the reading next to a movement off the others at rest
LEAST_NOISE_MM = 0.5  # a sensor's print step and play


class Level(NamedTuple):
    """Extension [mm], and whether it was read at rest, or as near to it as a slow log shows."""

    mm: float
    rests: bool


def by_rest(record: Record, extension: Extension) -> bool:
    """The ends of a movement are read at rest alone: where samples lie too far apart to see them, where no
    logged speed says when they are, and of a chainage, which is late."""
    return not record.is_fine or record.rate_mm_min is None or extension is record.travel


def rest_before(record: Record, extension: Extension, rate: Floats, first: int) -> Level:
    """Extension before the movement that sample `first` is the first to show."""
    mm = extension.mm
    if record.goes_on(first) and mm[first - 1] <= mm[first] + extension.unclear_mm:
        return _level(record, extension, at_rest(record, extension, rate, (first - 1, -1)))
    met = float(mm[first] - half_interval_mm(record, rate, first))
    return Level(met, by_rest(record, extension))


def rest_after(record: Record, extension: Extension, rate: Floats, stop: int) -> Level:
    """Extension at which a movement ended whose last sample is the one before `stop`.

    Where the set comes back before it is seen at rest: where the line of the movement meets that of the return.
    """
    mm, last, slow = extension.mm, stop - 1, by_rest(record, extension)
    half_mm = half_interval_mm(record, rate, last)
    if stop >= len(mm) or not record.goes_on(stop):
        return Level(float(mm[last]) + 2 * half_mm, slow)
    fell = mm[stop] < mm[last] - FELL * extension.noise_mm
    one_mm, other_mm = -np.diff(mm[[stop, min(stop + 1, len(mm) - 1), min(stop + 2, len(mm) - 1)]])
    if fell and one_mm <= extension.unclear_mm:
        # it came back and rests; it went on after `last`, but had to stop and come back before the next reading
        return Level(float(mm[last]) + 0.5 * half_mm, slow)
    comes_back = one_mm > extension.unclear_mm and abs(one_mm - other_mm) <= extension.unclear_mm
    if not fell and not comes_back:
        return _level(record, extension, at_rest(record, extension, rate, (stop, 1)))
    share = (mm[stop] - mm[last] + one_mm) / (2 * half_mm + one_mm)  # of the interval until it turned round
    return Level(float(mm[last] + 2 * half_mm * np.clip(share, 0.0, 1.0)), slow)


def _level(record: Record, extension: Extension, found: tuple[float, int]) -> Level:
    mm, readings = found
    return Level(mm, readings >= LEAST_READINGS or by_rest(record, extension))


def at_rest(
    record: Record, extension: Extension, rate: Floats | None, since: tuple[int, int]
) -> tuple[float, int]:
    """Mean [mm] of the readings of a set that stays where it is from a sample on, and how many they are.

    rate: (n,) mm/min of the set, None where it may be of another. since: the sample, and 1: onward from the end of a
    movement, or -1: backward from its beginning.
    """
    first, onward = since
    stop = min(max(first + onward * record.readings(REST_S, least=2), -1), len(record))
    samples = np.arange(first, stop, onward)
    crossed = record.after_gap[np.maximum(samples[1:], samples[:-1])]
    late = np.abs(record.seconds[samples[1:]] - record.seconds[samples[0]]) > REST_S + record.nominal_s
    moves = crossed | late
    if record.rate_mm_min is not None and rate is not None:
        moves |= rate[samples[1:]] > STOP_MM_MIN
    samples = samples[: 1 + _first(moves)]
    noise_mm = max(extension.noise_mm, LEAST_NOISE_MM)
    mm = extension.mm[samples]
    if (
        record.rate_mm_min is None
        and len(mm) > 1
        and onward * (middle(mm[1:6]) - mm[0]) > (STILL_ON_ITS_WAY * noise_mm)
    ):
        mm = mm[1:]
    mm = mm[: _still(mm, noise_mm)]
    return float(mm.mean()), len(mm)


def _still(mm: Floats, noise_mm: float) -> int:
    """How many readings (k,), from the first on, are of one level within their noise."""
    n = len(mm)
    while n > 1:
        near = np.arange(1, n)
        total = np.cumsum(mm[:n])
        apart = total[:-1] / near - (total[-1] - total[:-1]) / (n - near)
        clear = np.abs(apart) * np.sqrt(near * (n - near) / n)  # deviation: that of a reading
        clear[0] *= MOVES / ODD
        at = int(clear.argmax())
        if clear[at] <= MOVES * noise_mm:
            break
        n = at + 1
    return n


def _first(flags: Floats) -> int:
    """Number of the first True; how many there are if none is."""
    return int(np.argmax(flags)) if flags.any() else len(flags)


def half_interval_mm(record: Record, rate: Floats, first: int) -> float:
    """What the rate at a sample makes in half the interval before it [mm]."""
    interval_s = min(record.seconds[first] - record.seconds[max(first - 1, 0)], 2 * record.nominal_s)
    speed = float(rate[first])
    return 0.5 * speed * float(interval_s) / 60 if speed > 0 else 0.0
