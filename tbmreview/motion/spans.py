"""The record cut into strokes at the resets of the pushing set."""

from collections.abc import Sequence
from dataclasses import dataclass

from tbmreview.domain.setup import Machine
from tbmreview.domain.states import PushingSet
from tbmreview.motion.hidden import with_hidden
from tbmreview.motion.pushing import Bout
from tbmreview.motion.record import Record
from tbmreview.motion.resets import Reset, reset_after, reset_between


@dataclass(frozen=True, slots=True)
class Span:
    """One stroke in the record: samples first to before stop, its bouts (none where a gap hides them all), the
    set that pushes, the reset that began it (None: the start of the record) and the one that ends it (None: it
    is open)."""

    first: int
    stop: int
    bouts: tuple[Bout, ...]
    pushing_set: PushingSet
    began: Reset | None
    ended: Reset | None


def cut_strokes(record: Record, machine: Machine, bouts: Sequence[Bout], origin: int) -> list[Span]:
    """The strokes of the record from sample `origin` on; one without bouts where nothing was pushed."""
    groups: list[list[Bout]] = []
    resets: list[Reset | None] = [None]
    for bout in with_hidden(record, bouts, origin):
        reset = reset_between(record, machine, groups[-1], bout) if groups else None
        if not groups or reset is not None:
            groups.append([bout])
            if reset is not None:
                resets.append(reset)
        else:
            groups[-1].append(bout)
    last = reset_after(record, machine, groups[-1]) if groups else None
    ends = [*resets[1:], last]
    starts = [origin, *(r.at for r in resets[1:] if r is not None)]
    stops = [*starts[1:], len(record)]
    if not groups:
        return [Span(origin, len(record), (), PushingSet.UNKNOWN, None, None)]
    return [
        Span(start, stop, tuple(b for b in group if not b.hidden), group[0].pushing_set, began, ended)
        for start, stop, group, began, ended in zip(starts, stops, groups, resets, ends, strict=True)
    ]
