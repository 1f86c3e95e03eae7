"""Stroke sensors that stand at their limit while the set goes on extending.

Such a sensor shows its greatest reading from some centimetres before the end of the stroke on. What the
head advances there is advance: the speed, or in a log without one the chainage, says how much.
"""

import numpy as np

from tbmreview.motion.signals import LONG_GAP_S, Flags, Floats, Ints, line, middle

FLAT_MM = 0.3  # a reading at its limit does not even show its noise
LEAST_BEYOND_MM = 12.0  # less is no more than a sensor that lags or a speed that is a little off
LEAST_GOING_MM = 3.0  # where the limit is known
BEFORE_S, BEFORE_MM, BEFORE = 40.0, 30.0, 4  # followed before: so long, so far, so many readings at least
FOLLOWED = (0.7, 1.4)  # change of the reading over the advance
LEAST_FOLLOWED_MM = 5.0


def beyond_limit(mm: Floats, made_mm: Floats, seconds: Floats) -> tuple[Floats, Flags]:
    """The extension (n,) mm that goes on beyond a sensor's limit, and the samples at which it does.

    mm: the sensor, no value missing; made_mm: (n,) what the head advances from each sample to the next,
    no value missing, never negative.
    """
    out, beyond = mm, np.zeros(len(mm), bool)
    gone = np.concatenate([[0.0], np.cumsum(made_mm)[:-1]])
    going = made_mm > 0
    for since, first, last in _flat(mm, (gone, made_mm), seconds):
        touched = since + int(np.flatnonzero(mm[since : first + 1] >= mm[first] - FLAT_MM)[0])
        before = _before(gone, seconds, touched)
        before = before[going[before]]
        if not len(before) or not _came_up(mm, gone, before, touched):
            continue
        if out is mm:
            out = mm.copy()
        ahead = middle(mm[before] - gone[before])
        out[touched : last + 1] = np.maximum(mm[touched : last + 1], gone[touched : last + 1] + ahead)
        beyond[touched : last + 1] = True
    return out, beyond


def _flat(mm: Floats, advance: tuple[Floats, Floats], seconds: Floats) -> list[tuple[int, int, int]]:
    """(since, first, last) of each stretch first..last over which the reading stands while the head goes on,
    after it has come up from sample `since` on, some time before."""
    gone, made_mm = advance
    steady = np.concatenate([[False], np.abs(np.diff(mm)) <= FLAT_MM, [False]])
    first = np.flatnonzero(steady[1:] & ~steady[:-1])
    last = np.flatnonzero(steady[:-1] & ~steady[1:])
    # two readings with a gap between them may be of two strokes
    seen = np.concatenate([[0], np.cumsum(np.diff(seconds) <= LONG_GAP_S)])
    keep = (
        (gone[last] - gone[first] >= LEAST_GOING_MM)
        & _is_greatest(mm, first, last)
        & (seen[last] > seen[first])
    )
    first, last = first[keep], last[keep]
    far = gone[last] - gone[first] >= LEAST_BEYOND_MM
    # the head may have stopped right after the last reading that has a speed: a limit shows more than once
    going = np.maximum.accumulate(np.where(made_mm > 0, np.arange(len(mm)), 0))[last]
    sure = gone[np.maximum(going, first)] - gone[first] >= LEAST_BEYOND_MM
    at_greatest = mm[first] >= mm.max() - FLAT_MM
    at_limit = np.isin(np.rint(mm[first] / FLAT_MM), np.rint(mm[first[sure]] / FLAT_MM))
    keep = sure | at_limit | (far & at_greatest & (np.count_nonzero(far & at_greatest) > 1))
    first, last = first[keep], last[keep]
    since = np.minimum(np.searchsorted(seconds, seconds[first] - BEFORE_S), np.maximum(first - BEFORE, 0))
    further = np.minimum(np.searchsorted(seconds, seconds[since] - BEFORE_S), np.maximum(since - BEFORE, 0))
    rose = mm[first] - mm[further] >= FOLLOWED[0] * LEAST_FOLLOWED_MM
    return list(zip(since[rose].tolist(), first[rose].tolist(), last[rose].tolist(), strict=True))


def _is_greatest(mm: Floats, first: Ints, last: Ints) -> Flags:
    """After the limit the reading falls; one that jumps on was stuck (k,)."""
    after = np.append(mm, -np.inf)[last + 1]
    return after <= mm[first]


def _before(gone: Floats, seconds: Floats, touched: int) -> Ints:
    """The samples before the reading came to its limit: over so long, and over so much advance that noise of the
    readings is little beside it."""
    so_long = int(np.searchsorted(seconds, seconds[touched] - BEFORE_S))
    so_far = int(np.searchsorted(gone, gone[touched] - BEFORE_MM))
    return np.arange(min(so_long, so_far, max(touched - BEFORE, 0)), touched)


def _came_up(mm: Floats, gone: Floats, before: Ints, touched: int) -> bool:
    """Before it stood the reading followed the head, from below."""
    if gone[before[-1]] - gone[before[0]] < LEAST_FOLLOWED_MM or (mm[before] > mm[touched] + FLAT_MM).any():
        return False
    share = line(gone[before], mm[before])[0]
    return bool(FOLLOWED[0] < share < FOLLOWED[1])
