"""The face over a stroke: its runs from contact on, and the advance that gaps of the record hide."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.setup import Machine
from tbmreview.domain.states import PushingSet
from tbmreview.motion.contact import Contact, loaded_sample
from tbmreview.motion.hidden import CHAINAGE_DOUBT_M, comes_back, head_by_chainage, level_mm
from tbmreview.motion.position import Run, Trace, make_runs, trace_gap, trace_run
from tbmreview.motion.pushing import Bout
from tbmreview.motion.record import START_MM_MIN, Record
from tbmreview.motion.resets import extension_of
from tbmreview.motion.signals import Flags, Floats
from tbmreview.motion.spans import Span
from tbmreview.motion.torque import TorqueLevels

ON_THE_FACE_M = 2e-3  # nearer than this the head is on the face


@dataclass(frozen=True, slots=True)
class Context:
    """What every stroke of a window is worked with. known_rate: (n,) mm/min without missing values; slip:
    (n,) where the set extends in vain, or is stated to; bored: (n,) where it is stated to bore."""

    record: Record
    machine: Machine
    known_rate: Floats
    slip: Flags
    bored: Flags


@dataclass(slots=True)
class _Walk:
    """Where a walk along a stroke is: face [m], front less extension [m] (None before contact), last
    extension known [mm] and the sample it was known at."""

    face_m: float
    offset_m: float | None
    mm: float
    at: int


def trace_stroke(
    context: Context, span: Span, known: tuple[Contact, TorqueLevels], face_m: float
) -> tuple[Trace, ...]:
    """Traces of a stroke that begins with the face at face_m, in order of time."""
    contact, levels = known
    extension = extension_of(context.record, span.pushing_set)
    bouts = _from_contact(span.bouts, contact)
    if extension is None:  # nothing else tells that the head was drawn back in an interruption
        bouts = [_from_load(context.record, bout, levels) for bout in bouts]
    runs = make_runs(context.record, extension, bouts, context.known_rate, context.slip)
    start_mm = float(extension.mm[span.first]) if extension is not None else 0.0
    walk = _Walk(face_m, None, start_mm, span.first)
    return tuple(_walk(context, span, runs, (walk, levels.contact_from)))


def _from_contact(bouts: tuple[Bout, ...], contact: Contact) -> list[Bout]:
    """The bouts from the contact on; before it the head only comes up to the face."""
    rest = [bout for bout in bouts if bout.stop > contact.sample]
    if rest and rest[0].first <= contact.sample:
        if np.isfinite(contact.mm):
            rest[0] = replace(rest[0], start_mm=contact.mm, start_rests=True)
        elif rest[0].first < contact.sample:
            rest[0] = replace(rest[0], start_rests=False)
        rest[0] = replace(rest[0], first=contact.sample)
    return rest


def _from_load(record: Record, bout: Bout, levels: TorqueLevels) -> Bout:
    moving = np.arange(bout.first, bout.stop)
    return replace(bout, first=loaded_sample(record, moving, levels, bout.pushing_set == PushingSet.AUX))


def _walk(context: Context, span: Span, runs: list[Run], given: tuple[_Walk, float]) -> Iterator[Trace]:
    (walk, contact_from), record = given, context.record
    extension = extension_of(record, span.pushing_set)
    slack = max(ON_THE_FACE_M, extension.noise_mm / 1000 if extension is not None else 0.0)
    if _began_unseen(span, span.first):
        yield _gap(context, span, walk, span.first, runs[0] if runs else None)
    for run in runs:
        for at in _long_gaps(record, walk.at, run.first):
            yield _gap(context, span, walk, at, run)
        if walk.offset_m is None or _moved_without_boring(context, walk.at, run):
            walk.offset_m = walk.face_m - run.at_mm[0] / 1000
        torque = record.clear_torque_kNm[run.first : run.stop]
        loaded = None if np.isnan(contact_from) or record.shows_phases else torque >= contact_from
        trace = trace_run(run, walk.face_m, walk.offset_m, slack, loaded)
        yield trace
        walk.face_m, walk.mm, walk.at = trace.face_m, float(run.after_mm[-1]), run.stop
    for at in _long_gaps(record, walk.at, span.stop - 1):
        yield _gap(context, span, walk, at, None)


def _long_gaps(record: Record, first: int, last: int) -> list[int]:
    """The first samples after long gaps, from before sample `first` to sample `last`."""
    return (first + np.flatnonzero(record.after_gap[first : last + 1])).tolist()


def _gap(context: Context, span: Span, walk: _Walk, at: int, run: Run | None) -> Trace:
    """The advance across a gap: by the stroke, which is finer, unless the set was reset in the gap or
    chainage says that the head went another way. After a reset it belongs to the stroke that follows."""
    record = context.record
    extension = extension_of(record, span.pushing_set)
    head_m = head_by_chainage(record, extension, at)
    if extension is not None and not _began_unseen(span, at):
        level = level_mm(record, extension, at)
        ahead_m = head_m - (level - extension.mm[at - 1]) / 1000
        # a set that is on its way back already was further out, by what the head went further
        further = ahead_m > 0 and comes_back(record, extension, at, 1)
        if np.isnan(head_m) or (abs(ahead_m) <= CHAINAGE_DOUBT_M and not further):
            mm = float(run.at_mm[0]) if run is not None and run.first == at else level
            if walk.offset_m is None:
                walk.mm = float(extension.smooth_mm[at - 1])
            return _go_on(walk, at, _by_stroke(walk, mm, extension.unclear_mm))
    elif extension is not None and np.isnan(head_m):
        return _go_on(walk, at, float(extension.mm[at] - extension.smooth_mm.min()) / 1000)
    # of the head behind the face before the gap, at its last sample: the credit of that was bored already
    behind_m = _credited_m(context, at - 1) if walk.offset_m is None else 0.0
    if span.began is not None and at == span.first:
        behind_m += span.began.back_m
    if extension is not None and walk.offset_m is not None:
        behind_m = max(0.0, walk.face_m - walk.offset_m - float(extension.mm[at - 1]) / 1000)
    walk.offset_m = None  # the face is met anew where the next run begins
    if extension is not None and run is not None and run.first == at:
        behind_m += float(extension.mm[at] - run.at_mm[0]) / 1000  # which the run counts
    return _go_on(walk, at, float(np.nan_to_num(head_m)) - behind_m)


def _credited_m(context: Context, sample: int) -> float:
    """What the last bout bored after its last sample, before a gap."""
    record, rate = context.record, context.known_rate[sample]
    seconds = record.credit.credit_us[sample] / MICROSECONDS if record.is_fine else record.nominal_s
    return float(rate * seconds / 60e3) if rate > START_MM_MIN else 0.0


def _go_on(walk: _Walk, at: int, advance_m: float) -> Trace:
    walk.face_m += max(0.0, advance_m)
    walk.at = at + 1
    return trace_gap(at, walk.face_m)


def _began_unseen(span: Span, at: int) -> bool:
    return span.began is not None and span.began.unseen and at == span.first


def _by_stroke(walk: _Walk, mm: float, unclear_mm: float) -> float:
    """Advance of the face when the set has come to mm [m]; the walk goes on from there."""
    before, walk.mm = walk.mm, mm
    if mm - before <= unclear_mm:
        return 0.0
    if walk.offset_m is None:
        walk.offset_m = walk.face_m - before / 1000
    return mm / 1000 + walk.offset_m - walk.face_m


def _moved_without_boring(context: Context, at: int, run: Run) -> bool:
    """Before a run the set extended without the face moving: in a slip, or with the head at rest."""
    record = context.record
    if context.slip[at : run.first].any():
        return True
    turned = record.turning is None or bool(record.turning[at : run.first].any())
    return not turned and not bool(record.credit.gap_us[max(at - 1, 0) : run.first].any())
