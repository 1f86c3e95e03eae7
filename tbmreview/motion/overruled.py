"""What a person states against the program, applied while a window is reduced, so that results follow.

A boring overruled to another state does not advance the face: its samples are no part of any bout. What is
overruled to boring is a bout and advances by what the pushing set extends. A reaction, a stroke that begins
or goes on, and a ring are laid over what was found. Gaps of the record stay gaps.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from tbmreview.domain.overrules import BEGINS, GOES_ON, Overrule
from tbmreview.domain.setup import DOUBLE_SHIELD
from tbmreview.domain.states import REACTION_LABELS, STATE_LABELS, Phase, PushingSet, State
from tbmreview.motion.cells import Motion
from tbmreview.motion.course import Face
from tbmreview.motion.pushing import LEAST_BOUT_MM, Bout
from tbmreview.motion.record import Record
from tbmreview.motion.resets import Reset, extension_of
from tbmreview.motion.rest import Level, by_rest
from tbmreview.motion.rings import RingCount
from tbmreview.motion.signals import Flags, Ints, runs
from tbmreview.motion.spans import Span
from tbmreview.motion.states import Activity

APPLIED = ("state", "reaction", "stroke", "ring")  # what the reduction follows
NOTHING = -1
_STATES = {label: int(code) for code, label in STATE_LABELS.items()}
_REACTIONS = {label: int(code) for code, label in REACTION_LABELS.items()}


@dataclass(frozen=True, slots=True)
class Stated:
    """What people state of the n samples of a window: (n,) state, reaction and ring, NOTHING where they say
    nothing; samples at which a stroke begins; (n,) where none does."""

    state: Ints
    reaction: Ints
    ring: Ints
    begins: tuple[int, ...]
    goes_on: Flags

    @property
    def says_no_state(self) -> bool:
        return bool((self.state == NOTHING).all())

    @property
    def boring(self) -> Flags:
        out: Flags = self.state == State.BORING
        return out

    @property
    def still(self) -> Flags:
        """Where the face does not advance."""
        out: Flags = (self.state != NOTHING) & (self.state != State.BORING)
        return out


def touching(overrules: Sequence[Overrule], start_us: int, end_us: int) -> tuple[Overrule, ...]:
    """Those in force that a window from start_us to before end_us follows, in the order of statement."""
    return tuple(
        o
        for o in overrules
        if o.what in APPLIED and not o.withdrawn and o.start_us < end_us and o.end_us > start_us
    )


def stated_of(time_us: Ints, overrules: Sequence[Overrule]) -> Stated:
    """The overrules by sample; where two speak of the same, the later one counts."""
    said = {what: np.full(len(time_us), NOTHING, np.int64) for what in ("state", "reaction", "ring")}
    begins, goes_on = set(), np.zeros(len(time_us), bool)
    for one in overrules:
        first, stop = np.searchsorted(time_us, (one.start_us, one.end_us)).tolist()
        if one.what == "stroke":
            goes_on[first:stop] = one.value == GOES_ON
            if one.value == BEGINS and first < len(time_us):
                begins.add(first)
        elif one.what in said:
            said[one.what][first:stop] = _code(one)
    return Stated(said["state"], said["reaction"], said["ring"], tuple(sorted(begins)), goes_on)


def _code(one: Overrule) -> int:
    if one.what == "ring":
        return int(one.value)
    return (_STATES if one.what == "state" else _REACTIONS)[one.value]


# --- bouts and strokes --------------------------------------------------------------------------


def bouts_as_stated(
    record: Record, kind: str, found: Sequence[Bout], stated: Stated, origin: int
) -> list[Bout]:
    """The bouts without what is stated to be no boring, and with what is stated to be, in order."""
    if stated.says_no_state:
        return list(found)
    still, free = stated.still, stated.boring
    kept = [piece for bout in found for piece in _outside(record, bout, still)]
    free[:origin] = False
    for bout in kept:
        free[bout.first : bout.stop] = False
    added = [
        _added(record, kind, kept, first, stop)
        for a, b in runs(free)
        for first, stop in pairwise([a, *(a + 1 + np.flatnonzero(record.after_gap[a + 1 : b])).tolist(), b])
    ]
    return sorted([*kept, *added], key=lambda bout: bout.first)


def _outside(record: Record, bout: Bout, still: Flags) -> Iterator[Bout]:
    for first, stop in runs(~still[bout.first : bout.stop]):
        yield part_of(record, bout, bout.first + first, bout.first + stop)


def part_of(record: Record, bout: Bout, first: int, stop: int) -> Bout:
    """The part of a bout from a sample to before another."""
    (start_mm, start_rests), (end_mm, end_rests) = (
        whole if at == edge else _level(record, bout, at)
        for at, edge, whole in (
            (first, bout.first, Level(bout.start_mm, bout.start_rests)),
            (stop, bout.stop, Level(bout.end_mm, bout.end_rests)),
        )
    )
    return Bout(first, stop, bout.pushing_set, start_mm, end_mm, start_rests, end_rests)


def _level(record: Record, bout: Bout, at: int) -> Level:
    """Extension at a sample of a bout [mm]; without a stroke in the log, in proportion of time."""
    extension = extension_of(record, bout.pushing_set)
    if extension is not None:
        return Level(float(extension.mm[min(at, len(record) - 1)]), by_rest(record, extension))
    share = (at - bout.first) / (bout.stop - bout.first)
    return Level(bout.start_mm + share * (bout.end_mm - bout.start_mm), False)


def _added(record: Record, kind: str, bouts: Sequence[Bout], first: int, stop: int) -> Bout:
    """A bout where there was none: of the set that extends most, of the one before it if none does."""
    last = stop if stop < len(record) and not record.after_gap[stop] else stop - 1
    before = [bout.pushing_set for bout in bouts if bout.first < first]
    pushing, moved = before[-1] if before else PushingSet.MAIN, LEAST_BOUT_MM
    for of in (PushingSet.MAIN, PushingSet.AUX) if kind == DOUBLE_SHIELD else (PushingSet.MAIN,):
        extension = extension_of(record, of)
        if extension is not None and extension.smooth_mm[last] - extension.smooth_mm[first] > moved:
            pushing, moved = of, float(extension.smooth_mm[last] - extension.smooth_mm[first])
    extension = extension_of(record, pushing)
    if extension is None:
        return Bout(first, stop, pushing, 0.0, 0.0)
    slow = by_rest(record, extension)
    return Bout(first, stop, pushing, float(extension.mm[first]), float(extension.mm[last]), slow, slow)


def strokes_as_stated(record: Record, found: Sequence[Span], stated: Stated) -> list[Span]:
    """The strokes without boundaries that are stated to be none, and with those that are stated to be. A change of
    the pushing set always begins a stroke."""
    spans: list[Span] = []
    for span in found:
        same = bool(spans) and spans[-1].pushing_set == span.pushing_set
        if same and stated.goes_on[span.first]:
            bouts = (*spans[-1].bouts, *span.bouts)
            spans[-1] = replace(spans[-1], stop=span.stop, bouts=bouts, ended=span.ended)
        else:
            spans.append(span)
    for at in stated.begins:
        spans = [part for span in spans for part in _begun(record, span, at)]
    return spans


def _begun(record: Record, span: Span, at: int) -> list[Span]:
    if not span.first < at < span.stop:
        return [span]
    reset = Reset(at, None, unseen=False)
    before = tuple(
        part_of(record, bout, bout.first, min(bout.stop, at)) for bout in span.bouts if bout.first < at
    )
    after = tuple(
        part_of(record, bout, max(bout.first, at), bout.stop) for bout in span.bouts if bout.stop > at
    )
    return [
        replace(span, stop=at, bouts=before, ended=reset),
        replace(span, first=at, bouts=after, began=reset),
    ]


# --- samples ------------------------------------------------------------------------------------


def face_as_stated(face: Face, stated: Stated) -> Face:
    """The samples that bored, as stated."""
    if stated.says_no_state:
        return face
    return replace(face, cutting=(face.cutting | stated.boring) & ~stated.still)


def activity_as_stated(found: Activity, stated: Stated, shows_phases: bool) -> Activity:
    """States, the flag of ring building and phases, as stated."""
    if stated.says_no_state:
        return found
    said = stated.state != NOTHING
    state = np.where(said, stated.state, found.state).astype(np.int8)
    changed = said & ((stated.state == State.RING_BUILD) | (found.state == State.RING_BUILD))
    building = np.where(changed, state == State.RING_BUILD, found.ring_building)
    phase = np.where(stated.still, Phase.NONE, found.phase)
    if shows_phases:
        phase = np.where(stated.boring & (phase < Phase.LOADING), Phase.STEADY, phase)
    return replace(found, state=state, ring_building=building, phase=phase.astype(np.int8))


def motion_as_stated(found: Motion, stated: Stated) -> Motion:
    """The reaction, as stated."""
    reaction = np.where(stated.reaction != NOTHING, stated.reaction, found.reaction)
    return replace(found, reaction=reaction.astype(np.int8))


def rings_as_stated(found: RingCount, stated: Stated) -> RingCount:
    """The current ring, as stated."""
    return replace(found, ring=np.where(stated.ring != NOTHING, stated.ring, found.ring))
