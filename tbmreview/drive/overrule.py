"""Overruling what the program made of the log: with reason, name and time; the original stays."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from tbmreview import __version__
from tbmreview.domain.errors import DriveError, UsageError
from tbmreview.domain.overrules import BEGINS, GOES_ON, LEFT_OUT, OVERRULED, USED, Overrule
from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.site import ANCHORS, FOR_EVER_US
from tbmreview.domain.states import REACTION_LABELS, STATE_LABELS, Reaction, State
from tbmreview.domain.table import Column, Table
from tbmreview.drive.delays import texts
from tbmreview.drive.export import text_table
from tbmreview.drive.history import person
from tbmreview.drive.opened import Drive
from tbmreview.drive.reading import NO_TIME
from tbmreview.store.writing import writing

MINUTE_US = 60 * MICROSECONDS
NONE = "none"  # a delay that is none


def overrule(
    drive: Drive, what: str, value: str, span: tuple[str, str | None], reason: str, who: str = ""
) -> Overrule:
    """State something against the program, kept in the drive; what was stated.

    what and value: as domain.overrules.OVERRULED says. span: start and end as '2030-05-02 08:30', local to
    the drive unless the text has an offset; the end may be None for a stroke: a minute. who: by default the
    person at the computer. Open the drive again to see what follows. UsageError if value, span or reason
    will not do; DriveError if no sample lies in the span.
    """
    if not reason.strip():
        raise UsageError("an overrule needs a reason: --reason TEXT")
    value = _value(what, value)
    start, end = _span(what, span, drive.setup.drive.zone)
    if not touches(drive, what, start, end):
        zone, span_us = drive.setup.drive.zone, drive.time_span_us
        there = (
            "it has none yet"
            if span_us is None
            else f"its record runs from {' to '.join(_when(us, zone) for us in span_us)}"
        )
        raise DriveError(
            f"no sample of the drive lies from {_when(start, zone)} to {_when(end, zone)}; {there}"
        )
    one = Overrule(what, start, end, value, reason.strip(), who or person())
    with writing(drive.folder, person()) as work:
        one = replace(one, id=work.add_overrule(one), decided_us=work.now_us)
        work.record(
            "overrule", {"id": one.id, "what": what, "value": value, "start_us": start, "end_us": end}
        )
    return one


def withdraw(drive: Drive, name: str, reason: str, who: str = "") -> Overrule:
    """Take an overrule back: it counts no more, and stays in the drive. DriveError if there is none of the
    name, or it is withdrawn already."""
    known = {one.id: one for one in drive.overrules()}
    one = known.get(name)
    if one is None or one.withdrawn:
        there = ", ".join(o.id for o in in_force(drive)) or "none"
        raise DriveError(f"{drive.folder}: no overrule '{name}' is in force; there is {there}")
    if not reason.strip():
        raise UsageError("withdrawing needs a reason: --reason TEXT")
    by = who or person()
    one = replace(one, withdrawn=True, reason=f"{one.reason}; withdrawn: {reason.strip()}", withdrawn_by=by)
    with writing(drive.folder, person()) as work:
        work.add_overrule(replace(one, decided_by=by))  # each version says who wrote it
        work.record("overrule withdrawn", {"id": name, "reason": reason.strip()})
        return replace(one, withdrawn_us=work.now_us)


def touches(drive: Drive, what: str, start_us: int, end_us: int) -> bool:
    """Whether there is something to overrule in a span of time. A delay may lie outside the record."""
    if what == "delay" or len(drive.samples(start_us, end_us, ())):
        return True
    at = drive.site_table(ANCHORS)["time_us"]
    return what == "anchor" and bool(((at >= start_us) & (at < end_us)).any())


def _value(what: str, value: str) -> str:
    if what not in OVERRULED:
        raise UsageError(f"'{what}': expected one of {', '.join(OVERRULED)}")
    folded = " ".join(value.replace("_", " ").replace("-", " ").split()).casefold()
    if what == "delay":
        return "" if folded == NONE else value.strip()
    if what == "ring":
        if not value.isdigit():
            raise UsageError(f"ring '{value}': expected the number of a ring")
        return str(int(value))
    known = _KNOWN[what]
    if folded not in known:
        raise UsageError(f"{what} '{value}': expected one of {', '.join(dict.fromkeys(known.values()))}")
    return known[folded]


_KNOWN: dict[str, dict[str, str]] = {
    "state": {
        name: label
        for state, label in STATE_LABELS.items()
        if state != State.NO_RECORD
        for name in (label, State(state).name.replace("_", " ").casefold())
    },
    "reaction": {
        name: label
        for code, label in REACTION_LABELS.items()
        for name in (label, Reaction(code).name.casefold())
    },
    "stroke": {BEGINS: BEGINS, GOES_ON: GOES_ON},
    "anchor": {LEFT_OUT: LEFT_OUT, USED: USED},
}


def _span(what: str, span: tuple[str, str | None], zone: ZoneInfo) -> tuple[int, int]:
    start = instant(span[0], zone)
    if span[1] is None and what != "stroke":
        raise UsageError("an overrule has a start and an end: --end TIME")
    end = start + MINUTE_US if span[1] is None else instant(span[1], zone)
    if end <= start:
        raise UsageError(f"the end {span[1]} is not after the start {span[0]}")
    return start, end


def instant(text: str, zone: ZoneInfo) -> int:
    """'2030-05-02 08:30' on the clock of a zone, or with its own offset, as microseconds UTC. UsageError if it
    is no time, or one that a change of the clock leaves out or brings twice."""
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise UsageError(f"'{text}' is no time; write 2030-05-02 08:30") from None
    if moment.tzinfo is None:
        one, other = (moment.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
        if one != other:
            exists = one.astimezone(zone).replace(tzinfo=None, fold=0) == moment
            why = "comes twice" if exists else "does not exist"
            raise UsageError(f"{text} {why} in {zone.key}, the clock was changed; write it as {text}+01:00")
        moment = one
    return round(moment.timestamp() * MICROSECONDS)


def _when(time_us: int, zone: ZoneInfo) -> str:
    return f"{datetime.fromtimestamp(time_us / MICROSECONDS, zone):%Y-%m-%d %H:%M}"


# --- what is in force ---------------------------------------------------------------------------


def in_force(drive: Drive, span_us: tuple[int, int] | None = None) -> tuple[Overrule, ...]:
    """The overrules that count, of all or of those that touch a span of time, in the order of statement."""
    found = tuple(o for o in drive.overrules() if not o.withdrawn)
    if span_us is None:
        return found
    reached = ((o, _reach(drive, o)) for o in found)
    return tuple(o for o, (start, end) in reached if start < span_us[1] and end > span_us[0])


def _reach(drive: Drive, one: Overrule) -> tuple[int, int]:
    """The time whose figures an overrule touches: a station moves all from the one used before it to the one
    used after it."""
    if one.what != "anchor":
        return one.start_us, one.end_us
    anchors = drive.closing.anchors
    if not any(one.start_us <= a.time_us < one.end_us for a in anchors):
        return one.start_us, one.end_us
    used = [a.time_us for a in anchors if not a.why]
    before = max((us for us in used if us < one.start_us), default=NO_TIME)
    return before, min((us for us in used if us >= one.end_us), default=FOR_EVER_US)


def span_of(table: Table) -> tuple[int, int] | None:
    """The time that a table with start_utc and end_utc tells of; None where it does not say."""
    if not {"start_utc", "end_utc"} <= set(table) or not len(table):
        return None
    known = table["start_utc"] != NO_TIME
    if not known.any():
        return None
    return int(table["start_utc"][known].min()), int(table["end_utc"].max())


def counted(drive: Drive, span_us: tuple[int, int] | None = None) -> str:
    """'2 by people (O1 state, O3 ring)', or '0 by people'."""
    found = in_force(drive, span_us)
    names = ", ".join(f"{o.id} {o.what}" for o in found)
    return f"{len(found)} by people" + (f" ({names})" if names else "")


def told_of(drive: Drive, table: Table) -> Mapping[str, str]:
    """What a file says of itself beside its rows: drive, program, overrules in force in its stretch."""
    return {
        "drive": drive.setup.drive.name,
        "program": f"tbmreview {__version__}",
        "overrules": counted(drive, span_of(table)),
    }


def overrule_table(drive: Drive) -> Table:
    """Every overrule, in the order of statement: id, what, start_utc, end_utc, value, reason, decided_by,
    decided_utc, withdrawn ('yes' or ''), withdrawn_by, withdrawn_utc."""
    found: Sequence[Overrule] = drive.overrules()
    columns: dict[str, Column] = {
        "id": texts([o.id for o in found]),
        "what": texts([o.what for o in found]),
        "start_utc": np.array([o.start_us for o in found], np.int64),
        "end_utc": np.array([o.end_us for o in found], np.int64),
        "value": texts([o.value or (NONE if o.what == "delay" else "") for o in found]),
        "reason": texts([o.reason for o in found]),
        "decided_by": texts([o.decided_by for o in found]),
        "decided_utc": np.array([o.decided_us for o in found], np.int64),
        "withdrawn": texts(["yes" if o.withdrawn else "" for o in found]),
        "withdrawn_by": texts([o.withdrawn_by for o in found]),
        "withdrawn_utc": np.array([o.withdrawn_us if o.withdrawn else NO_TIME for o in found], np.int64),
    }
    return Table(columns)


def overrules_text(drive: Drive) -> str:
    """The overrules for a terminal."""
    table = overrule_table(drive)
    return text_table(table, drive.setup.drive.zone) if len(table) else "no overrules"


def effect(before: Drive, after: Drive) -> str:
    """What an overrule changed, in words: advance, boring hours, strokes, rings."""
    olds, news = _totals(before), _totals(after)
    told = [f"{what} {old} -> {news[what]}" for what, old in olds.items() if old != news[what]]
    return "; ".join(told) or "advance, boring hours and counts stay"


def _totals(drive: Drive) -> dict[str, str]:
    cells = drive.cells
    return {
        "advance": f"{cells['advance_m'].sum():.2f} m",
        "boring": f"{cells['boring_s'].sum() / 3600:.2f} h",
        "strokes": f"{len(drive.strokes)}",
        "rings": f"{len(drive.rings)}",
    }
