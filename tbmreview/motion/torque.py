"""Torque of the head turning free, and where the head meets the face.

The head turns free before it meets the face; torque is then at its no-load level. Starting up costs
more, so the first seconds are left out. Boring begins where torque leaves that level for good.

A level is remembered over strokes, so that a head held before its stroke is not taken for a free one. A stroke
may contradict it: after hours in another unit the memory, or in them the channel, is on another scale. Such a
stroke goes by what it shows itself, and takes the place of the memory only with others like it in a row, or where
it is what drive.toml states.
"""

from dataclasses import dataclass, replace

import numpy as np

from tbmreview.domain.setup import Machine
from tbmreview.motion.carry import REMEMBERED, Baseline, Baselines
from tbmreview.motion.record import Record
from tbmreview.motion.signals import Flags, Ints, middle, spread

START_UP_S = 12.0  # drives need up to ten seconds to bring the head to speed
STEADY_SPEED = 0.04  # head speed within 4 % of its level counts as steady
LEAST_SAMPLES = 5
FREE_SHARE = 0.6  # of the torque while boring: more is no free rotation
LOADED = 1.25  # times the no-load torque: turning with more is turning loaded
ALIKE = 1.5  # times a level: a level of the same head
OTHERS = REMEMBERED // 2 + 1  # strokes in a row that show another level outvote the remembered ones
SPREADS = 5.0  # or so many deviations above it
CONTACT_SHARE = 0.02  # of the rise from no-load to boring torque: discs that bite give more at once


@dataclass(frozen=True, slots=True)
class Measured:
    """A force or torque seen in one stroke: median, standard deviation of samples, their number."""

    value: float = float("nan")
    spread: float = float("nan")
    count: int = 0
    speed_rpm: float = float("nan")


@dataclass(frozen=True, slots=True)
class TorqueLevels:
    """Of one stroke [kNm]: turning free (NaN: not known), its spread, and while boring."""

    free: float
    spread: float
    boring: float

    @property
    def loaded_from(self) -> float:
        """Torque from which a head that turns without advance is loaded [kNm]; NaN is not known."""
        return max(LOADED * self.free, self.free + SPREADS * self.spread)

    @property
    def contact_from(self) -> float:
        """Torque from which a head that goes forward is on the face [kNm]; NaN where the log does not show it."""
        if not np.isfinite(self.free) or self.boring < LOADED * self.free:
            return float("nan")
        rise = self.boring - self.free
        return self.free + min(max(SPREADS * self.spread, CONTACT_SHARE * rise), 0.5 * rise)


@dataclass(frozen=True, slots=True)
class Shown:
    """What a stroke shows before the head advances: no-load torque and the flags of the samples it comes from, the
    levels that hold for the stroke, and what is remembered after it."""

    no_load: Measured
    free_rotation: Flags
    levels: TorqueLevels
    baselines_after: Baselines


def show_torque(
    record: Record, span: tuple[int, int], boring: float, known: tuple[Baselines, Machine]
) -> Shown:
    """The torque levels of a stroke. span: samples from .. to before the head advances; boring: torque while it
    does [kNm]; known: what strokes before it and the setup say."""
    baselines, machine = known
    levels = usual_levels(baselines, machine, boring)
    contradicted = levels.boring <= levels.free
    if contradicted:  # no head bores with less than it turns free with
        levels = replace(levels, free=np.nan, spread=np.nan)
    seen, flags = free_rotation(record, *span, levels)
    told, told_flags = seen, flags
    if not seen.count and np.isfinite(levels.free):
        told, told_flags = free_rotation(record, *span, replace(levels, free=np.nan))
        contradicted = told.count > 0
    after = _remember(baselines, told.value, contradicted, machine)
    learned = not after.other_no_load_kNm.values
    # else a head that is held: unless it takes more than boring took, for then one of the two is on another scale
    if learned or told.value > baselines.boring_torque_kNm.value:
        seen, flags = told, told_flags
    if seen.count:
        levels = TorqueLevels(seen.value, max(seen.spread, 0.03 * seen.value), levels.boring)
    return Shown(
        seen,
        flags,
        levels,
        replace(after, boring_torque_kNm=after.boring_torque_kNm.with_value(levels.boring)),
    )


def _alike(kNm: float, level_kNm: float | None) -> bool:
    return level_kNm is not None and level_kNm / ALIKE < kNm < level_kNm * ALIKE


def _remember(baselines: Baselines, told_kNm: float, contradicted: bool, machine: Machine) -> Baselines:
    """The baselines after a stroke that told a no-load torque, NaN if it did not; contradicted: by the usual one."""
    if np.isnan(told_kNm):
        return baselines
    usual, others = baselines.no_load_torque_kNm, baselines.other_no_load_kNm
    if not contradicted:
        return replace(baselines, no_load_torque_kNm=usual.with_value(told_kNm), other_no_load_kNm=Baseline())
    others = (others if _alike(told_kNm, others.value) else Baseline()).with_value(told_kNm)
    if len(others.values) >= OTHERS or _alike(told_kNm, machine.no_load_torque_kNm):
        return replace(baselines, no_load_torque_kNm=others, other_no_load_kNm=Baseline())
    return replace(baselines, other_no_load_kNm=others)


def free_rotation(record: Record, first: int, stop: int, levels: TorqueLevels) -> tuple[Measured, Flags]:
    """No-load torque from steady free rotation among samples first..stop-1 before the head advances,
    and the flags (stop - first,) of the samples it comes from."""
    none = np.zeros(max(0, stop - first), bool)
    if record.turning is None or stop <= first:
        return Measured(), none
    turning = record.turning[first:stop]
    began = np.where(turning & ~np.r_[False, turning[:-1]], np.arange(len(turning)), 0)
    since = record.seconds[first:stop] - record.seconds[first + np.maximum.accumulate(began)]
    torque, speed = record.torque_kNm[first:stop], record.speed_rpm[first:stop]
    steady = turning & (since >= START_UP_S) & np.isfinite(torque) & (torque < FREE_SHARE * levels.boring)
    if np.isfinite(levels.free):
        steady &= torque < max(levels.loaded_from, ALIKE * levels.free)
    if not steady.any():
        return Measured(), none
    level = middle(speed[steady])
    steady &= np.abs(speed - level) <= STEADY_SPEED * level
    if steady.sum() < LEAST_SAMPLES:
        return Measured(), none
    used = torque[steady]
    return Measured(middle(used), spread(used), int(steady.sum()), level), steady


def usual_levels(baselines: Baselines, machine: Machine, boring: float) -> TorqueLevels:
    """What is known before the stroke itself has shown anything."""
    seen = baselines.no_load_torque_kNm
    free = seen.value if seen.values else (machine.no_load_torque_kNm or np.nan)
    spread = seen.spread if len(seen.values) > 1 else 0.05 * free
    level = boring if np.isfinite(boring) else baselines.boring_torque_kNm.value
    return TorqueLevels(free, max(spread, 0.03 * free) if np.isfinite(free) else np.nan, level)


def contact_sample(record: Record, moving: Ints, levels: TorqueLevels) -> int:
    """The first of the `moving` samples (k,) at which the head is on the face.

    The first of all where the log does not show it: no torque, or never free.
    """
    if np.isnan(levels.contact_from):
        return int(moving[0])
    torque = record.clear_torque_kNm[moving]
    half = levels.free + 0.5 * (levels.boring - levels.free)
    on = np.flatnonzero(record.felt_torque_kNm[moving] >= half)
    if not len(on):
        return int(moving[0])
    off = np.flatnonzero(torque[: on[0] + 1] < levels.contact_from)
    return int(moving[off[-1] + 1]) if len(off) and off[-1] + 1 < len(moving) else int(moving[0])


def boring_torque(record: Record, moving: Ints) -> float:
    """Usual torque while the head advances [kNm]; NaN without torque."""
    return middle(record.torque_kNm[moving])
