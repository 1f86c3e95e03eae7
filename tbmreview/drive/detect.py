"""Findings of a drive: they follow the data; ids and verdicts stay with the ground they speak of."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.channels import INFLOW
from tbmreview.domain.findings import Finding
from tbmreview.domain.ground import MAPPED
from tbmreview.domain.setup import Machine
from tbmreview.domain.site import SITE_COLUMNS
from tbmreview.domain.states import Phase
from tbmreview.domain.sums import group_sums, sum_of_all
from tbmreview.domain.table import Column, Table
from tbmreview.drive.alignment import alignment_of
from tbmreview.drive.balance import flagged_balance
from tbmreview.drive.by_day import Sampled
from tbmreview.drive.columns_text import FINDINGS_COLUMNS
from tbmreview.drive.delays import Stated
from tbmreview.drive.disc_lives import DiscWork
from tbmreview.drive.discs import disc_rows
from tbmreview.drive.export import text_table
from tbmreview.drive.face import face_at
from tbmreview.drive.health import health
from tbmreview.drive.history import person
from tbmreview.drive.reading import NO_TIME, reading, sources_of
from tbmreview.drive.water import placed_water
from tbmreview.findings import Profile, detect_all
from tbmreview.findings.detector import Floats, Rows, numbers_of
from tbmreview.findings.health import HOUR_US, by_series, empty_health
from tbmreview.indicators import BY_NAME, indicator_columns
from tbmreview.indicators.record import Worked, ratio
from tbmreview.motion.net_forces import SEEN_STROKE
from tbmreview.store.judged import replace_findings
from tbmreview.store.writing import writing

STOOD_M = 1e-3  # positions so near to each other are one place
SERIES_OF = "series"  # the figure of a finding of the data that says which channel
MOVED_M = 0.5  # less is a step or two of the profile
REACTIONS = 4  # of states.Reaction: a factor of the grouping key


class Seen(Stated, Sampled, Protocol):
    """What detectors look at of a drive: tables, samples, what people state."""

    def stamped_again(self) -> Table:
        """Rows of a log whose stamps it had before: file, line, time_us."""


class Judged(Seen, Protocol):
    """A drive with the findings that were stored in it before."""

    def stored_findings(self, gone: bool = False) -> tuple[Finding, ...]:
        """With ids and verdicts; gone: those that the last detection did not notice any more."""

    def highest_finding(self) -> int:
        """The highest number that a finding ever had."""


def findings(drive: Judged) -> tuple[Finding, ...]:
    """What the detectors notice in the drive as it is now, along position.

    A finding keeps the id and the verdict of the stored one of its kind that it overlaps most, of one that was
    gone too; others are numbered on from the highest number ever given, in order of position. Nothing is
    written.
    """
    found = detect_all(profile_of(drive), drive.setup.findings)
    known = (*drive.stored_findings(), *drive.stored_findings(gone=True))
    return _with_ids(found, known, drive.highest_finding())


def detect(drive: Judged) -> tuple[Finding, ...]:
    """Store what `findings` gives, so that ids last."""
    found = findings(drive)
    keep(drive, found)
    return found


def keep(drive: Judged, found: Sequence[Finding]) -> None:
    """Store findings and what is new, gone or moved since those before; nothing where they are stored already."""
    before = drive.stored_findings()
    if tuple(found) != before:
        with writing(drive.folder, person()) as work:
            replace_findings(work, found, changed(before, found))


def changed(before: Sequence[Finding], now: Sequence[Finding]) -> dict[str, Any]:
    """What is new, gone or moved, as store.judged.ChangeSeen says: a finding moved whose bounds changed by
    MOVED_M or more."""
    old, new = ({f.id: f for f in found} for found in (before, now))
    moved = [
        (name, f.position_from_m - old[name].position_from_m, f.position_to_m - old[name].position_to_m)
        for name, f in new.items()
        if name in old
    ]
    return {
        "new": [name for name in new if name not in old],
        "gone": [name for name in old if name not in new],
        "moved": [(name, low, high) for name, low, high in moved if max(abs(low), abs(high)) >= MOVED_M],
    }


def _with_ids(found: Sequence[Finding], stored: Sequence[Finding], number: int) -> tuple[Finding, ...]:
    """The findings with ids: each of the stored one of its kind that it overlaps most, those noticed last first."""
    pairs = [
        (_overlaps(new, old), i, j)
        for i, new in enumerate(found)
        for j, old in enumerate(stored)
        if _speak_of_one(new, old)
    ]
    kept: dict[int, int] = {}
    for _, i, j in sorted(pairs, key=lambda pair: (-pair[0][0], -pair[0][1], *pair[1:])):
        if i not in kept and j not in kept.values():
            kept[i] = j
    out = []
    for i, new in enumerate(found):
        if i in kept:
            old = stored[kept[i]]
            judged = {
                name: getattr(old, name) for name in ("id", "verdict", "decided_by", "decided_us", "note")
            }
            out.append(replace(new, **judged))
        else:
            number += 1
            out.append(replace(new, id=f"F{number:03d}"))
    return tuple(replace(f, group=out[int(f.group)].id if f.group else "") for f in out)


def _speak_of_one(new: Finding, old: Finding) -> bool:
    """Whether both are of one kind (of a sensor: of one channel) and overlap: along the drive, or in time where the
    face stood."""
    if new.kind != old.kind or new.figures.get(SERIES_OF) != old.figures.get(SERIES_OF):
        return False
    metres, us = _overlaps(new, old)
    return metres > 0 or (metres > -STOOD_M and us > 0)


def _overlaps(one: Finding, other: Finding) -> tuple[float, int]:
    """By how much two findings overlap, (metres, microseconds); negative: apart."""
    metres = min(one.position_to_m, other.position_to_m) - max(one.position_from_m, other.position_from_m)
    return metres, min(one.end_us, other.end_us) - max(one.start_us, other.start_us)


def profile_of(drive: Seen) -> Profile:
    """What detectors look at: cells by 0.1 m step and reaction, loading and unloading of strokes left out."""
    machine = drive.setup.machine
    cells = reading(drive.cells, drive.strokes, machine)
    transient = np.isin(cells["phase"], (Phase.LOADING, Phase.UNLOADING))
    cells = cells.rows(~transient & (cells["advance_m"] > cells["unrecorded_advance_m"]))
    key = cells["step"] * REACTIONS + cells["reaction"]
    distinct, number = np.unique(key, return_inverse=True)
    sums = group_sums(cells, number.astype(np.int64), len(distinct))
    names = ("position_from_m", "position_to_m", "start_us", "end_us", "advance_m")
    rows: dict[str, Column] = {name: sums[name] for name in names}
    rows["reaction"] = distinct % REACTIONS
    seen = cells["drag_code"] == sources_of(drive.strokes).code(SEEN_STROKE)
    rows["drag_seen"] = np.bincount(number, seen, len(distinct)) > 0
    rows["gripper_pressure_bar"] = ratio(sums["gripper_bar_s"], sums["gripper_s"])
    rows |= indicator_columns(sums, machine)
    order = np.argsort(sums["position_from_m"] + sums["position_to_m"], kind="stable")
    in_order = sums.rows(order)

    def over(rows: Rows) -> Mapping[str, float]:
        return _Over(Worked(_Sums(in_order, numbers_of(rows))), machine)

    return Profile(
        Table(rows).rows(order),
        over,
        drive.axis,
        machine=machine,
        strokes=drive.strokes,
        periods=drive.periods,
        site={kind: drive.site_table(kind) for kind in SITE_COLUMNS},
        ground=drive.ground(MAPPED),
        **_beside(drive),
    )


@dataclass(frozen=True, slots=True)
class _Sums(Mapping[str, Floats]):
    """Sums over some rows of a table, each added up when it is asked for: a finding asks for few."""

    table: Table
    at: NDArray[np.int64]
    kept: dict[str, Floats] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Floats:
        if name not in self.kept:
            self.kept[name] = sum_of_all(name, self.table[name].take(self.at)).astype(np.float64)
        return self.kept[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.table)

    def __len__(self) -> int:
        return len(self.table.columns)


@dataclass(frozen=True, slots=True)
class _Over(Mapping[str, float]):
    """Indicators of one row of sums, each worked out when it is asked for."""

    sums: Worked
    machine: Machine

    def __getitem__(self, name: str) -> float:
        return float(BY_NAME[name].function(self.sums, self.machine)[0])

    def __iter__(self) -> Iterator[str]:
        return iter(BY_NAME)

    def __len__(self) -> int:
        return len(BY_NAME)


def _beside(drive: Seen) -> dict[str, Any]:
    """The parts of a profile that are bound to time, and those that follow from tables of the site."""
    hours, face = by_series(health(drive)), face_at(drive.periods, drive.cells)
    inflow = hours.get(INFLOW, empty_health())
    alignment = alignment_of(drive)
    return {
        "rings": flagged_balance(drive),
        "water": placed_water(drive, (face(inflow["hour_us"] + HOUR_US // 2), inflow["mean"])),
        "worn": disc_rows(DiscWork(drive)),
        "health": hours,
        "stamped_again": drive.stamped_again(),
        "position_at": face,
        "bends_m": np.empty(0) if alignment is None else alignment.bends_m(),
        "zone": drive.setup.drive.zone,
    }


def findings_table(drive: Judged, found: Sequence[Finding]) -> Table:
    """Findings of a drive as rows, in FINDINGS_COLUMNS."""
    low, high = (
        np.array([getattr(f, name) for f in found], np.float64)
        for name in ("position_from_m", "position_to_m")
    )
    columns: dict[str, Column] = {
        "position_from_m": low,
        "position_to_m": high,
        "chainage_from_m": drive.axis.chainage_m(low),
        "chainage_to_m": drive.axis.chainage_m(high, ends=True),
        "start_utc": np.array([f.start_us for f in found], np.int64),
        "end_utc": np.array([f.end_us for f in found], np.int64),
        "strength": np.array([f.strength for f in found], np.float64),
        "decided_utc": np.array([NO_TIME if f.decided_us is None else f.decided_us for f in found], np.int64),
    }
    for name in ("id", "kind", "evidence", "verdict", "decided_by", "note", "group"):
        columns[name] = np.array([*(getattr(f, name) for f in found), ""], dtype=object)[:-1]
    return Table({name: columns[name] for name in FINDINGS_COLUMNS})


def findings_text(drive: Judged, found: Sequence[Finding]) -> str:
    """Findings for a terminal: a line of figures each, then the evidence of each in full."""
    rows = findings_table(drive, found)
    if not len(rows):
        return "no findings"
    figures = ("id", "kind", "chainage_from_m", "chainage_to_m", "start_utc", "strength", "verdict", "group")
    columns = (rows[name].tolist() for name in ("id", "evidence", "verdict", "decided_by", "note"))
    evidence = [
        f"{name}: {text}" + (f" {verdict.capitalize()} by {who}{note and f': {note}'}." if who else "")
        for name, text, verdict, who, note in zip(*columns, strict=True)
    ]
    return "\n".join([text_table(rows, drive.setup.drive.zone, figures), "", *evidence])
