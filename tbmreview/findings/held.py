"""Signs that the ground may be getting hold of the shield, each stroke beside the strokes before it.

Published cases disagree on whether torque rises or falls with a shield that is held, and on how much thrust rises;
so no single sign decides: what was seen of several is told, with what each was compared with.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.findings.detector import Flags, Floats
from tbmreview.findings.strokes_before import StrokeFigures, Usual, usual_before

Weights = NDArray[np.int64]
DRAG, START, REGRIP, TORQUE = "drag", "setting off", "force to regrip", "torque behind thrust"
INSTALLED, LOADED, CREEPING = "thrust near installed", "turning loaded", "creeping"
IMPOSSIBLE = 1.5  # of installed thrust: no set pushes with more, a reading may say so
STRONG = 2  # weight of a sign that counts for two
PASSES = 40  # strokes that count are left out of what is usual, and those after them looked at again


@dataclass(frozen=True, slots=True)
class Sign:
    """weight: (n,) 0 where it is not there, 1, or STRONG. value, usual: (n,) what is compared with what."""

    name: str
    weight: Weights
    value: Floats
    usual: Floats


@dataclass(frozen=True, slots=True)
class Signs:
    """Every sign of each stroke, and which strokes count as held, (n,)."""

    each: tuple[Sign, ...]
    held: Flags

    @property
    def weight(self) -> Weights:
        """Of all signs together, (n,)."""
        total: Weights = np.sum([sign.weight for sign in self.each], axis=0)
        return total


def signs_of(strokes: StrokeFigures, settings: FindingSettings) -> Signs:
    """The signs of each stroke. Strokes that count as held are left out of what is usual for those after them."""
    held = np.zeros(len(strokes), bool)
    for _ in range(PASSES):
        each = _compared(strokes, held, settings)
        now = held | (_together(each) >= settings.held_least_signs)
        if np.array_equal(now, held):
            break
        held = now
    return Signs(each, held)


def _together(each: tuple[Sign, ...]) -> Weights:
    """Weight of the signs of each stroke that has any, with those of the stroke before it: not every stroke shows
    its drag or sets off anew, (n,)."""
    own = np.array([sign.weight for sign in each])
    both: Weights = np.maximum(own, np.c_[np.zeros(len(own), np.int64), own[:, :-1]]).sum(axis=0)
    return np.where(own.any(axis=0), both, 0)


def _compared(strokes: StrokeFigures, held: Flags, settings: FindingSettings) -> tuple[Sign, ...]:
    window = settings.held_window_strokes, settings.held_least_strokes

    def usual(value: Floats) -> Usual:
        return usual_before(value, strokes.of_set, held, window)

    return (
        _drag(strokes, usual(strokes.drag_kN), settings),
        _start(strokes, usual(strokes.start_ratio), settings),
        _above(REGRIP, strokes.regrip_kN, usual(strokes.regrip_kN), settings),
        _torque(strokes, usual(strokes.torque_share), usual(strokes.thrust_kN), settings),
        _near_installed(strokes, settings),
        _still(strokes.loaded_s, LOADED, settings),
        _still(strokes.creeping_s, CREEPING, settings),
    )


def _drag(strokes: StrokeFigures, usual: Usual, settings: FindingSettings) -> Sign:
    """Counts for two where it is above by the cube of the factor, or by its square and rises over strokes."""
    drag = strokes.drag_kN
    on = usual.above(drag, settings.held_ratio, settings.held_score)
    ratio = usual.ratio(drag)
    with np.errstate(invalid="ignore"):
        rising = (strokes.drag_rise >= settings.held_rise) & (ratio >= settings.held_ratio**2)
        strong = on & (rising | (ratio >= settings.held_ratio**3))
    return Sign(DRAG, on.astype(np.int64) + strong, drag, usual.median)


def _start(strokes: StrokeFigures, usual: Usual, settings: FindingSettings) -> Sign:
    """More than going on takes, and more so than usual: static friction is above sliding friction anyway."""
    with np.errstate(invalid="ignore"):
        on = strokes.start_ratio >= settings.held_start_ratio
    on &= usual.above(strokes.start_ratio, settings.held_start_ratio, settings.held_score)
    return Sign(START, on.astype(np.int64), strokes.start_ratio, usual.median)


def _above(name: str, value: Floats, usual: Usual, settings: FindingSettings) -> Sign:
    on = usual.above(value, settings.held_ratio, settings.held_score)
    return Sign(name, on.astype(np.int64), value, usual.median)


def _torque(strokes: StrokeFigures, share: Usual, thrust: Usual, settings: FindingSettings) -> Sign:
    """Thrust that is up while torque is not up with it: the part that does not reach the discs asks for none. Half as
    much in the mean of two strokes is two signs: where no stroke advances freely, this alone shows drag."""
    fall, up = -np.log(share.ratio(strokes.torque_share)), np.log(thrust.ratio(strokes.thrust_kN))
    drop = -float(np.log1p(-settings.held_torque_drop))
    with np.errstate(invalid="ignore"):
        on = (fall >= np.maximum(drop, settings.held_score * share.spread)) & (up >= drop / 2)
        two = np.minimum(fall, _before(fall, strokes.of_set)) >= drop / 3
        both = fall + _before(fall, strokes.of_set)
        two &= both >= np.maximum(drop, settings.held_score * share.spread * np.sqrt(2))
        two &= up + _before(up, strokes.of_set) >= drop / 2
    return Sign(TORQUE, np.where(two, STRONG, on.astype(np.int64)), strokes.torque_share, share.median)


def _before(value: Floats, of_set: NDArray[np.int8]) -> Floats:
    """The value of the stroke before, NaN where another set pushed it, (n,)."""
    before: Floats = np.r_[np.nan, value[:-1]]
    before[1:][of_set[1:] != of_set[:-1]] = np.nan
    return before


def _near_installed(strokes: StrokeFigures, settings: FindingSettings) -> Sign:
    with np.errstate(invalid="ignore"):
        on = (strokes.installed_share >= settings.held_installed_share) & (
            strokes.installed_share < IMPOSSIBLE
        )
    return Sign(INSTALLED, on.astype(np.int64), strokes.installed_share, np.ones(len(strokes)))


def _still(seconds: Floats, name: str, settings: FindingSettings) -> Sign:
    least_s = 60 * settings.held_still_min
    on = (seconds >= least_s).astype(np.int64) + (seconds >= 3 * least_s)
    return Sign(name, on, seconds, np.full(len(seconds), least_s))
