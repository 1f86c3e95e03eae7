"""Loads that were held: the steps of a penetration test, found in samples of boring.

In a penetration test the head speed stays as it is while four or five loads are held for two or three minutes each.
What normal boring looks like (a load that wanders, or one load for a whole stroke) is none. The limits are
professional judgement.
"""

from bisect import insort
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tbmreview.domain.robust import MAD_TO_SIGMA
from tbmreview.indicators.record import Floats

BIN_S = 10.0  # loads are looked at in means over so long; a turn of the head takes 8 to 20 s
LEAST_TOLERANCE, MOST_TOLERANCE = 0.03, 0.06  # share of a load within which its means lie while it is held
SHORTEST_S, LONGEST_S = 90.0, 300.0  # how long a load of a test is held
USED_S = 180.0  # of a load that is held for longer only what lies next to the others belongs to a test
APART = 1.05  # ratio from which two loads are two
MOST_APART_S = 1200.0  # between two loads of a test there may be a regrip
SPEED_HOLDS = 0.05  # share by which the head speed of a load may be off that of the others
LEAST_LOADS = 4
LEAST_SAMPLES = 6  # of a load; fewer do not show that it was held


@dataclass(frozen=True, slots=True)
class Boring:
    """Samples of boring in one stroke, (n,) each, rising in time: seconds; load, in any unit; head speed [rpm];
    stroke of the pushing set [mm] and logged penetration [mm/rev], either of them NaN where not measured."""

    seconds: Floats
    load: Floats
    head_speed_rpm: Floats
    stroke_mm: Floats
    penetration_mm_rev: Floats

    def between(self, start_s: float, end_s: float) -> "Boring":
        """The samples with start_s <= time < end_s."""
        rows = slice(*np.searchsorted(self.seconds, (start_s, end_s)))
        return Boring(*(getattr(self, name)[rows] for name in self.__slots__))


@dataclass(frozen=True, slots=True)
class Held:
    """A load that was held from start_s to end_s, its time-mean, that of the head speed [rpm], the revolutions and
    the penetration [mm/rev] meanwhile."""

    start_s: float
    end_s: float
    load: float
    head_speed_rpm: float
    revolutions: float
    penetration_mm_rev: float

    @property
    def seconds(self) -> float:
        return self.end_s - self.start_s


def held_loads(boring: Boring, ends_only: bool = False) -> tuple[Held, ...]:
    """Every load that was held, in order of time; those of which the penetration is not known are left out.

    ends_only: a load held for longer than LONGEST_S, as in normal boring before and after a test, counts as two:
    its first USED_S and its last.
    """
    step_s = float(np.median(np.diff(boring.seconds))) if len(boring.seconds) > 1 else np.inf
    wide_s = max(BIN_S, 2 * step_s)
    if step_s * LEAST_SAMPLES > SHORTEST_S:
        return ()
    starts, level = _bins(boring, wide_s)
    runs = _runs(level, _tolerance(level), starts, wide_s)
    spans = [(starts[first], starts[last] + wide_s) for first, last in runs]
    parts: list[tuple[float, float]] = []
    for start, end in spans:
        if ends_only and end - start > LONGEST_S:
            parts += [(start, start + USED_S), (end - USED_S, end)]
        elif end - start >= SHORTEST_S:
            parts.append((start, end))
    found = [_held(boring.between(*part)) for part in parts]
    return tuple(one for one in found if one is not None)


def _bins(boring: Boring, wide_s: float) -> tuple[Floats, Floats]:
    """(starts [s], mean load) of bins that hold a load."""
    number = np.floor((boring.seconds - boring.seconds[0]) / wide_s).astype(np.int64)
    known = np.isfinite(boring.load) & (boring.head_speed_rpm > 0)
    count = np.bincount(number[known], minlength=1)
    whole = np.bincount(number[known], boring.load[known], minlength=1)
    full = np.flatnonzero(count)
    starts: Floats = boring.seconds[0] + full * wide_s
    return starts, whole[full] / count[full]


def _tolerance(level: Floats) -> float:
    """Share of a load within which its means lie: three deviations of what changes from one to the next."""
    if len(level) < 3:
        return LEAST_TOLERANCE
    change = np.abs(np.diff(np.log(np.maximum(level, 1e-9))))
    return float(np.clip(3 * MAD_TO_SIGMA * np.median(change) / np.sqrt(2), LEAST_TOLERANCE, MOST_TOLERANCE))


def _runs(level: Floats, tolerance: float, starts: Floats, wide_s: float) -> list[tuple[int, int]]:
    """(first, last) bin of each run whose means stay by their median, less one at either end."""
    runs: list[tuple[int, int]] = []
    joins = np.diff(starts) < 1.5 * wide_s
    first, held = 0, sorted(level[:1].tolist())
    for i, one in enumerate([*level[1:].tolist(), np.inf], start=1):
        if i < len(level) and joins[i - 1] and abs(one / held[len(held) // 2] - 1) <= tolerance:
            insort(held, one)
            continue
        if i - first >= 3:  # the first and the last mean may hold a change of the load
            runs.append((first + 1, i - 2))
        first, held = i, [one]
    return runs


def _held(boring: Boring) -> Held | None:
    """A load over these samples; None where they do not say what the head did."""
    known = np.isfinite(boring.load) & (boring.head_speed_rpm > 0)
    if np.count_nonzero(known) < LEAST_SAMPLES:
        return None
    seconds, speed = boring.seconds[known], boring.head_speed_rpm[known]
    step_s = float(np.median(np.diff(seconds)))
    turned = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 120 * np.diff(seconds))])
    penetration = _penetration(turned, boring.stroke_mm[known], boring.penetration_mm_rev[known])
    if not penetration > 0:
        return None
    start, end = float(seconds[0]), float(seconds[-1]) + step_s
    revolutions = float(turned[-1] + speed[-1] / 60 * step_s)
    return Held(
        start, end, float(boring.load[known].mean()), float(speed.mean()), revolutions, float(penetration)
    )


def _penetration(turned: Floats, stroke_mm: Floats, logged: Floats) -> float:
    """Advance per revolution [mm/rev]: the rise of the stroke over the turns, by least squares, since it is no more
    than a few dozen times what a reading is off; without a stroke the mean of what was logged."""
    known = np.isfinite(stroke_mm)
    if np.count_nonzero(known) >= LEAST_SAMPLES and np.ptp(turned[known]) > 0:
        x, y = turned[known] - turned[known].mean(), stroke_mm[known] - stroke_mm[known].mean()
        return float(x @ y / (x @ x))
    return float(np.mean(logged[np.isfinite(logged)])) if np.isfinite(logged).any() else np.nan


def runs_of_a_test(held: Sequence[Held]) -> tuple[tuple[Held, ...], ...]:
    """The runs of held loads that a penetration test is: LEAST_LOADS or more loads, each other than the one before,
    in LEAST_LOADS different heights, with one head speed. held: in order of time."""
    found: list[tuple[Held, ...]] = []
    run: list[Held] = []
    for one in held:
        if run and not _follows(run, one):
            found.append(tuple(run))
            # the load at which one test ended may be the first of the next
            run = [run[-1]] if _follows(run[-1:], one) else []
        run.append(one)
    found.append(tuple(run))
    return tuple(run for run in found if distinct(np.array([one.load for one in run])) >= LEAST_LOADS)


def _follows(run: Sequence[Held], one: Held) -> bool:
    """Whether a load goes on with a run."""
    last = run[-1]
    step = max(last.load, one.load) / max(min(last.load, one.load), 1e-9)
    speed = float(np.median([r.head_speed_rpm for r in run]))
    steady = abs(one.head_speed_rpm / speed - 1) <= SPEED_HOLDS
    return steady and step >= APART and one.start_s - last.end_s <= MOST_APART_S


def distinct(loads: Floats) -> int:
    """How many different loads these are: each APART times the one below it or more."""
    count, below = 0, 0.0
    for load in np.sort(loads).tolist():
        if load >= APART * below:
            count, below = count + 1, load
    return count


def speed_spread(speeds: Floats) -> float:
    """By what share the head speeds of the loads, (n,), are off their median, at most."""
    return float(np.max(np.abs(speeds / np.median(speeds) - 1)))
