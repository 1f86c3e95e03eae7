"""What the log has too little to tell: every such statement, in one place, in words for people.

Where two things look alike in a log the program says so, and what it takes them for.
"""

from collections.abc import Callable, Collection
from dataclasses import dataclass

import numpy as np

from tbmreview.domain.setup import DOUBLE_SHIELD, OPEN_GRIPPER, SINGLE_SHIELD, Setup
from tbmreview.domain.states import PushingSet, Reaction
from tbmreview.domain.table import Table
from tbmreview.motion.hidden import UNSEEN_RESET_M
from tbmreview.motion.net_forces import SEEN_NONE
from tbmreview.motion.record import RESOLVES_PHASES_S
from tbmreview.motion.resets import TOO_LONG, USUAL_STROKE_M

WORTH_SAYING_M = 0.3  # of advance without head speed: less is a missing reading here and there
SPEEDS = ("advance_speed_mm_min", "penetration_mm_rev")


@dataclass(frozen=True, slots=True)
class Note:
    """name: for scripts, never changed. text: what the log does not show, and what is done about it."""

    name: str
    text: str


@dataclass(frozen=True, slots=True)
class Logged:
    """What notes are made from: channels that were logged, the setup, the strokes with net forces, cells, periods."""

    channels: Collection[str]
    setup: Setup
    strokes: Table
    cells: Table
    periods: Table

    def has(self, *names: str) -> bool:
        return any(name in self.channels for name in names)

    @property
    def kind(self) -> str:
        return self.setup.machine.kind


def notes_of(logged: Logged) -> tuple[Note, ...]:
    """The notes that hold for a drive, in the order of NOTES; none for a drive that has not bored."""
    if not len(logged.strokes):
        return ()
    found = ((name, make(logged)) for name, make in NOTES)
    return tuple(Note(name, text) for name, text in found if text)


def _short_phases(logged: Logged) -> str:
    slow_s = logged.strokes["interval_s"][logged.strokes["interval_s"] > RESOLVES_PHASES_S]
    if not len(slow_s):
        return ""
    bored_s = float(logged.cells["boring_s"].sum())
    pace_mm_s = 1000 * float(logged.cells["advance_m"].sum()) / bored_s if bored_s else 0.0
    slowest = f"up to {slow_s.max():.0f} s" if slow_s.max() > slow_s.min() else f"{slow_s.max():.0f} s"
    return (
        f"{len(slow_s)} of {len(logged.strokes)} strokes were logged at intervals of {slowest}: free advance, loading and "
        f"unloading last some ten seconds and show only at {RESOLVES_PHASES_S:.0f} s or faster; these strokes have "
        "no phases, and drag comes from other strokes or from drive.toml; where the head comes up to the face at the "
        f"start of one, its first contact is known to some {0.5 * pace_mm_s * slow_s.max():.0f} mm, half of what it "
        "bores in an interval"
    )


def _torque(logged: Logged) -> str:
    if logged.has("torque_kNm"):
        return ""
    return (
        "no torque: the face is met where thrust rises from that of drag, and a stroke that begins under load is "
        "taken to begin on the face, so free advance may count as boring; turning loaded without advance is told "
        "from turning free by thrust alone"
    )


def _no_load(logged: Logged) -> str:
    if not logged.has("torque_kNm") or not (logged.strokes["no_load_source"] == SEEN_NONE).all():
        return ""
    return (
        "the head never turned free for long enough and [machine] no_load_torque_kNm is not given: turning "
        "loaded without advance is told from turning free by thrust alone, and net torque is missing"
    )


def _drag(logged: Logged) -> str:
    bare = logged.strokes["drag_source"] == SEEN_NONE
    if not bare.any() or not logged.has("main_thrust_kN", "aux_thrust_kN"):
        return ""
    on_aux = bool((logged.strokes["pushing_set"][bare] == PushingSet.AUX).all())
    key = "aux_drag_kN" if on_aux else "drag_kN"
    return (
        f"{np.count_nonzero(bare)} of {len(bare)} strokes: no drag was seen with their pushing set and [machine] "
        f"{key} is not given, so net thrust is missing"
    )


def _head_speed(logged: Logged) -> str:
    if logged.has("head_speed_rpm"):
        return _head_speed_refuted(logged)
    return (
        "no head speed: the head is taken to turn while it goes forward; turning free, and turning loaded "
        "without advance, count as standing"
    )


def _head_speed_refuted(logged: Logged) -> str:
    cells = logged.cells
    lost_m = float((cells["advance_m"] - cells["unrecorded_advance_m"] - cells["turned_advance_m"]).sum())
    if lost_m < WORTH_SAYING_M:
        return ""
    return (
        f"no usable head speed over {lost_m:.2f} m that were bored by stroke and torque (missing, or 0 while the head "
        "went on): there the head is taken to turn while it is under torque, turning free counts as standing, and "
        "revolutions, penetration and rotary energy leave this advance out"
    )


def _no_stroke(logged: Logged) -> str:
    if logged.has("main_stroke_mm", "aux_stroke_mm"):
        return ""
    return (
        "no stroke of any cylinders: regrips and rings do not show and count as standing; a stroke is taken to "
        "end at a pause once about a full stroke was made; advance is " + _advance_by(logged)
    )


def _advance_by(logged: Logged) -> str:
    if logged.has("chainage_m"):
        return "that of the logged chainage, or of the speed where the target of the guidance stays behind"
    by = "logged speed" if logged.has("advance_speed_mm_min") else "penetration times head speed"
    return f"the {by} over time, whose scale nothing in the log checks; what gaps of the record hide is not counted"


def _limit(logged: Logged) -> str:
    beyond_m = logged.strokes["beyond_m"]
    if not (beyond_m > 0).any():
        return ""
    by = "speed of advance" if logged.has(*SPEEDS) else "logged chainage"
    return (
        f"the stroke sensor stands at its limit while the head goes on, in {np.count_nonzero(beyond_m > 0)} of "
        f"{len(beyond_m)} strokes: {beyond_m.sum():.2f} m of advance there are by the {by}"
    )


def _unseen(logged: Logged) -> str:
    cells = logged.cells
    start, of = np.unique(cells["stroke_start_us"], return_inverse=True)
    hidden_m, made_m = (
        np.bincount(of, cells[name], minlength=len(start)) for name in ("unrecorded_advance_m", "advance_m")
    )
    usual_m = logged.setup.machine.stroke_length_m or USUAL_STROKE_M
    more = int(np.ceil(made_m[hidden_m > UNSEEN_RESET_M] / (TOO_LONG * usual_m) - 1).sum())
    if not more:
        return ""
    return (
        f"gaps of the record hide about {more} whole stroke{'s' if more > 1 else ''}: their advance stands as "
        "unrecorded with the stroke after the gap, and the count of strokes leaves them out"
    )


def _gaps(logged: Logged) -> str:
    hidden_m = float(logged.cells["unrecorded_advance_m"].sum())
    if logged.has("chainage_m") or not hidden_m > 0:
        return ""
    return (
        f"no guidance chainage: advance in gaps of the record ({hidden_m:.2f} m) is by the stroke; where a gap hides a "
        "reset, what was bored before the reset, and whole strokes, are not counted"
    )


def _main_stroke(logged: Logged) -> str:
    if logged.has("main_stroke_mm") or not logged.has("aux_stroke_mm"):
        return ""
    return "no stroke of the mains: a regrip cannot be told from ring building, and counts as that"


def _aux_stroke(logged: Logged) -> str:
    if logged.kind != DOUBLE_SHIELD or logged.has("aux_stroke_mm") or not logged.has("main_stroke_mm"):
        return ""
    return (
        "no stroke of the auxiliaries: ring building does not show and counts as standing, slip cannot be told "
        "from boring"
    )


def _slip(logged: Logged) -> str:
    if logged.kind != DOUBLE_SHIELD or logged.has("chainage_m") or not logged.has("aux_stroke_mm"):
        return ""
    advance = logged.cells["advance_m"]
    open_m = float(advance[logged.cells["reaction"] == Reaction.UNKNOWN].sum())
    return (
        "no guidance chainage: where auxiliaries shorten as fast as mains extend, slip of the grippers is told from "
        "a ring built while boring by the torque, or without one the thrust, that goes; where it stays the reaction "
        f"is not known ({open_m:.2f} m)"
    )


def _gripper(logged: Logged) -> str:
    if logged.kind == SINGLE_SHIELD or logged.has("gripper_pressure_bar", "gripper_force_kN"):
        return ""
    text = (
        "no gripper pressure: a regrip is the return of the mains and the minute and a half after it; letting go "
        "before it counts as standing"
    )
    by_size = "; a head drawn back far is told from a regrip by how far, and by where it meets the face again"
    return text + (by_size if logged.kind == OPEN_GRIPPER or not logged.has("aux_stroke_mm") else "")


def _ring_pause(logged: Logged) -> str:
    assumed_h = float(logged.periods["ring_assumed_s"].sum()) / 3600
    if assumed_h == 0:
        return ""
    longest = logged.setup.motion.longest_ring_min
    return (
        "the cylinders came back all at once, so rings were built with still cylinders, which looks like waiting: "
        f"{assumed_h:.2f} h of pauses around it count as ring building, at most {longest:.0f} min each ([motion] "
        "longest_ring_min)"
    )


# name -> the words where it holds, '' where not.
NOTES: tuple[tuple[str, Callable[[Logged], str]], ...] = (
    ("short phases", _short_phases),
    ("torque", _torque),
    ("no-load torque", _no_load),
    ("drag", _drag),
    ("head speed", _head_speed),
    ("strokes", _no_stroke),
    ("sensor limit", _limit),
    ("unseen strokes", _unseen),
    ("gaps", _gaps),
    ("main stroke", _main_stroke),
    ("auxiliary stroke", _aux_stroke),
    ("slip", _slip),
    ("gripper pressure", _gripper),
    ("ring pause", _ring_pause),
)
