"""The state of each sample, the flags beside it, and the phase of the stroke."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.setup import SINGLE_SHIELD, Setup
from tbmreview.domain.states import Phase, PushingSet, State
from tbmreview.motion.carry import Carry
from tbmreview.motion.pushing import Bout
from tbmreview.motion.record import Record
from tbmreview.motion.resets import RELEASED
from tbmreview.motion.ring_building import ring_building
from tbmreview.motion.signals import Flags, Floats, close_short, drop_short, middle, runs
from tbmreview.motion.strokes import Worked, boring_thrust
from tbmreview.motion.torque import START_UP_S

SHORTEST_S = 10.0  # a shorter change between turning free and turning loaded is noise
SETTLE_S = 90.0  # bracing and steering after the ramp of a regrip (common practice, no source)
BRACED = 0.9  # of the pressure while boring: with less the grippers are being released
PUSHED_SHARE = 0.5  # of the thrust while boring
LOADED_SHARE = 0.9  # of the bout's thrust: loading ends and unloading begins there
LONGEST_LOADING_S = 180.0
LONGEST_UNLOADING_S = 60.0

Codes = NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class Activity:
    """(n,) each: state, its two flags, the phase of the stroke, and ring building that a pause is taken for."""

    state: Codes
    turning: Flags
    ring_building: Flags
    phase: Codes
    ring_assumed: Flags


def activity(
    record: Record, setup: Setup, worked: Sequence[Worked], given: tuple[Flags, Flags], carry: Carry
) -> Activity:
    """States and phases of a window. given: (n,) samples that bore, and slip; carry: with the ends of a
    regrip and of a ring's building that went on at the window's start."""
    cutting, slip = given
    kind, limits = setup.machine.kind, setup.motion
    n = len(record)
    bouts = [bout for w in worked for bout in w.span.bouts]
    moving = _flags_of(n, [(b.first, b.stop) for b in bouts])
    turning = moving if record.turning is None else record.turning
    regrip = _regrips(record, _main_ramps(kind, worked), bouts, 60 * limits.longest_regrip_min)
    window, time_us = slice(worked[0].span.first, None), record.samples.time_us
    regrip[window] |= time_us[window] < carry.regrip_until_us
    building, assumed = ring_building(record, kind, worked, (regrip, slip), 60 * limits.longest_ring_min)
    assumed[window] |= (time_us[window] < carry.ring_until_us) & ~turning[window]
    building = building | assumed
    state = np.full(n, State.STANDING, np.int8)
    state[building] = State.RING_BUILD
    state[turning] = State.TURNING_FREE
    state[turning & _loaded(record, worked, cutting, turning)] = State.TURNING_LOADED
    state[slip] = State.TURNING_LOADED
    state[regrip] = State.REGRIP
    state[cutting] = State.BORING
    return Activity(state, turning, building, _phases(record, worked, cutting), assumed)


def _flags_of(n: int, spans: list[tuple[int, int]]) -> Flags:
    out = np.zeros(n, bool)
    for first, stop in spans:
        out[first:stop] = True
    return out


def _loaded(record: Record, worked: Sequence[Worked], cutting: Flags, turning: Flags) -> Flags:
    """Where a turning head that does not advance is loaded; False where the log cannot tell."""
    limit = np.full(len(record), np.nan)
    pushed = np.zeros(len(record), bool)
    for w in worked:
        part = slice(w.span.first, w.span.stop)
        limit[part] = w.levels.loaded_from
        if not np.isfinite(w.levels.loaded_from):  # no torque to tell by: thrust
            thrust = boring_thrust(record, w.span.pushing_set)[part]
            pushed[part] = thrust > PUSHED_SHARE * middle(thrust[cutting[part]])
    loaded = turning & (pushed | ((record.clear_torque_kNm > limit) & ~_starting(record, turning)))
    loaded = close_short(loaded, record.seconds, SHORTEST_S)
    return drop_short(loaded, record.seconds, SHORTEST_S)


def _starting(record: Record, turning: Flags) -> Flags:
    """The first seconds of each turning: bringing the head to speed takes torque too."""
    began = turning & ~np.r_[False, turning[:-1]]
    latest = np.maximum.accumulate(np.where(began, np.arange(len(turning)), 0))
    out: Flags = turning & (record.seconds - record.seconds[latest] < START_UP_S)
    return out


def _main_ramps(kind: str, worked: Sequence[Worked]) -> list[tuple[int, int]]:
    """Where mains return in a regrip; a set that bears on the ring returns to make room for the next."""
    if kind == SINGLE_SHIELD:
        return []
    ended = [w.span.ended for w in worked if w.span.pushing_set != PushingSet.AUX]
    return [reset.ramp for reset in ended if reset is not None and reset.ramp is not None]


def _regrips(record: Record, ramps: list[tuple[int, int]], bouts: list[Bout], longest_s: float) -> Flags:
    """The ramps, while the grippers are released around them, and the settling before the head turns."""
    out = np.zeros(len(record), bool)
    still = np.ones(len(record), bool) if record.turning is None else ~record.turning
    for ramp in ramps:
        first, last = _while_released(record, bouts, ramp, longest_s)
        settled = int(np.searchsorted(record.seconds, record.seconds[last] + SETTLE_S))
        while last + 1 < min(settled, len(record)) and still[last + 1]:
            last += 1
        out[first : last + 1] = True
    for bout in bouts:
        out[bout.first : bout.stop] = False
    return out


def _while_released(
    record: Record, bouts: list[Bout], ramp: tuple[int, int], longest_s: float
) -> tuple[int, int]:
    """First and last sample of the regrip around a ramp: from where the grippers begin to let go."""
    first, last = ramp
    before = [b for b in bouts if b.stop <= first + 1]
    if record.gripper is None or not before:
        return first, last
    braced = middle(record.gripper[before[-1].first : before[-1].stop])
    around_s = record.seconds[[first, last]] + (-longest_s, longest_s)
    low, high = np.searchsorted(record.seconds, around_s).tolist()
    gripper = record.gripper[low:high]
    for a, b in runs(gripper < RELEASED * braced):
        a, b = a + low, b + low
        within = a > low and b < high  # else they are released for another reason
        if within and a <= last and b > first:
            still_held = np.flatnonzero(gripper[: a - low] >= BRACED * braced)
            letting_go = low + int(still_held[-1]) + 1 if len(still_held) else a
            return min(first, letting_go), max(last, b - 1)
    return first, last


def _phases(record: Record, worked: Sequence[Worked], cutting: Flags) -> Codes:
    phase = np.full(len(record), Phase.NONE, np.int8)
    if not record.shows_phases:
        return phase
    felt_thrust = {
        pushing: record.felt.mean(boring_thrust(record, pushing))
        for pushing in {w.span.pushing_set for w in worked}
    }
    for w in worked:
        start = w.span.first
        phase[start : start + len(w.free_rotation)][w.free_rotation] = Phase.FREE_ROTATION
        thrust = felt_thrust[w.span.pushing_set]
        for bout in w.span.bouts:
            part = slice(bout.first, bout.stop)
            phase[part][~cutting[part]] = Phase.FREE_ADVANCE
            _phases_of_bout(record, phase, np.flatnonzero(cutting[part]) + bout.first, thrust)
    return phase


def _phases_of_bout(record: Record, phase: Codes, cut: NDArray[np.int64], thrust: Floats) -> None:
    """Loading until thrust first reaches its level, unloading after it last had it."""
    if not len(cut):
        return
    phase[cut] = Phase.STEADY
    level = LOADED_SHARE * middle(thrust[cut])
    up = np.flatnonzero(thrust[cut] >= level)
    if not len(up):
        return
    seconds = record.seconds[cut]
    loading = seconds < min(seconds[up[0]], seconds[0] + LONGEST_LOADING_S)
    unloading = seconds > max(seconds[up[-1]], seconds[-1] - LONGEST_UNLOADING_S)
    phase[cut[unloading]] = Phase.UNLOADING
    phase[cut[loading]] = Phase.LOADING
