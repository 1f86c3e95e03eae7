"""What happened in a shift, gathered once for the text at the terminal and for the page on paper."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from tbmreview.domain.errors import DriveError, UsageError
from tbmreview.domain.findings import Finding
from tbmreview.domain.overrules import Overrule
from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.setup import OPEN_GRIPPER
from tbmreview.domain.shifts import ShiftBounds
from tbmreview.domain.states import State
from tbmreview.domain.table import Table
from tbmreview.drive.columns_text import TIME_COLUMNS
from tbmreview.drive.critical_path import critical_path
from tbmreview.drive.delays import HOUR_US, contradiction_line, contradictions, has_delays, laid_delays
from tbmreview.drive.opened import Drive
from tbmreview.drive.overrule import in_force
from tbmreview.drive.sign_off import signed_text
from tbmreview.drive.time import STATE_COLUMNS, rates, rows_of, time_table
from tbmreview.store.judged import SignOff

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
    signed: the sign-off in words, '' where there is none.
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
    overrules: tuple[Overrule, ...]
    findings: tuple[Finding, ...]
    signed: str

    @property
    def hours(self) -> dict[State, float]:
        """Hours by state, in the order of a shift sheet."""
        names = {**STATE_COLUMNS, State.NO_RECORD: "no_record_h"}
        return {state: self.figures[names[state]] for state in SHEET_ORDER}


@dataclass(frozen=True, slots=True)
class _Drive:
    """What every shift of a drive is gathered from, looked up once."""

    drive: Drive
    shifts: ShiftBounds
    table: Table
    more: Table
    held: Table
    codes: tuple[str, ...]
    contradictions: Table
    sign_offs: dict[int, SignOff]


def reviews(drive: Drive) -> list[ShiftReview]:
    """Every shift from the first record's to the last record's."""
    whole = _gathered(drive)
    return [] if whole is None else [_review(whole, i) for i in range(len(whole.table))]


def chosen_reviews(drive: Drive, day: str | None = None, name: str | None = None) -> list[ShiftReview]:
    """The shifts of a date (YYYY-MM-DD), or the one of a name; without a date those of the last date with a
    record. UsageError for a wrong date or name; DriveError if there is none, which says what there is."""
    try:
        wanted = None if day is None else date.fromisoformat(day)
    except ValueError:
        raise UsageError(f"--date {day}: expected a date such as 2030-05-02") from None
    if name is not None and name not in drive.setup.shifts.names:
        raise UsageError(f"--name {name}: expected one of {', '.join(drive.setup.shifts.names)}")
    whole = _gathered(drive)
    if whole is None:
        raise DriveError(f"{drive.folder}: no shift has a record yet")
    dates, names = whole.shifts.dates, whole.shifts.names
    fitting = [i for i in range(len(dates)) if name in (None, names[i])]
    if wanted is None:
        wanted = max((dates[i] for i in fitting if whole.more["recorded_h"][i] > 0), default=None)
    fitting = [i for i in fitting if dates[i] == wanted]
    if not fitting:
        raise DriveError(f"{drive.folder}: no such shift; there is {dates[0]} to {dates[-1]}")
    return [_review(whole, i) for i in fitting]


def _gathered(drive: Drive) -> _Drive | None:
    rows = rows_of(drive, "shift")
    if rows is None:
        return None
    codes = (*laid_delays(drive).codes, "unexplained") if has_delays(drive) else ()
    tables = time_table(drive), rates(drive), critical_path(drive)
    signed = {one.shift_start_us: one for one in drive.sign_offs()}
    return _Drive(drive, rows.shifts, *tables, codes, contradictions(drive), signed)


def _review(whole: _Drive, row: int) -> ShiftReview:
    drive, table = whole.drive, whole.table
    start, end = whole.shifts.start_us[row : row + 2].tolist()
    numbers = [(name, of) for of in (table, whole.more) for name in of if of[name].dtype.kind == "f"]
    figures = {name: float(of[name][row]) for name, of in numbers}
    added = [name for name in table if name not in TIME_COLUMNS]
    cells = drive.cells.rows(drive.cells["shift_start_us"] == start)
    periods = drive.periods.rows(drive.periods["shift_start_us"] == start)
    strokes = np.unique(cells["stroke_start_us"])
    rings, nominal = _rings(drive, (start, end))
    return ShiftReview(
        whole.shifts.names[row],
        whole.shifts.dates[row],
        start,
        end,
        figures=figures,
        position_m=_stretch(cells),
        strokes=(len(strokes), int((strokes >= start).sum())),
        rings=rings,
        rings_nominal=nominal,
        turning_h=float(periods["head_turning_s"].sum()) / 3600,
        building_h=float(periods["ring_building_s"].sum()) / 3600,
        critical={name: float(whole.held[name][row]) for name in whole.held if name.endswith("_h")},
        held_by=str(whole.held["held_by"][row]),
        delays=tuple((code, figures[name]) for code, name in zip(whole.codes, added, strict=True)),
        contradictions=_contradictions(whole, start, end),
        overrules=in_force(drive, (start, end)),
        findings=tuple(f for f in drive.findings if f.start_us < end and f.end_us > start),
        signed=signed_text(drive, whole.sign_offs[start]) if start in whole.sign_offs else "",
    )


def _stretch(cells: Table) -> tuple[float, float]:
    """From which to which position was bored; NaN where nothing was."""
    if not len(cells):
        return float("nan"), float("nan")
    return float(cells["position_from_m"].min()), float(cells["position_to_m"].max())


def _contradictions(whole: _Drive, start_us: int, end_us: int) -> tuple[str, ...]:
    found = whole.contradictions
    here = np.flatnonzero((found["start_utc"] < end_us) & (found["end_utc"] > start_us))
    return tuple(contradiction_line(whole.drive, found, i) for i in here.tolist())


def _rings(drive: Drive, span_us: tuple[int, int]) -> tuple[tuple[int, int, int] | None, bool]:
    """(first and last current ring and the number completed, whether they are nominal). An open gripper machine
    has none but where its counter goes on."""
    rings = drive.rings
    if drive.setup.machine.kind == OPEN_GRIPPER and len(rings) < 2:
        return None, False
    here = rings.rows((rings["start_us"] < span_us[1]) & (rings["end_us"] > span_us[0]))
    if not len(here):
        return None, False
    later = rings["start_us"][(rings["start_us"] >= span_us[0]) & (rings["start_us"] < span_us[1])]
    completed = int((later > rings["start_us"][0]).sum())
    return (int(here["ring"][0]), int(here["ring"][-1]), completed), bool(here["nominal"].any())


def adding_up(parts: Sequence[float], unit: float) -> list[int]:
    """Parts (none below 0) in whole units that add up to their rounded sum: each is rounded down, and what is then
    lacking goes to the largest remainders."""
    exact = np.round(np.asarray(parts, np.float64) / unit, 9)
    whole = np.floor(exact).astype(np.int64)
    lacking = int(np.floor(exact.sum() + 0.5)) - int(whole.sum())
    whole[np.argsort(whole - exact, kind="stable")[:lacking]] += 1
    return [int(count) for count in whole]


def lasted(minutes: int) -> str:
    """Minutes as '1 h 05 min'."""
    return f"{minutes // 60} h {minutes % 60:02d} min"


def clock(time_us: int, drive: Drive) -> str:
    """The time of day on the site's clock."""
    return f"{datetime.fromtimestamp(time_us / MICROSECONDS, drive.setup.drive.zone):%H:%M}"


def heading(review: ShiftReview, drive: Drive) -> str:
    """'early shift, Thursday 2 May 2030, 06:00 to 14:00 Europe/Oslo (8 h 00 min)'."""
    minutes = round((review.end_us - review.start_us) * 60 / HOUR_US)
    return (
        f"{review.name} shift, {review.day:%A} {review.day.day} {review.day:%B %Y}, {clock(review.start_us, drive)} "
        f"to {clock(review.end_us, drive)} {drive.setup.drive.timezone} ({lasted(minutes)})"
    )
