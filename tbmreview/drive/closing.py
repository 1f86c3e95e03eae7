"""How the sum of strokes is closed on what is known of places: the anchors of a drive and its course.

Stations that the site surveyed count before the chainage in the logs; a drive with neither runs by its
strokes alone, and says so. Two stations that agree confirm each other; a single one is confirmed by the
strokes from the drive's start or by the logged chainage, or it is not used unless a person insists.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from itertools import pairwise
from typing import Protocol
from zoneinfo import ZoneInfo

import numpy as np

from tbmreview.domain.overrules import LEFT_OUT, Overrule
from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.setup import Setup
from tbmreview.domain.site import ANCHORS
from tbmreview.domain.states import State
from tbmreview.domain.station import Axis, format_chainage
from tbmreview.domain.table import Table
from tbmreview.drive.course import (
    MOST_GAIN,
    ONE_PLACE_M,
    SURVEY_M,
    SURVEYED,
    Anchor,
    Course,
    Floats,
    OddStroke,
    agreeing,
    course_through,
    face_position,
    same_place,
)
from tbmreview.drive.guided import Guided, guided
from tbmreview.drive.reduce import Reduced

LEAST_OFF_M = 1.0  # a station off by less, of what else is known, is believed
LOGGED_GAIN = 0.005  # of the way from the start, for the logged chainage; the strokes' is MOST_GAIN
STRAINED = 0.02  # misclosure over advance between two stations that is told; sensors are off by 1 to 2 %
BEYOND = 0.01  # and what is told where the logged chainage shows so much less
MOST_TOLD = 12  # misclosures that are told one by one
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
    """anchors: all that are known, by time; odd: strokes off against their neighbours, and jumps of the
    guidance; course: None where nothing places the strokes; says: in lines, what it rests on; doubts: in
    lines, what speaks against stations that are used."""

    anchors: tuple[Anchor, ...]
    odd: tuple[OddStroke, ...]
    course: Course | None
    says: tuple[str, ...]
    doubts: tuple[str, ...] = ()


def named(anchor: Anchor, axis: Axis, zone: ZoneInfo) -> str:
    """'surveyed station 1+043.00 of 2030-10-27 20:00'."""
    stated = anchor.source == SURVEYED
    chainage = anchor.chainage_m if stated else float(axis.chainage_m(anchor.position_m))
    when = datetime.fromtimestamp(anchor.time_us / MICROSECONDS, zone)
    return f"{anchor.source} station {format_chainage(chainage)} of {when:%Y-%m-%d %H:%M}"


def closing(drive: Surveyed, tables: Reduced) -> Closing:
    """The anchors of a drive and the course through them."""
    logged = _logged(drive, tables)
    seen = course_through(logged.anchors, logged.odd)
    stations = _believed(agreeing(_as_stated(_stations(drive, tables), drive.overrules())), seen)
    used = [a for a in stations if not a.why]
    if used:
        beyond = _beyond(used, logged) if drive.setup.drive.guidance_anchors else []
        odd = _shown([*used, *beyond], logged.odd)
        placed = f"{len(used)} of {len(stations)} surveyed stations place the strokes"
        placed += _beside(used, logged)
        placed += "; before the first and after the last, the chainage in the logs" if beyond else ""
        every = _by_time([*stations, *beyond])
        course = course_through(every, odd)
        return Closing(every, odd, course, (placed,), _doubts(drive, used, seen))
    none = f"none of {len(stations)} surveyed stations can be used" if stations else "no surveyed stations"
    why = none if stations else "there are no surveyed stations"
    anchors = [replace(a, why=_switched_off(drive.setup)) for a in logged.anchors]
    anchors = agreeing(_as_stated(anchors, drive.overrules()))
    course = course_through(anchors, logged.odd)
    if course is not None:
        says = f"{none}; the chainage in the logs places the strokes: {logged.says}"
    elif not len(tables.guidance):
        says = f"positions are sums of strokes: {why}, and no chainage in the logs"
    else:
        says = (
            f"positions are sums of strokes: {why}, and the chainage in the logs is "
            f"not used ({_switched_off(drive.setup) if anchors else logged.says})"
        )
    return Closing(_by_time([*stations, *anchors]), logged.odd, course, (says,))


def _switched_off(setup: Setup) -> str:
    return "" if setup.drive.guidance_anchors else "switched off in drive.toml ([drive] guidance_anchors)"


def _by_time(anchors: Sequence[Anchor]) -> tuple[Anchor, ...]:
    return tuple(sorted(anchors, key=lambda a: (a.time_us, a.strokes_m)))


def _as_stated(anchors: Sequence[Anchor], overrules: Sequence[Overrule]) -> list[Anchor]:
    """The same; those that a person left out say so, others are insisted on. The last word counts."""
    last: dict[int, Overrule] = {}
    for said in overrules:
        if said.what == "anchor" and not said.withdrawn:
            last |= {i: said for i, a in enumerate(anchors) if said.start_us <= a.time_us < said.end_us}
    out = list(anchors)
    for i, said in last.items():
        if said.value == LEFT_OUT:
            out[i] = replace(out[i], why=f"left out by {said.decided_by}: {said.reason}")
        else:
            out[i] = replace(out[i], insisted=True)
    return out


# --- whether stations are believed ----------------------------------------------------------------


def _believed(stations: list[Anchor], logged: Course | None) -> list[Anchor]:
    """The same; a station that no other confirms, and all else contradicts, is not used."""
    used = [a for a in stations if not a.why]
    if len(same_place(used)) != 1 or any(a.insisted for a in used):
        return stations
    return [a if a.why else replace(a, why=_unbelievable(a, logged)) for a in stations]


def _unbelievable(anchor: Anchor, logged: Course | None) -> str:
    against, witnesses = _against(anchor, logged)
    if len(against) < witnesses:
        return ""
    return f"stands {' and '.join(against)}, and no other station confirms it"


def _against(anchor: Anchor, logged: Course | None) -> tuple[list[str], int]:
    """(in words, how far a station stands off each witness that it contradicts; how many witnesses there are)."""
    witnesses = [("the strokes from the drive's start", anchor.misclosure_m, MOST_GAIN)]
    if logged is not None:
        off = anchor.position_m - float(logged.position(np.array([anchor.strokes_m]))[0])
        witnesses.append(("the chainage in the logs", off, LOGGED_GAIN))
    doubt = 3 * float(np.nan_to_num(anchor.sd_m))
    against = [
        f"{off:+.2f} m off {name}"
        for name, off, gain in witnesses
        if abs(off) > max(LEAST_OFF_M, gain * anchor.strokes_m) + doubt
    ]
    return against, len(witnesses)


def _doubts(drive: Surveyed, used: Sequence[Anchor], logged: Course | None) -> tuple[str, ...]:
    """In lines: where the used stations stand off what else is known; misclosures beyond what is usual."""
    name = partial(named, axis=drive.axis, zone=drive.setup.drive.zone)
    against, _ = _against(used[0], logged)
    told = [f"{name(used[0])} stands {' and '.join(against)}"] if against else []
    strained = []
    for before, after in pairwise(used):
        over, moved = after.strokes_m - before.strokes_m, after.misclosure_m - before.misclosure_m
        shows = _gained(logged, before, after)
        extra = abs(moved - shows) > max(SURVEY_M, BEYOND * over)
        if over > 0 and (abs(moved) > max(SURVEY_M, STRAINED * over) or extra):
            seen = (
                ""
                if np.isnan(shows)
                else f"; the chainage in the logs shows {1000 * shows / over:+.1f} there"
            )
            strained.append(
                f"{name(after)}: misclosure {1000 * moved:+.0f} mm over {over:.1f} m, "
                f"{1000 * moved / over:+.1f} per mille{seen}"
            )
    more = len(strained) - MOST_TOLD
    return (
        *told,
        *strained[:MOST_TOLD],
        *([f"and {more} misclosures more of that kind"] if more > 0 else []),
    )


def _gained(logged: Course | None, before: Anchor, after: Anchor) -> float:
    """What the logged chainage gains on the strokes from one anchor to another [m]; NaN where it says nothing."""
    if logged is None:
        return float("nan")
    at = np.array([before.strokes_m, after.strokes_m])
    return float(np.diff(logged.position(at) - at)[0])


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
