"""What lies under a point of a picture, as words and values to read out."""

import math
from dataclasses import dataclass

from tbmreview.domain.findings import Finding
from tbmreview.domain.ground import MAPPED, SEEN_WORDS
from tbmreview.domain.station import format_chainage
from tbmreview.domain.table import Table
from tbmreview.scene import class_rows, ground_rows, reaction
from tbmreview.scene.class_list import CLASSES_BY_NAME, ClassRow
from tbmreview.scene.compose import stated_step_m
from tbmreview.scene.look import WINDOW, Look
from tbmreview.scene.plan import Box, Plan
from tbmreview.scene.session import Session
from tbmreview.scene.source import Source
from tbmreview.scene.strips import BY_NAME, REACTION, Strip
from tbmreview.scene.ticks import value_text

NEAR_COLUMNS = 4  # a finding is met when the point is within so many pixel columns of it


@dataclass(frozen=True, slots=True)
class Reading:
    """One value: the strip's name, its label ('Thrust, net'), the value as text ('' not measured), unit."""

    strip: str
    label: str
    value: str
    unit: str


@dataclass(frozen=True, slots=True)
class ReadOut:
    """What lies under a point.

    position_m and chainage; strip: name of the strip or row under the point, '' between them;
    interval: chainages of the step that the readings are of, '' where nothing was bored;
    readings: every shown strip's values there; ground: (kind, rock) of each kind shown;
    finding: the nearest one under the point, or None; classes: of every shown row of classes, the unit its scheme.
    """

    position_m: float
    chainage: str
    strip: str
    interval: str
    readings: tuple[Reading, ...]
    ground: tuple[tuple[str, str], ...]
    finding: Finding | None
    classes: tuple[Reading, ...] = ()

    def lines(self) -> tuple[str, ...]:
        """The read-out as lines of text."""
        said = [f"{self.chainage} m" + (f" (values of {self.interval})" if self.interval else "")]
        said += [
            f"{r.label}: {r.value or 'not measured'} {r.unit if r.value else ''}".rstrip()
            for r in self.readings
        ]
        said += [f"{r.label}: {r.value or 'not given'} {r.unit}".rstrip() for r in self.classes]
        said += [f"{kind}: {rock}" for kind, rock in self.ground]
        if self.finding is not None:
            said.append(f"{self.finding.id}: {self.finding.evidence}")
        return tuple(said)


def position_at(plan: Plan, x: float) -> float | None:
    """Position [m] under a page x, None left or right of the plot."""
    if not plan.plot.left <= x <= plan.plot.right:
        return None
    low, high = plan.view_m
    return low + (x - plan.plot.left) / plan.plot.width * (high - low)


def strip_at(plan: Plan, y: float) -> str:
    """Name of the strip or row at a page y, '' where there is none."""
    frames: list[tuple[str, Box]] = [(f.name, f.box) for f in plan.strips] + [
        (r.name, r.box) for r in plan.rows
    ]
    return next((name for name, box in frames if box.top <= y <= box.bottom), "")


def read_out(
    source: Source, session: Session, plan: Plan, x: float, y: float, look: Look = WINDOW
) -> ReadOut | None:
    """What lies under the point (x, y) in units; None beside the plot."""
    position = position_at(plan, x)
    if position is None:
        return None
    axis = source.axis
    column_m = (plan.view_m[1] - plan.view_m[0]) / max(plan.plot.width / look.column, 1)
    table = source.profile(stated_step_m(session, column_m))
    row = row_at(table, position)
    interval = ""
    if row is not None:
        ends = [axis.chainage_m(float(table["position_from_m"][row]))]
        ends += [axis.chainage_m(float(table["position_to_m"][row]), ends=True)]
        interval = " to ".join(format_chainage(float(end)) for end in ends)
    rows = [CLASSES_BY_NAME[row.name] for row in plan.rows if row.name in CLASSES_BY_NAME]
    return ReadOut(
        position,
        format_chainage(float(axis.chainage_m(position))),
        strip_at(plan, y),
        interval,
        tuple(r for f in plan.strips for r in _readings(BY_NAME[f.name], table, row)),
        _ground(source, session, position),
        finding_at(source.findings(), position, NEAR_COLUMNS * column_m),
        tuple(_class(source, session, row, position) for row in rows),
    )


def row_at(table: Table, position_m: float) -> int | None:
    """The row that covers a position, None in a gap."""
    row = int(table["position_to_m"].searchsorted(position_m, side="right"))
    if row == len(table) or table["position_from_m"][row] > position_m:
        return None
    return row


def finding_at(findings: tuple[Finding, ...], position_m: float, near_m: float) -> Finding | None:
    """The nearest finding within near_m, the strongest of those that cover the position."""
    best: tuple[float, float] | None = None
    found = None
    for finding in findings:
        away = max(finding.position_from_m - position_m, position_m - finding.position_to_m, 0.0)
        rank = (away, -finding.strength)
        if away <= near_m and (best is None or rank < best):
            best, found = rank, finding
    return found


def _readings(strip: Strip, table: Table, row: int | None) -> list[Reading]:
    found = []
    for series in strip.series:
        if series.column not in table:
            continue
        value = math.nan if row is None else float(table[series.column][row])
        if strip.kind == REACTION:
            found.append(Reading(strip.name, strip.label, "" if row is None else reaction.word(value), ""))
            continue
        label = strip.label if series.role == "single" else f"{strip.label}, {series.role}"
        text = value_text(round(value, strip.decimals)) if math.isfinite(value) else ""
        found.append(Reading(strip.name, label, text, strip.unit))
    return found


def _class(source: Source, session: Session, row: ClassRow, position_m: float) -> Reading:
    table = ground_rows.table_shown(source, session, row.kind)
    classed = class_rows.classes_shown(source, session, row.kind)[row.stem]
    at = row_at(table, position_m)
    text, scheme = ("", "") if at is None else (str(classed.text[at]), str(classed.scheme[at]))
    kind = "" if row.kind == MAPPED else f", {row.kind}"
    return Reading(row.name, f"{row.label} class{kind}", text, f"({scheme})" if scheme else "")


def _seen(table: Table, row: int) -> str:
    """', seen in window, 2031-03-02'; '' where it is not told."""
    how, when = (str(table[name][row]) for name in ("seen_how", "seen_when"))
    return "".join(f", {text}" for text in (SEEN_WORDS.get(how, ""), when) if text)


def _ground(source: Source, session: Session, position_m: float) -> tuple[tuple[str, str], ...]:
    found = []
    for kind in ground_rows.kinds(source):
        table = ground_rows.table_shown(source, session, kind)
        row = row_at(table, position_m)
        rock = "" if row is None else str(table["rock"][row]) or str(table["hatch"][row])
        found.append((kind, "not given" if row is None else rock + _seen(table, row)))
    return tuple(found)
