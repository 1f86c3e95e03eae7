"""What happened in a shift, gathered once for the text at the terminal and for the page on paper."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from tbmreview.domain.errors import DriveError, UsageError
from tbmreview.domain.findings import Finding
from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.states import State
from tbmreview.drive.columns_text import TIME_COLUMNS
from tbmreview.drive.critical_path import critical_path
from tbmreview.drive.delays import contradiction_lines, has_delays, laid_delays
from tbmreview.drive.opened import Drive
from tbmreview.drive.overrule import in_force
from tbmreview.drive.time import HOUR_US, STATE_COLUMNS, rates, rows_of, time_table

# The states in the order of a shift sheet: the cycle first, then what was lost.
SHEET_ORDER = (
    State.BORING,
    State.TURNING_FREE,
    State.REGRIP,
    State.RING_BUILD,
    State.TURNING_LOADED,
    State.STANDING,
    State.NO_RECORD,
)


@dataclass(frozen=True, slots=True)
class ShiftReview:
    """One shift. Hours in h, positions and advance in m, rates in m/h; NaN is not known.

    figures: time_table and rates by column. delays: hours of each code and of 'unexplained', where the site
    stated any. rings: first and last current ring and how many were completed; None without rings.
    turning_h, building_h: head turning, and ring building whatever the state, by the flags beside it.
    critical: what held the drive, by critical_path.CRITICAL_COLUMNS; held_by: which of it longest.
    """

    name: str
    day: date
    start_us: int
    end_us: int
    figures: dict[str, float]
    position_m: tuple[float, float]
    strokes: tuple[int, int]
    rings: tuple[int, int, int] | None
    rings_nominal: bool
    turning_h: float
    building_h: float
    critical: dict[str, float]
    held_by: str
    delays: tuple[tuple[str, float], ...]
    contradictions: tuple[str, ...]
    overrules: tuple[str, ...]
    findings: tuple[Finding, ...]

    @property
    def hours(self) -> dict[State, float]:
        """Hours by state, in the order of a shift sheet."""
        names = {**STATE_COLUMNS, State.NO_RECORD: "no_record_h"}
        return {state: self.figures[names[state]] for state in SHEET_ORDER}


def reviews(drive: Drive) -> list[ShiftReview]:
    """Every shift from the first record's to the last record's."""
    rows = rows_of(drive, "shift")
    if rows is None:
        return []
    table, more, held = time_table(drive), rates(drive), critical_path(drive)
    stated = has_delays(drive)
    codes = [*laid_delays(drive).codes, "unexplained"] if stated else []
    out = []
    for i, (name, day) in enumerate(zip(rows.shifts.names, rows.shifts.dates, strict=True)):
        start, end = rows.shifts.start_us[i : i + 2].tolist()
        figures = {
            n: float(t[n][i]) for t in (table, more) for n in t if n not in ("shift", "shift_start_utc")
        }
        added = [n for n in table if n not in TIME_COLUMNS]
        delays = [(code, figures[column]) for code, column in zip(codes, added, strict=True)]
        critical = {n: float(held[n][i]) for n in held if n.endswith("_h")}
        path = (critical, str(held["held_by"][i]))
        out.append(_review(drive, (name, day), (start, end), (figures, path, delays)))
    return out


def chosen_reviews(drive: Drive, day: str | None = None, name: str | None = None) -> list[ShiftReview]:
    """The shifts of a date (YYYY-MM-DD), or the one of a name; without a date those of the last date with a
    record. UsageError for a wrong date or name; DriveError if there is none, which says what there is."""
    try:
        wanted = None if day is None else date.fromisoformat(day)
    except ValueError:
        raise UsageError(f"--date {day}: expected a date such as 2030-05-02") from None
    if name is not None and name not in drive.setup.shifts.names:
        raise UsageError(f"--name {name}: expected one of {', '.join(drive.setup.shifts.names)}")
    found = reviews(drive)
    fitting = [r for r in found if name in (None, r.name)]
    if wanted is None:
        wanted = max((r.day for r in fitting if r.figures["recorded_h"] > 0), default=None)
    fitting = [r for r in fitting if r.day == wanted]
    if not fitting:
        there = f"{found[0].day} to {found[-1].day}" if found else "none with a record"
        raise DriveError(f"{drive.folder}: no such shift; there is {there}")
    return fitting


def _review(
    drive: Drive,
    called: tuple[str, date],
    span_us: tuple[int, int],
    told: tuple[dict[str, float], tuple[dict[str, float], str], Sequence[tuple[str, float]]],
) -> ShiftReview:
    figures, (critical, held_by), delays = told
    cells = drive.cells.rows(drive.cells["shift_start_us"] == span_us[0])
    periods = drive.periods.rows(drive.periods["shift_start_us"] == span_us[0])
    bored = len(cells) > 0
    low = float(cells["position_from_m"].min()) if bored else np.nan
    high = float(cells["position_to_m"].max()) if bored else np.nan
    starts = np.unique(cells["stroke_start_us"])
    rings, nominal = _rings(drive, span_us)
    return ShiftReview(
        *called,
        *span_us,
        figures=figures,
        position_m=(low, high),
        strokes=(len(starts), int((starts >= span_us[0]).sum())),
        rings=rings,
        rings_nominal=nominal,
        turning_h=float(periods["head_turning_s"].sum()) / 3600,
        building_h=float(periods["ring_building_s"].sum()) / 3600,
        critical=critical,
        held_by=held_by,
        delays=tuple(delays),
        contradictions=tuple(contradiction_lines(drive, span_us)),
        overrules=tuple(
            f"{o.id} {o.what} '{o.value}' by {o.decided_by}: {o.reason}" for o in in_force(drive, span_us)
        ),
        findings=tuple(f for f in drive.findings if f.start_us < span_us[1] and f.end_us > span_us[0]),
    )


def _rings(drive: Drive, span_us: tuple[int, int]) -> tuple[tuple[int, int, int] | None, bool]:
    """(first and last current ring and the number completed, whether they are nominal)."""
    rings = drive.rings
    here = rings.rows((rings["start_us"] < span_us[1]) & (rings["end_us"] > span_us[0]))
    if not len(here):
        return None, False
    later = rings["start_us"][(rings["start_us"] >= span_us[0]) & (rings["start_us"] < span_us[1])]
    completed = int((later > rings["start_us"][0]).sum())
    return (int(here["ring"][0]), int(here["ring"][-1]), completed), bool(here["nominal"].any())


def lasted(hours: float) -> str:
    """Hours as '1 h 05 min'."""
    minutes = round(hours * 60)
    return f"{minutes // 60} h {minutes % 60:02d} min"


def clock(time_us: int, drive: Drive) -> str:
    """The time of day on the site's clock."""
    return f"{datetime.fromtimestamp(time_us / MICROSECONDS, drive.setup.drive.zone):%H:%M}"


def heading(review: ShiftReview, drive: Drive) -> str:
    """'early shift, Thursday 2 May 2030, 06:00 to 14:00 Europe/Oslo (8 h 00 min)'."""
    hours = (review.end_us - review.start_us) / HOUR_US
    return (
        f"{review.name} shift, {review.day:%A} {review.day.day} {review.day:%B %Y}, {clock(review.start_us, drive)} "
        f"to {clock(review.end_us, drive)} {drive.setup.drive.timezone} ({lasted(hours)})"
    )
