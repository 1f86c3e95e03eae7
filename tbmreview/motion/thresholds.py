"""The thresholds that states, strokes and net forces are read with: value, unit, where from, and why.

What follows from the machine or the log is given as it came out for this drive; what a person may set
names its key in drive.toml; the rest is fixed, each with its reason.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tbmreview.domain.setting import settings_of
from tbmreview.domain.setup import DOUBLE_SHIELD, SINGLE_SHIELD, MotionSettings, Setup
from tbmreview.domain.table import Table
from tbmreview.motion.believed import AGREE, IN_A_ROW, PIECE_MM
from tbmreview.motion.net_forces import FEWEST, NEARBY, SEEN_STROKE
from tbmreview.motion.pushing import LEAST_BOUT_MM
from tbmreview.motion.reaction import RING_CARRIES
from tbmreview.motion.record import RESOLVES_PHASES_S, START_MM_MIN, STOP_MM_MIN
from tbmreview.motion.resets import LEAST_RETURN_MM, RELEASED, TOO_FAR, USUAL_STROKE_M
from tbmreview.motion.rest import REST_S
from tbmreview.motion.ring_building import LEAST_PAD_MM, LEAST_RING_S
from tbmreview.motion.signals import middle
from tbmreview.motion.slip import LEAST_MM, LEAST_S, LOST, STANDS
from tbmreview.motion.states import LOADED_SHARE, SETTLE_S, SHORTEST_S
from tbmreview.motion.torque import LEAST_SAMPLES, LOADED, SPREADS, START_UP_S, STEADY_SPEED

SETUP, MACHINE, LOG, FIXED = "drive.toml", "machine", "log", "fixed"


@dataclass(frozen=True, slots=True)
class Threshold:
    """name: what is told by it. value [unit]; NaN where the log has not shown it. source: SETUP, MACHINE,
    LOG or FIXED. reason: why so much."""

    name: str
    value: float
    unit: str
    source: str
    reason: str


def thresholds_of(setup: Setup, strokes: Table) -> tuple[Threshold, ...]:
    """The thresholds in use for a drive with these strokes (net forces filled in), in the order of states."""
    return (*_stated(setup), *_derived(setup, strokes), *_fixed(setup.machine.kind))


def _stated(setup: Setup) -> Iterator[Threshold]:
    for name, (_, facts) in settings_of(MotionSettings).items():
        value = float(getattr(setup.motion, name))
        yield Threshold(f"[motion] {name}", value, facts.unit, SETUP, facts.what)


def _derived(setup: Setup, strokes: Table) -> Iterator[Threshold]:
    seen = strokes.rows(strokes["no_load_source"] == SEEN_STROKE)
    free = middle(seen["no_load_torque_kNm"])
    free = free if np.isfinite(free) else float(setup.machine.no_load_torque_kNm or np.nan)
    spread = middle(seen["no_load_sd_kNm"])
    loaded = max(LOADED * free, free + SPREADS * np.nan_to_num(spread))
    reason = (
        f"greater of {LOADED:g} times no-load torque and no-load torque plus {SPREADS:g} of its deviations, stroke "
        f"by stroke; here the median of {len(seen)} strokes that showed theirs"
    )
    yield Threshold("turning loaded from torque", loaded, "kNm", LOG if len(seen) else SETUP, reason)
    full = setup.machine.stroke_length_m
    yield Threshold(
        "mains come back so far: a reset whatever else",
        1000 * TOO_FAR * (full or USUAL_STROKE_M),
        "mm",
        MACHINE if full else FIXED,
        f"{TOO_FAR:g} of the full stroke; a head is drawn back by some decimetres",
    )
    interval = strokes["interval_s"]
    usual = middle(interval)
    yield Threshold("no record after", usual * setup.motion.gap_intervals, "s", LOG,
                    "gap_intervals nominal intervals; the nominal interval is the mode of the day")  # fmt: skip
    resolved = float(np.mean(interval <= RESOLVES_PHASES_S)) if len(interval) else float("nan")
    yield Threshold("strokes logged fast enough for phases", resolved, "", LOG,
                    f"share of strokes logged every {RESOLVES_PHASES_S:g} s or faster")  # fmt: skip


def _fixed(kind: str) -> Iterator[Threshold]:
    for name, value, unit, reason in _FIXED:
        yield Threshold(name, value, unit, FIXED, reason)
    if kind == DOUBLE_SHIELD:
        for name, value, unit, reason in _OF_DOUBLE:
            yield Threshold(name, value, unit, FIXED, reason)
    if kind in (DOUBLE_SHIELD, SINGLE_SHIELD):
        for name, value, unit, reason in _OF_RINGS:
            yield Threshold(name, value, unit, FIXED, reason)


_Row = tuple[str, float, str, str]
_FIXED: tuple[_Row, ...] = (
    ("advance begins at", START_MM_MIN, "mm/min",
     "a held shield is reported to creep at 2.7 mm/min (Wang S. et al. 2025), which is still boring; more where "
     "the slope of a noisy stroke sensor asks for it"),
    ("advance ends below", STOP_MM_MIN, "mm/min", "half of where it begins, so that noise does not cut it up"),
    ("least advance of a bout", LEAST_BOUT_MM, "mm", "less is play in the machine"),
    (
        "stroke refutes a speed, or a head at rest, over",
        IN_A_ROW * PIECE_MM,
        "mm",
        f"where the other says less than {AGREE[0]:g} or more than {AGREE[1]:g} of the stroke's way all along; a free "
        "advance, a slide or a lag of the speed are over before",
    ),
    ("least return of a set", LEAST_RETURN_MM, "mm", "a set at rest does not creep back further"),
    ("a set at rest is read over", REST_S, "s", "over longer ones it may creep; less where it moves again"),
    ("start of turning left out", START_UP_S, "s", "bringing the head to speed takes torque too"),
    ("head speed is steady within", STEADY_SPEED, "share", "no-load torque belongs to one speed"),
    ("least samples of drag or no-load torque", LEAST_SAMPLES, "", "a median of fewer says little"),
    ("shortest change of free to loaded", SHORTEST_S, "s", "shorter is noise of the torque"),
    ("thrust is up from", LOADED_SHARE, "share", "of its level in the bout: loading ends there, unloading begins"),
    ("grippers are released below", RELEASED, "share", "of their pressure while boring"),
    ("settling after a regrip", SETTLE_S, "s", "bracing and steering (common practice, no source)"),
    ("strokes with drag of their own that speak for others", FEWEST, "", "fewer: drive.toml comes first"),
    ("nearby strokes, either way", NEARBY, "", "their scatter is the spread of what they say"),
)  # fmt: skip
_OF_DOUBLE: tuple[_Row, ...] = (
    ("the ring takes the force from", RING_CARRIES, "share", "of the main thrust on the auxiliaries"),
    ("least slip", LEAST_MM, "mm", "less is in the noise of guidance"),
    (
        "slip without a chainage: torque below",
        LOST,
        "share",
        "of that while boring; thrust where no torque is logged",
    ),
    ("shortest slip", LEAST_S, "s", "a minute, less what smoothing hides at both ends"),
    ("chainage stands at less than", STANDS, "share", "of the mains' movement, on a coarse guidance"),
)
_OF_RINGS: tuple[_Row, ...] = (
    ("least return for a ring", LEAST_PAD_MM, "mm", "less than a segment needs"),
    (
        "pads that move for less only make room",
        LEAST_RING_S,
        "s",
        "a ring takes 20 to 45 minutes (common practice)",
    ),
)
