"""The time ribbon of a shift: a row a state, flags and rings, delays and overrules laid over, advance against time.

A row a state says which it is by its place, so that the ribbon reads without colour; darkness is for boring.
"""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.states import STATE_LABELS, State
from tbmreview.domain.table import Table
from tbmreview.drive.delays import Laid, laid_delays, shared
from tbmreview.drive.face import face_in_time
from tbmreview.drive.opened import Drive
from tbmreview.drive.shift_review import SHEET_ORDER, ShiftReview, adding_up
from tbmreview.scene.look import Look
from tbmreview.scene.measure import text_width
from tbmreview.scene.plan import Box, Boxes, Floats, Item, Label, Segments, Whole, level
from tbmreview.scene.ticks import nice_step, value_text, value_ticks

HOUR_US = 3600 * MICROSECONDS
QUARTER_US = HOUR_US // 4
LABELS = {**STATE_LABELS, State.TURNING_LOADED: "turning loaded"}
ROLES: dict[State, str] = {
    State.BORING: "state-boring",
    State.TURNING_FREE: "state-turning",
    State.REGRIP: "state-cycle",
    State.RING_BUILD: "state-cycle",
    State.TURNING_LOADED: "state-loaded",
    State.STANDING: "state-standing",
    State.NO_RECORD: "state-missing",
}
FLAGS = (("head turning", "head_turning_s"), ("ring building", "ring_building_s"))
ROW, GAP = 430.0, 50.0  # a row and what lies between two
HOURS_ROOM = 2_300.0  # right of the rows, for hours and share


@dataclass(frozen=True, slots=True)
class Times:
    """What the ribbon shows of a shift."""

    review: ShiftReview
    zone: ZoneInfo
    periods: Table
    cells: Table
    rings: Table
    laid: Laid
    start_m: float


@dataclass(frozen=True, slots=True)
class Along:
    """The page from left to right as time: x of an instant, not clipped."""

    left: float
    right: float
    span_us: tuple[int, int]

    def x(self, time_us: Whole | Floats) -> Floats:
        """Page x of instants (n,), those beyond the span at its edge."""
        low, high = self.span_us
        share = (np.asarray(time_us, np.float64) - low) / (high - low)
        return self.left + np.clip(share, 0.0, 1.0) * (self.right - self.left)


def times_of(drive: Drive, review: ShiftReview) -> Times:
    """What the ribbon of a shift shows of a drive."""
    key = review.start_us
    periods, cells, rings = drive.periods, drive.cells, drive.rings
    here = (rings["start_us"] < review.end_us) & (rings["end_us"] > review.start_us)
    before = drive.cells["end_us"] <= review.start_us
    start_m = float(cells["position_to_m"][before].max()) if before.any() else 0.0
    return Times(
        review,
        drive.setup.drive.zone,
        periods.rows(periods["shift_start_us"] == key),
        cells.rows(cells["shift_start_us"] == key),
        rings.rows(here & (review.rings is not None)),
        laid_delays(drive),
        review.position_m[0] if review.position_m[0] == review.position_m[0] else start_m,
    )


def ribbon(times: Times, box: Box, look: Look) -> list[Item]:
    """The whole ribbon in a box: rows from the top, the curve of advance in what is left, the clock below."""
    along = Along(
        box.left + look.gutter, box.right - HOURS_ROOM, (times.review.start_us, times.review.end_us)
    )
    foot = box.bottom - look.axis_row
    y, items = box.top, []
    for state in SHEET_ORDER:
        items += _state_row(times, state, along, y, look)
        y += ROW + GAP
    y += GAP
    for name, column in FLAGS:
        items += _flag_row(times, (name, column), along, y, look)
        y += ROW + GAP
    items += _ring_row(times, along, y, look)
    y += ROW + GAP
    items += _delay_row(times, along, y, look)
    y += 1.3 * ROW + GAP
    items += _overrule_row(times, along, y, look)
    y += ROW + 2 * GAP
    curve = Box(along.left, y, along.right - along.left, foot - y)
    x, clock = clock_axis(times, along, Box(along.left, foot, curve.width, look.axis_row), look)
    grid = Segments("grid", x, level(box.top, x), x, level(foot, x))
    return [grid, *items, *advance_curve(times, along, curve, look), *clock]


def clock_axis(times: Times, along: Along, box: Box, look: Look) -> tuple[Floats, list[Item]]:
    """Full hours of the site's clock: their x, and ticks with texts. An hour that comes twice is there twice; on
    both sides of a change of the clock stands its offset."""
    low, high = along.span_us
    every = 1 if high - low <= 13 * HOUR_US else 2
    quarters = range(low - low % QUARTER_US, high + 1, QUARTER_US)  # no zone is off by less
    at = [us for us in quarters if us >= low and _is_full(us, times.zone, every)]
    x = along.x(np.array(at, np.int64))
    items: list[Item] = [Segments("tick", x, level(box.top, x), x, level(box.top + 1.5 * look.pad, x))]
    base = box.top + 1.5 * look.pad + look.small
    for place, text in zip(x.tolist(), _clock_texts(at, times.zone), strict=True):
        items.append(Label("small", place, base, text, look.small, "centre"))
    words = f"Time [{times.zone.key}]"
    items.append(
        Label("strong", box.left + box.width / 2, base + 1.35 * look.text, words, look.text, "centre")
    )
    return x, items


def _is_full(us: int, zone: ZoneInfo, every: int) -> bool:
    moment = datetime.fromtimestamp(us // MICROSECONDS, zone)
    return moment.minute == 0 and moment.hour % every == 0


def _clock_texts(at: list[int], zone: ZoneInfo) -> list[str]:
    """'02:00' of each instant, '02:00 CEST' beside a change of the clock."""
    moments = [datetime.fromtimestamp(us // MICROSECONDS, zone) for us in at]
    offsets = [moment.utcoffset() for moment in moments]
    texts = []
    for i, moment in enumerate(moments):
        changes = len({*offsets[max(i - 1, 0) : i + 2]}) > 1
        texts.append(f"{moment:%H:%M} {moment.tzname()}" if changes else f"{moment:%H:%M}")
    return texts


# --- rows ---------------------------------------------------------------------------------------


def _name(text: str, along: Along, y: float, look: Look, role: str = "small") -> Label:
    room = look.gutter - look.margin - look.pad
    return Label(role, along.left - look.pad * 2, y + ROW * 0.72, text, look.small, "right", room=room)


def _beside(text: str, along: Along, y: float, look: Look, share: str = "") -> list[Item]:
    """Right of a row: its hours, and their share of the shift."""
    x, base = along.right + HOURS_ROOM - look.pad, y + ROW * 0.72
    room = text_width("100 %", look.small) + 2 * look.pad
    return [
        Label("small", x - room, base, text, look.small, "right"),
        Label("unit", x, base, share, look.small, "right"),
    ]


def _base(along: Along, y: float) -> Segments:
    """The line on which a row stands."""
    bottom = np.array([y + ROW])
    return Segments("grid", np.array([along.left]), bottom, np.array([along.right]), bottom)


def _state_row(times: Times, state: State, along: Along, y: float, look: Look) -> list[Item]:
    mine = times.periods.rows(times.periods["state"] == state)
    starts, ends = mine["start_us"], mine["end_us"]
    if state == State.NO_RECORD and len(times.periods):  # the shift before and after the record, too
        starts = np.r_[times.review.start_us, starts, times.periods["end_us"][-1]]
        ends = np.r_[times.periods["start_us"][0], ends, times.review.end_us]
    elif state == State.NO_RECORD:
        starts, ends = np.array([times.review.start_us]), np.array([times.review.end_us])
    kept = ends > starts
    left, right = along.x(starts[kept]), along.x(ends[kept])
    hatch = "schistose" if state == State.NO_RECORD else ""
    hours, share = _shown(times.review)[state]
    return [
        _base(along, y),
        Boxes(ROLES[state], left, level(y, left), np.maximum(right, left + look.column), level(y + ROW, left), hatch),
        _name(LABELS[state], along, y, look, "strong" if state == State.BORING else "small"),
        *_beside(hours, along, y, look, share),
    ]  # fmt: skip


def _shown(review: ShiftReview) -> dict[State, tuple[str, str]]:
    """Hours and per cent of each state as they stand beside the rows: both add up."""
    parts = [*review.hours.values()]
    hundredths, percent = (adding_up(parts, unit) for unit in (0.01, review.figures["total_h"] / 100))
    shown = zip(review.hours, hundredths, percent, strict=True)
    return {state: (f"{hours / 100:.2f} h", f"{share} %") for state, hours, share in shown}


def _flag_row(times: Times, flag: tuple[str, str], along: Along, y: float, look: Look) -> list[Item]:
    """A flag by period: as high as the share of the period in which it holds."""
    name, column = flag
    periods = times.periods
    share = periods[column] * MICROSECONDS / np.maximum(periods["end_us"] - periods["start_us"], 1)
    held = share > 0.01
    left, right = along.x(periods["start_us"][held]), along.x(periods["end_us"][held])
    top = y + ROW * (1 - np.minimum(share[held], 1.0))
    return [
        _base(along, y),
        Boxes("state-flag", left, top, np.maximum(right, left + look.column), level(y + ROW, left)),
        _name(f"{name}, share", along, y, look),
        *_beside(f"{float(periods[column].sum()) / 3600:.2f} h", along, y, look),
    ]


def _ring_row(times: Times, along: Along, y: float, look: Look) -> list[Item]:
    """Upright lines where a ring became current, its number where there is room."""
    nominal = " (nominal)" if times.review.rings_nominal else ""
    items: list[Item] = [_base(along, y), _name(f"current ring{nominal}", along, y, look)]
    edges = along.x(np.append(times.rings["start_us"], times.rings["end_us"][-1:]))
    inside = edges[(edges > along.left) & (edges < along.right)]
    items.append(Segments("tick", inside, level(y, inside), inside, level(y + ROW, inside)))
    for left, right, number in zip(
        edges[:-1].tolist(), edges[1:].tolist(), times.rings["ring"].tolist(), strict=True
    ):
        if text_width(str(number), look.small) + look.pad < right - left:
            items.append(Label("unit", (left + right) / 2, y + ROW * 0.72, str(number), look.small, "centre"))
    if times.review.rings is not None:
        items += _beside(f"{times.review.rings[2]} built", along, y, look)
    return items


def _delay_row(times: Times, along: Along, y: float, look: Look) -> list[Item]:
    """Delays as the site stated them; a heavy line under what contradicts the log."""
    laid, low, high = times.laid, *along.span_us
    here = (laid.start_us < high) & (laid.end_us > low)
    left, right = along.x(laid.start_us[here]), along.x(laid.end_us[here])
    items: list[Item] = [_name("delays, by the site", along, y, look)]
    items.append(Boxes("state-delay", left, level(y, left), right, level(y + ROW, left)))
    sides = np.concatenate([left, right])
    items.append(Segments("tick", sides, level(y, sides), sides, level(y + ROW, sides)))
    for a, b, code in zip(left.tolist(), right.tolist(), laid.code[here].tolist(), strict=True):
        if b - a > 3 * look.pad:
            room, base = b - a - 2 * look.pad, y + ROW * 0.72
            items.append(Label("small", a + look.pad, base, laid.codes[code], look.small, room=room))
    boring = times.periods.rows(times.periods["state"] == State.BORING)
    both = shared((laid.start_us[here], laid.end_us[here]), (boring["start_us"], boring["end_us"]))
    x1, x2, under = along.x(both[0]), along.x(both[1]), y + ROW * 1.12
    if len(x1):
        items.append(Segments("off-scale", x1, level(under, x1), x2, level(under, x2)))
    stated = [hours for code, hours in times.review.delays if code != "unexplained"]
    words = f"{sum(stated):.2f} h" if times.review.delays else "none given"
    items += _beside(words, along, y, look)
    return items


def _overrule_row(times: Times, along: Along, y: float, look: Look) -> list[Item]:
    """A bracket an overrule in force; one that reaches into the shift from another is counted only."""
    items: list[Item] = [_base(along, y), _name("overruled by people", along, y, look)]
    low, high = along.span_us
    for one in times.review.overrules:
        if one.start_us >= high or one.end_us <= low:
            continue
        a, b = along.x(np.array([one.start_us, one.end_us])).tolist()
        b = max(b, a + look.pad)
        y1, y2 = np.array([y + ROW * 0.25] * 3), np.array([y + ROW * 0.25, *[y + ROW * 0.8] * 2])
        items.append(Segments("frame", np.array([a, a, b]), y1, np.array([b, a, b]), y2))
        items.append(Label("small", a + look.pad, y + ROW * 0.8, f"{one.id} {one.what}", look.small))
    items += _beside(str(len(times.review.overrules)), along, y, look)
    return items


# --- advance ------------------------------------------------------------------------------------


def course(times: Times) -> tuple[Whole, Floats]:
    """Instants (n,) us and the advance since the shift began [m]."""
    time_us, position = face_in_time(times.periods, times.cells)
    return time_us, position - times.start_m


def advance_curve(times: Times, along: Along, box: Box, look: Look) -> list[Item]:
    """Advance against time, with its scale at left and its end at right."""
    time_us, metres = course(times)
    most = max(float(metres[-1]) if len(metres) else 0.0, 0.5)
    high = nice_step(most / 5) * np.ceil(most * 1.04 / nice_step(most / 5))
    marks = value_ticks(0.0, float(high), 0.2)
    y = box.bottom - marks / high * box.height
    items: list[Item] = [Segments("grid", level(box.left, y), y, level(box.right, y), y)]
    for value, place in zip(marks.tolist(), y.tolist(), strict=True):
        base = min(max(place + look.small * 0.35, box.top + look.small * 0.75), box.bottom)
        items.append(Label("small", box.left - 1.5 * look.pad, base, value_text(value), look.small, "right"))
    x0, y0 = look.margin + box.left - look.gutter, box.top + look.text * 0.85
    items.append(Label("strong", x0, y0, "Advance", look.text))
    items.append(Label("unit", x0, y0 + 1.35 * look.small, "m since the shift began", look.small))
    sides = np.array([box.left, box.left]), np.array([box.top, box.bottom])
    items.append(Segments("frame", *sides, np.array([box.left, box.right]), np.array([box.bottom] * 2)))
    if len(metres) > 1:
        x, line = along.x(time_us), box.bottom - metres / high * box.height
        items.append(Segments("line-single", x[:-1], line[:-1], x[1:], line[1:]))
        items.append(
            Label("strong", box.right + look.pad, float(line[-1]) + look.small * 0.35, f"{metres[-1]:.2f} m", look.small)
        )  # fmt: skip
    return items
