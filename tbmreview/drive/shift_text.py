"""A shift as text at the terminal: a sheet that an engineer can check line by line and sign."""

from collections.abc import Iterator

from tbmreview.domain.setup import OPEN_GRIPPER
from tbmreview.domain.states import STATE_LABELS
from tbmreview.domain.station import format_chainage
from tbmreview.domain.table import Table
from tbmreview.drive.critical_path import HELD, critical_path
from tbmreview.drive.delays import contradiction_lines
from tbmreview.drive.export import text_table
from tbmreview.drive.notes import notes_text
from tbmreview.drive.opened import Drive
from tbmreview.drive.overrule import NONE, counted
from tbmreview.drive.shift_review import ShiftReview, adding_up, heading, lasted, reviews
from tbmreview.drive.time import rates, time_table

NAME_WIDTH = 17


def shifts_text(drive: Drive) -> str:
    """Every shift, one under the other."""
    found = reviews(drive)
    if not found:
        return "no shift with a record"
    return "\n\n\n".join([*(shift_text(review, drive) for review in found), *_noted(drive)])


def shift_text(review: ShiftReview, drive: Drive) -> str:
    """One shift."""
    first = f"{drive.setup.drive.name}: {heading(review, drive)}"
    lines = [first, "-" * len(first)]
    for name, value in [*facts_of(review, drive), *hours_of(review), *rates_of(review), *rest_of(review)]:
        lines.append(f"{name:<{NAME_WIDTH}}{value}".rstrip())
    blank = f"{'.' * 28}   date {'.' * 14}   (data reviewed; no more than that)"
    lines.append(f"{'signed':<{NAME_WIDTH}}{review.signed or blank}")
    return "\n".join(lines)


def facts_of(review: ShiftReview, drive: Drive) -> Iterator[tuple[str, str]]:
    """What was bored: (name, value) lines."""
    figures = review.figures
    ends = [
        format_chainage(float(drive.axis.chainage_m(position)))
        for position in review.position_m
        if position == position
    ]
    where = f", chainage {ends[0]} to {ends[1]}" if ends else ""
    yield "advance", f"{figures['advance_m']:.2f} m{where}"
    count, begun = review.strokes
    yield "strokes", f"{count} bored in, {begun} of them begun in the shift"
    if review.rings is not None or drive.setup.machine.kind != OPEN_GRIPPER:
        yield "rings", rings_words(review)


def rings_words(review: ShiftReview) -> str:
    """'12 to 19, 7 completed', or that there are none."""
    if review.rings is None:
        return "not logged, and no ring length in the setup"
    first, last, completed = review.rings
    nominal = " (nominal: by ring length, not logged)" if review.rings_nominal else ""
    return f"{first} to {last}, {completed} completed{nominal}"


def hours_of(review: ShiftReview) -> Iterator[tuple[str, str]]:
    """Hours by state, which add up as they stand, and the flags beside the states."""
    parts = [*review.hours.values()]
    shown = [adding_up(parts, unit) for unit in (0.01, 1 / 60, review.figures["total_h"] / 1000)]
    labels = [STATE_LABELS[state] for state in review.hours]
    rows = [*zip(labels, *shown, strict=True), ("total", *map(sum, shown))]
    for i, (label, hundredths, minutes, permille) in enumerate(rows):
        said = f"{label:<31}{hundredths / 100:6.2f} h {lasted(minutes):>12} {permille / 10:5.1f} %"
        yield "" if i else "hours", said
    building = f"; ring building {review.building_h:.2f} h, beside boring too" if review.building_h else ""
    yield "", f"head turning {review.turning_h:.2f} h{building}"


def rates_of(review: ShiftReview) -> Iterator[tuple[str, str]]:
    """Rates, each with what it is divided by; other denominators than the calendar where they differ."""
    f = review.figures
    over = [("", f"of the calendar ({f['total_h']:.2f} h)", "m/h of the calendar")]
    if f["recorded_h"] != f["total_h"]:
        over.append(("_recorded", f"of recorded time ({f['recorded_h']:.2f} h)", "m/h of recorded time"))
    if f["working_h"] != f["total_h"]:
        over.append(("_working", f"of working shifts ({f['working_h']:.2f} h)", "m/h of working shifts"))
    used = [(f[f"utilisation{key or '_calendar'}"], of) for key, of, _ in over]
    yield "utilisation", "; ".join(f"{value:.3f} {of}" for value, of in used if value == value)
    rate = f["penetration_rate_m_h"]
    yield "penetration rate", f"{rate:.2f} m/h of boring" if rate == rate else "nothing bored"
    made = [(f[f"advance_rate{key}_m_h"], of) for key, _, of in over]
    yield "advance rate", "; ".join(f"{value:.2f} {of}" for value, of in made if value == value)


def rest_of(review: ShiftReview) -> Iterator[tuple[str, str]]:
    """Critical path, delays, contradictions, findings and overrules."""
    yield "critical path", path_words(review)
    yield "delays", delays_words(review)
    yield from _listed(
        "contradictions", review.contradictions, "none" if review.delays else "no delays to check"
    )
    ids = ", ".join(f.id for f in review.findings)
    yield "findings", f"{ids} (see tbmreview findings)" if ids else "none; that does not mean safe ground"
    said = tuple(
        f"{o.id} {o.what} '{o.value or NONE}' by {o.decided_by}: {o.reason}" for o in review.overrules
    )
    yield from _listed("overrules", said, "0 by people")


def path_words(review: ShiftReview) -> str:
    """Who held the critical path: 'boring longest: boring 4.00 h; regrip 0.50 h; …'."""
    told = [
        f"{words} {review.critical[name]:.2f} h" for name, words in HELD.items() if review.critical[name] > 0
    ]
    beside = review.critical["ring_while_boring_h"]
    held = f"{review.held_by} held longest: {'; '.join(told)}" if review.held_by else "nothing of the cycle"
    more = f" (a ring built beside it for {beside:.2f} h of boring)" if beside > 0 else ""
    return f"{held}; other {review.critical['other_h']:.2f} h{more}"


def delays_words(review: ShiftReview) -> str:
    """The delays of a shift and its hours without a reason."""
    if not review.delays:
        return "no table of delays given"
    told = [f"{code} {hours:.2f} h" for code, hours in review.delays if hours > 0 or code == "unexplained"]
    return "; ".join(told)


def _listed(name: str, lines: tuple[str, ...], none: str) -> Iterator[tuple[str, str]]:
    for number, line in enumerate(lines or (none,)):
        yield ("" if number else name), line


def sums_text(drive: Drive, by: str) -> str:
    """Days, the drive, or lost hours: the table, and below it other denominators and contradictions."""
    tables = [time_table(drive, by)]
    if by != "delay":
        start = tables[0]["shift_start_utc"]
        tables.append(Table({"shift_start_utc": start, **rates(drive, by).columns}))
        tables.append(critical_path(drive, by))
    parts = [text_table(table, drive.setup.drive.zone) for table in tables if len(table)]
    parts = parts or ["no shift with a record"]
    lines = [f"contradiction: {line}" for line in contradiction_lines(drive)]
    return "\n\n".join([*parts, *_noted(drive), "\n".join([*lines, f"overrules: {counted(drive)}"])])


def _noted(drive: Drive) -> list[str]:
    """What the log does not show, where there is such."""
    text = notes_text(drive)
    return [text] if text else []
