"""Where the stroke refutes another channel: a speed of advance, or a head that is said to stand.

Advance is the change of the pushing set's stroke. A speed that says another way over a stretch, dead at 0, missing or
in another unit, must not hide it; nor a head speed dead at 0 while the head bores by torque and stroke. Over such
stretches the others speak. A stroke that stands refutes nothing: its sensor may be at its limit.
"""

from dataclasses import dataclass

import numpy as np

from tbmreview.motion.signals import Flags, Floats, Window, middle, runs

# The stroke tells the speeds of boring; slower its noise is too great, faster a set comes out without the head.
SLOWEST_MM_MIN, FASTEST_MM_MIN = 5.0, 200.0
PIECE_MM = 60.0  # of the stroke's way, over which another channel is held against it
NOISES = 20.0  # or so many deviations of its noise
IN_A_ROW = 5  # pieces: a free advance, a slide or a lag of the speed are over before
AGREE = (0.7, 1.4)  # speed times time over the stroke's change; outside it the speed is not used
STILL_MM_MIN = 0.6  # a stroke that moves by less stands
LONGEST_STEP_S = 60.0  # between two samples; what a longer gap hides refutes nothing
STUCK_S = 60.0  # one value for so long while the stroke stands, the same as while it went
HALF = 0.5  # of the torque while the set extends: a head with more turns


@dataclass(frozen=True, slots=True)
class ByStroke:
    """What the pushing set's stroke shows: speed (n,) mm/min, no value missing; the deviation of one reading [mm] and
    of the speed [mm/min]; stamps (n,) [s], and the window that the other channels are smoothed in."""

    speed_mm_min: Floats
    noise_mm: float
    speed_noise_mm_min: float
    seconds: Floats
    felt: Window

    @property
    def going(self) -> Flags:
        """Where the set extends at the speeds of boring (n,)."""
        return (self.speed_mm_min > SLOWEST_MM_MIN) & (self.speed_mm_min < FASTEST_MM_MIN)

    def refutes(self, speed_mm_min: Floats, able: Flags) -> Flags:
        """The stretches (n,) over which a speed of advance (n,), missing or not, says another way than the stroke.

        able: samples at which the head may bore.
        """
        going, out = self.going & able, np.zeros(len(self.seconds), bool)
        at = np.flatnonzero(going[:-1])
        step_min = np.minimum(self.seconds[at + 1] - self.seconds[at], LONGEST_STEP_S) / 60
        way = self.speed_mm_min[at] * step_min
        total, piece_mm = np.cumsum(way), max(PIECE_MM, NOISES * self.noise_mm)
        if not len(at) or total[-1] < IN_A_ROW * piece_mm:
            return out
        known = np.isfinite(speed_mm_min)
        said = speed_mm_min if known.all() else np.where(known, speed_mm_min, self.felt.mean(speed_mm_min))
        said = np.maximum(np.nan_to_num(said), 0.0)
        edges = np.searchsorted(total, piece_mm * np.arange(int(total[-1] / piece_mm)))
        share = np.add.reduceat(said[at] * step_min, edges) / np.add.reduceat(way, edges)
        wrong = [(a, b) for a, b in runs((share <= AGREE[0]) | (share >= AGREE[1])) if b - a >= IN_A_ROW]
        if not wrong:
            return out
        local = self.felt.mean(said) / np.where(going, self.speed_mm_min, 1.0)
        agrees = np.flatnonzero(going & (local > AGREE[0]) & (local < AGREE[1]))
        edges = np.append(edges, len(at))
        for first, stop in wrong:
            before = agrees[agrees < at[edges[first]]]
            after = agrees[agrees > at[edges[stop] - 1]]
            out[before[-1] + 1 if len(before) else 0 : after[0] if len(after) else len(out)] = True
        return out

    def stuck(self, speed_mm_min: Floats) -> Flags:
        """Where a speed (n,) above 0 keeps one value while the stroke goes and while it stands."""
        out = np.zeros(len(speed_mm_min), bool)
        edges = np.flatnonzero(speed_mm_min[1:] != speed_mm_min[:-1]) + 1
        first, stop = np.append(0, edges), np.append(edges, len(out))
        long = (self.seconds[stop - 1] - self.seconds[first] >= STUCK_S) & (
            speed_mm_min[first] > STILL_MM_MIN
        )
        for a, b in zip(first[long].tolist(), stop[long].tolist(), strict=True):
            still = np.abs(self.speed_mm_min[a : b - 1]) < max(STILL_MM_MIN, 2 * self.speed_noise_mm_min)
            stands_s = np.diff(self.seconds[a:b])[still].sum()
            out[a:b] = stands_s >= STUCK_S and bool(self.going[a:b].any())
        return out


def believed_rate(
    speeds: tuple[Floats, ...], by_stroke: ByStroke | None, turning: Flags | None
) -> Floats | None:
    """Speed of advance (n,) mm/min: of several logged speeds (n,) the first that is measured and not refuted, else
    where it is refuted that of the stroke; None if nothing was logged."""
    out = np.full(len(speeds[0]), np.nan)
    wrong = np.zeros(len(out), bool)
    able = np.ones(len(out), bool) if turning is None else turning
    for speed in speeds:
        if by_stroke is None or not np.isfinite(speed).any():
            out = np.where(np.isfinite(out), out, speed)
            continue
        refuted = by_stroke.refutes(speed, able) | by_stroke.stuck(speed)
        wrong |= refuted & ~np.isfinite(out)
        out = np.where(np.isfinite(out) | refuted, out, speed)
    if not np.isfinite(out).any() and not wrong.any():
        return None
    if by_stroke is not None:
        clear = by_stroke.speed_mm_min > 4 * by_stroke.speed_noise_mm_min
        instead = np.where(clear, np.maximum(by_stroke.speed_mm_min, 0.0), 0.0)
        out = np.where(wrong & ~np.isfinite(out), instead, out)
    return out


def believed_turning(
    known: tuple[Flags, Floats], torque_kNm: Floats, by_stroke: ByStroke | None
) -> tuple[Flags, Floats]:
    """Whether the head turns (n,), and its speed (n,) rpm: where it is said to stand, or nothing, while the set goes on
    under torque, it turns where it is under torque, and its speed is not known.

    known: the two as logged; torque (n,) kNm: magnitude, may be missing.
    """
    turning, speed = known
    if by_stroke is None or turning[by_stroke.going].all():
        return known
    felt = by_stroke.felt.mean(torque_kNm)
    boring, rest = middle(felt[by_stroke.going]), middle(felt[~turning & ~by_stroke.going])
    loaded = felt > HALF * boring
    if not HALF * boring > np.nan_to_num(rest):  # nothing tells that it turns
        return known
    dead = by_stroke.refutes(np.where(turning, by_stroke.speed_mm_min, 0.0), loaded)
    dead &= ~turning | ~np.isfinite(speed)
    return np.where(dead, loaded, turning), np.where(dead, np.nan, speed)
