"""How the sum of strokes is closed on what is known of places: the anchors of a drive and its course.

Stations that the site surveyed count before the chainage in the logs; a drive with neither runs by its
strokes alone, and says so.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Protocol

import numpy as np

from tbmreview.domain.overrules import Overrule
from tbmreview.domain.setup import Setup
from tbmreview.domain.site import ANCHORS
from tbmreview.domain.states import State
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table
from tbmreview.drive.course import (
    ONE_PLACE_M,
    SURVEYED,
    Anchor,
    Course,
    Floats,
    OddStroke,
    agreeing,
    course_through,
    face_position,
)
from tbmreview.drive.guided import Guided, guided
from tbmreview.drive.reduce import Reduced

HIDDEN_M = 0.1  # a gap of the record in which more was bored does not tell where the face was in it


class Surveyed(Protocol):
    """What closing needs of a drive beside its reduction."""

    @property
    def setup(self) -> Setup:
        """What people stated."""

    @property
    def axis(self) -> Axis:
        """The axis with every chainage equation."""

    def axis_at(self, time_us: int) -> Axis:
        """The axis with the chainage equations in force at an instant."""

    def site_table(self, kind: str) -> Table:
        """What the site stated (domain.site)."""

    def overrules(self) -> Sequence[Overrule]:
        """What people stated against the program."""


@dataclass(frozen=True, slots=True)
class Closing:
    """anchors: all that are known, by sum of strokes; odd: strokes off against their neighbours, and jumps of
    the guidance; course: None where nothing places the strokes; says: in lines, what it rests on."""

    anchors: tuple[Anchor, ...]
    odd: tuple[OddStroke, ...]
    course: Course | None
    says: tuple[str, ...]


def closing(drive: Surveyed, tables: Reduced) -> Closing:
    """The anchors of a drive and the course through them."""
    stations = agreeing(_left_out(_stations(drive, tables), drive.overrules()))
    logged = _logged(drive, tables)
    used = [a for a in stations if not a.why]
    if used:
        beyond = _beyond(used, logged) if drive.setup.drive.guidance_anchors else []
        odd = _shown([*used, *beyond], logged.odd)
        placed = f"{len(used)} of {len(stations)} surveyed stations place the strokes"
        placed += _beside(used, logged)
        placed += "; before the first and after the last, the chainage in the logs" if beyond else ""
        every = sorted([*stations, *beyond], key=_along)
        return Closing(tuple(every), odd, course_through(every, odd), (placed,))
    lost = (f"none of {len(stations)} surveyed stations can be used",) if stations else ()
    anchors = [replace(a, why=_switched_off(drive.setup)) for a in logged.anchors]
    anchors = agreeing(_left_out(anchors, drive.overrules()))
    course = course_through(anchors, logged.odd)
    if course is not None:
        says = f"no surveyed stations; the chainage in the logs places the strokes: {logged.says}"
    elif not len(tables.guidance):
        says = "positions are sums of strokes: there are no surveyed stations, and no chainage in the logs"
    else:
        says = (
            "positions are sums of strokes: there are no surveyed stations, and the chainage in the logs is "
            f"not used ({_switched_off(drive.setup) if anchors else logged.says})"
        )
    return Closing((*stations, *anchors), logged.odd, course, (*lost, says))


def _switched_off(setup: Setup) -> str:
    return "" if setup.drive.guidance_anchors else "switched off in drive.toml ([drive] guidance_anchors)"


def _left_out(anchors: Sequence[Anchor], overrules: Sequence[Overrule]) -> list[Anchor]:
    """The same; those that a person left out say so."""
    out = list(anchors)
    for said in overrules:
        if said.what == "anchor" and not said.withdrawn:
            why = f"left out by {said.decided_by}: {said.reason}"
            out = [replace(a, why=why) if said.start_us <= a.time_us < said.end_us else a for a in out]
    return out


def _beside(used: Sequence[Anchor], logged: Guided) -> str:
    """In words, how far the chainage in the logs is off the stations; '' where it says nothing."""
    course = course_through(logged.anchors, logged.odd)
    if course is None:
        return ""
    off = course.position(np.array([a.strokes_m for a in used])) - [a.position_m for a in used]
    return f"; the chainage in the logs is {off.min():+.2f} to {off.max():+.2f} m off them"


def _beyond(used: Sequence[Anchor], logged: Guided) -> list[Anchor]:
    """The logged chainage before the first station and after the last, moved to meet them."""
    course = course_through(logged.anchors, logged.odd)
    if course is None or len(logged.anchors) < 2:
        return []
    first, last = used[0], used[-1]
    moved = [a.position_m - float(course.position(np.array([a.strokes_m]))[0]) for a in (first, last)]
    before = [a for a in logged.anchors if a.strokes_m < first.strokes_m - ONE_PLACE_M]
    after = [a for a in logged.anchors if a.strokes_m > last.strokes_m + ONE_PLACE_M]
    return [
        *(replace(a, position_m=a.position_m + moved[0]) for a in before),
        *(replace(a, position_m=a.position_m + moved[1]) for a in after),
    ]


def _shown(used: Sequence[Anchor], odd: Sequence[OddStroke]) -> tuple[OddStroke, ...]:
    """Odd strokes by what the surveyed stations around them show: one that does not make their misclosure
    less is not corrected."""
    out = []
    for o in odd:
        before = max((a for a in used if a.strokes_m <= o.from_m), key=_along, default=None)
        after = min((a for a in used if a.strokes_m >= o.to_m), key=_along, default=None)
        if o.applied and (before is None or after is None):
            o = replace(o, applied=False, why=f"{o.why}; no station on both sides confirms it")
        elif o.applied and before is not None and after is not None:
            moved = after.misclosure_m - before.misclosure_m
            if abs(moved - o.off_m) >= abs(moved):
                o = replace(o, applied=False, why="the surveyed stations do not show it")
        out.append(o)
    return tuple(out)


def _along(anchor: Anchor) -> float:
    return anchor.strokes_m


# --- what is known ------------------------------------------------------------------------------


def _stations(drive: Surveyed, tables: Reduced) -> list[Anchor]:
    stated = drive.site_table(ANCHORS)
    if not len(stated):
        return []
    at, why = strokes_at(tables, stated["time_us"])
    anchors: dict[tuple[float, ...], Anchor] = {}
    for i in range(len(stated)):
        time_us = int(stated["time_us"][i])
        chainage, offset, sd = (float(stated[name][i]) for name in ("chainage_m", "offset_m", "sd_m"))
        place, doubt = face_position(drive.axis_at(time_us), chainage, offset, float(at[i]))
        anchors[time_us, chainage, offset] = Anchor(
            time_us, chainage, offset, float(at[i]), place, sd, SURVEYED, stated["note"][i], why[i] or doubt
        )
    return list(anchors.values())


def strokes_at(
    tables: Reduced, time_us: np.ndarray[tuple[int], np.dtype[np.int64]]
) -> tuple[Floats, list[str]]:
    """(sum of strokes at instants (n,) [m], '' or why it is not known at each)."""
    cells, periods = tables.cells, tables.periods
    if not len(periods) or not len(cells):
        return np.full(len(time_us), np.nan), ["nothing was bored by the logs"] * len(time_us)
    when = np.r_[cells["start_us"], cells["end_us"]]
    place = np.r_[cells["position_from_m"], cells["position_to_m"]]
    order = np.lexsort([place, when])
    at = np.interp(time_us, when[order], np.maximum.accumulate(place[order]))
    number = np.searchsorted(periods["start_us"], time_us, side="right") - 1
    inside = (number >= 0) & (time_us <= periods["end_us"][-1])
    period = np.maximum(number, 0)
    hidden = (periods["state"] == State.NO_RECORD) & (periods["advance_m"] > HIDDEN_M)
    why = [
        "there is no record of that time" if not here else "bored in a gap of the record" if gap else ""
        for here, gap in zip(inside.tolist(), hidden[period].tolist(), strict=True)
    ]
    return at, why


def _logged(drive: Surveyed, tables: Reduced) -> Guided:
    """What the chainage in the logs says, each reading on the axis in force at its time."""
    guidance, facts = tables.guidance, drive.setup.drive
    base = facts.axis
    if drive.axis != base and len(guidance):
        seen = base.chainage_m(guidance["position_m"] + guidance["ahead_m"])
        on = partial(_on_axis, drive, facts.guidance_offset_m or 0.0)
        rows = zip(guidance["time_us"].tolist(), seen.tolist(), guidance["position_m"].tolist(), strict=True)
        guidance = guidance.with_columns({"ahead_m": np.array([on(*row) for row in rows])})
    kept = guidance.rows(np.isfinite(guidance["ahead_m"]))
    return guided(kept, _with_unrecorded(tables), facts.guidance_offset_m, drive.overrules())


def _on_axis(drive: Surveyed, offset_m: float, time_us: int, chainage_m: float, strokes_m: float) -> float:
    """How far a logged chainage is ahead of the strokes [m]; NaN where it exists twice or not at all."""
    place, doubt = face_position(drive.axis_at(time_us), chainage_m, offset_m, strokes_m)
    return float("nan") if doubt else place - offset_m - strokes_m


def _with_unrecorded(tables: Reduced) -> Table:
    """The strokes with the advance that gaps of the record hide [m]."""
    strokes, cells = tables.strokes, tables.cells
    number = np.searchsorted(strokes["stroke_start_us"], cells["stroke_start_us"])
    lost = np.bincount(number, cells["unrecorded_advance_m"], minlength=len(strokes) + 1)
    return strokes.with_columns({"unrecorded_m": lost[: len(strokes)]})
