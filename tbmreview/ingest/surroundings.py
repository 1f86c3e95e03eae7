"""Rules that look at the rows around a value: sensors that stick, jumps that no machine makes, -1 for *none*.

No rule looks further than REACH rows either way, and `Window` shows each row that far in both
directions, so what is found does not depend on where the blocks of a file end.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.samples import MICROSECONDS
from tbmreview.ingest.clean import STRONG, WEAK, Mask, Values

REACH = 1_200  # _STUCK_ROWS_AT_MOST and twice _CARRIED_ROWS
STUCK = "stuck: repeats to the last digit while the machine bores"
JUMP = "a jump that no machine makes"
NO_READING = "a number that stands for no reading"

# A reading that repeats this long while others change is stuck (common practice, no source).
_STUCK_S, _STUCK_ROWS, _STUCK_ROWS_AT_MOST = 120, 30, 600
_CARRIED_ROWS = 300  # from a reading that is stuck to the others of its run that are taken for stuck too
_SHOWN_ROWS = 640  # a longer run of a number shows no reading on both sides
_PUSHED_ROWS = 30  # over which the stroke shows whether its cylinders push
_PUSHED_MM = 5.0  # twice the noise of a stroke sensor
# A number so often told for no reading, and so rarely not, is that in every row.
_TOLD_RUNS, _TOLD_SHARE, _BRIEF_ROWS = 3, 0.8, 3
_TURNING_RPM, _ADVANCING_MM_MIN = 0.5, 5.0

Sentinels = Mapping[str, frozenset[int]]  # channel -> codes of `clean.suspects`


@dataclass(frozen=True, slots=True)
class Limit:
    """What a channel may do from one row to the next, in its unit (common practice, no source).

    A change beyond step + rate * seconds + share * the smaller reading, undone within `rows` rows, is
    no movement of a machine. level: how far a reading at work is from the numbers for *no reading*.
    """

    step: float
    rate: float
    share: float
    rows: int
    level: float


LIMITS: Mapping[str, Limit] = {
    "main_stroke_mm": Limit(150, 50, 0, 3, 100),
    "aux_stroke_mm": Limit(150, 50, 0, 3, 100),
    "chainage_m": Limit(2, 0.02, 0, 3, 10),
    "head_speed_rpm": Limit(3, 1.5, 0, 1, 1),
    "main_thrust_kN": Limit(10_000, 5_000, 2, 1, 500),
    "aux_thrust_kN": Limit(10_000, 5_000, 2, 1, 500),
    "torque_kNm": Limit(5_000, 3_000, 2, 1, 200),
    "head_power_kW": Limit(3_000, 2_000, 2, 1, 200),
    "penetration_mm_rev": Limit(60, 60, 2, 1, 2),
    "advance_speed_mm_min": Limit(600, 600, 2, 1, 10),
    "main_pressure_bar": Limit(300, 300, 2, 1, 30),
    "aux_pressure_bar": Limit(300, 300, 2, 1, 30),
    "gripper_pressure_bar": Limit(300, 300, 2, 1, 30),
    "gripper_force_kN": Limit(10_000, 10_000, 2, 1, 500),
}
# Readings that change at every row while the machine bores, if their print is fine enough.
STUCK_CANDIDATES = (
    "main_thrust_kN",
    "main_pressure_bar",
    "torque_kNm",
    "head_power_kW",
    "penetration_mm_rev",
    "advance_speed_mm_min",
)
# They cannot read -1 while the head turns and advances.
_NEVER_MINUS_ONE = (
    "torque_kNm",
    "head_speed_rpm",
    "head_power_kW",
    "penetration_mm_rev",
    "advance_speed_mm_min",
)


@dataclass(frozen=True, slots=True)
class Rows:
    """n rows in file order with valid stamps.

    lines, time_us: (n,). values: channel -> (n,) in its unit. suspects: channel -> (n,) codes of
    `clean.suspects`, absent where there are none.
    """

    lines: NDArray[np.int64]
    time_us: NDArray[np.int64]
    values: dict[str, Values]
    suspects: dict[str, NDArray[np.int8]]

    def __len__(self) -> int:
        return len(self.lines)

    def cut(self, start: int, end: int) -> "Rows":
        """Rows start <= i < end, of the channels that rules look at, as views."""
        values = {name: v[start:end] for name, v in self.values.items() if name in LIMITS}
        codes = {name: c[start:end] for name, c in self.suspects.items()}
        return Rows(self.lines[start:end], self.time_us[start:end], values, codes)


@dataclass(frozen=True, slots=True)
class Fault:
    """A rule marks values, (n,), of a channel."""

    rule: str
    channel: str
    marks: Mask


@dataclass(slots=True)
class Window:
    """Gives rows on once REACH rows after them are known, each with the faults found in it.

    lively: channels of STUCK_CANDIDATES that change at most rows of the file (see `lively`). sentinels: the
    numbers that stand for no reading wherever they are (see `sentinels`).
    """

    lively: frozenset[str]
    sentinels: Sentinels = field(default_factory=dict)
    _before: list[Rows] = field(default_factory=list)
    _waiting: list[Rows] = field(default_factory=list)

    def push(self, rows: Rows) -> Iterator[tuple[Rows, list[Fault]]]:
        """Take in the next rows; give those on that are now settled."""
        self._waiting.append(rows)
        while sum(map(len, self._waiting[1:])) >= REACH:
            yield self._settle()

    def rest(self) -> Iterator[tuple[Rows, list[Fault]]]:
        """What is left at the end of the file."""
        while self._waiting:
            yield self._settle()

    def _settle(self) -> tuple[Rows, list[Fault]]:
        rows = self._waiting.pop(0)
        after, wanted = [], REACH
        for later in self._waiting:
            after.append(later.cut(0, wanted))
            wanted -= len(after[-1])
            if wanted <= 0:
                break
        start = sum(map(len, self._before))
        view = _joined([*self._before, rows.cut(0, len(rows)), *after])
        own = slice(start, start + len(rows))
        faults = [
            Fault(f.rule, f.channel, f.marks[own]) for f in find_faults(view, self.lively, self.sentinels)
        ]
        self._remember(rows)
        return rows, [f for f in faults if f.marks.any()]

    def _remember(self, rows: Rows) -> None:
        past = [*self._before, rows.cut(max(0, len(rows) - REACH), len(rows))]
        while len(past) > 1 and sum(map(len, past[1:])) >= REACH:
            past.pop(0)
        self._before = past


def _joined(parts: Sequence[Rows]) -> Rows:
    if len(parts) == 1:
        return parts[0]
    names = {name for part in parts for name in part.suspects}
    none = [np.zeros(len(part), np.int8) for part in parts]
    return Rows(
        np.concatenate([p.lines for p in parts]),
        np.concatenate([p.time_us for p in parts]),
        {name: np.concatenate([p.values[name] for p in parts]) for name in parts[0].values},
        {
            name: np.concatenate([p.suspects.get(name, no) for p, no in zip(parts, none, strict=True)])
            for name in names
        },
    )


def find_faults(rows: Rows, lively: frozenset[str], sentinels: Sentinels) -> list[Fault]:
    """Every value that the rules make missing; none is marked by two rules."""
    found: list[Fault] = []
    for name, values in rows.values.items():
        marks = {
            NO_READING: _no_reading(rows, name, sentinels.get(name, ())),
            JUMP: _jumps(values, rows.time_us, LIMITS[name]),
        }
        if name in lively:
            marks[STUCK] = _stuck(rows, name, lively)
        taken = np.zeros(len(rows), bool)
        for rule, some in marks.items():
            if some is not None and (some & ~taken).any():
                found.append(Fault(rule, name, some & ~taken))
                taken |= some
    return found


def _jumps(values: Values, time_us: NDArray[np.int64], limit: Limit) -> Mask | None:
    """Readings far from those on both sides, which agree with each other."""
    if len(values) < 3:
        return None
    step = np.abs(np.diff(values))
    if not np.fmax.reduce(step) > limit.step:
        return None
    seconds = np.clip(np.diff(time_us), 0, None) / MICROSECONDS
    smaller = np.minimum(np.abs(values[1:]), np.abs(values[:-1]))
    edges = np.flatnonzero(step > limit.step + limit.rate * seconds + limit.share * smaller)
    marks = np.zeros(len(values), bool)
    for up, down in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        run = values[up + 1 : down + 1]
        back = abs(values[down + 1] - values[up]) <= limit.step / 2
        if len(run) <= limit.rows and back and not marks[up] and np.all(run == run[0]):
            marks[up + 1 : down + 1] = True
    return marks


def _no_reading(rows: Rows, name: str, known: Collection[int] = ()) -> Mask | None:
    """Runs of suspect numbers that the readings beside them do not lead to; known: codes that stand for no
    reading in any row."""
    codes = rows.suspects.get(name)
    if codes is None or not codes.any():
        return None
    values, level = rows.values[name], LIMITS[name].level
    marks = np.zeros(len(values), bool)
    for start, end in runs(codes != 0):
        sides = [
            abs(values[i] - values[j]) > level
            for i, j in ((start - 1, start), (end, end - 1))
            if 0 <= i < len(values) and np.isfinite(values[i])
        ]
        shown = end - start <= _SHOWN_ROWS
        strong = codes[start] >= STRONG and (all(sides) if sides and shown else end - start > 1)
        weak = codes[start] == WEAK and shown and len(sides) == 2 and all(sides)
        marks[start:end] = strong or weak
    if name in _NEVER_MINUS_ONE:
        working = _advancing(rows, name)
        if working is not None:
            marks |= (codes == WEAK) & working
    if known:
        marks |= np.isin(codes, list(known)) & np.isfinite(values)
    return marks


def sentinels(parts: Sequence[Rows]) -> Sentinels:
    """Of a file's sample, in parts: the numbers that plainly stand for no reading most times that they come.

    -1 that lasts, or stands in many rows, may be the reading at rest and is left to the rows around it.
    """
    told: dict[str, dict[int, list[tuple[bool, int]]]] = {}
    for rows in parts:
        for name, codes in rows.suspects.items():
            marks = _no_reading(rows, name)
            if marks is not None:
                for start, end in runs(codes != 0):
                    one = told.setdefault(name, {}).setdefault(int(codes[start]), [])
                    one.append((bool(marks[start]), end - start))
    return {
        name: frozenset(c for c, seen in by.items() if _is_sentinel(c, seen)) for name, by in told.items()
    }


def _is_sentinel(code: int, seen: Sequence[tuple[bool, int]]) -> bool:
    """seen: of each run of the number, whether it was told, and its length."""
    often = sum(told for told, _ in seen)
    brief = code != WEAK or max(length for _, length in seen) <= _BRIEF_ROWS
    return brief and often >= _TOLD_RUNS and often >= _TOLD_SHARE * len(seen)


def _advancing(rows: Rows, without: str) -> Mask | None:
    """Whether the head turns and advances by the readings other than `without`; None: cannot tell."""
    get = {name: v for name, v in rows.values.items() if name != without}.get
    speed, per_turn = get("advance_speed_mm_min"), get("penetration_mm_rev")
    turning = get("head_speed_rpm")
    if speed is None and per_turn is not None and turning is not None:
        speed = per_turn * turning
    if speed is None:
        return None
    moving = speed > _ADVANCING_MM_MIN
    if turning is not None:
        moving = moving & (np.abs(turning) > _TURNING_RPM)
    return np.asarray(moving)


def _stuck(rows: Rows, name: str, lively: frozenset[str]) -> Mask | None:
    """Repeats of one reading for minutes, while the machine bores and two other readings change; within
    such a run the standstills too, but not before or after it, where a still reading is honest."""
    values = rows.values[name]
    if len(values) < _STUCK_ROWS:
        return None
    repeats = np.r_[False, values[1:] == values[:-1]]
    others = [rows.values[n] for n in STUCK_CANDIDATES if n in lively and n in rows.values and n != name]
    if len(others) < 2 or not _has_run(repeats):
        return None
    working = _advancing(rows, name)
    if working is None or not _has_run(repeats := repeats & working):
        return None
    repeats &= np.sum([np.r_[False, x[1:] != x[:-1]] for x in others], axis=0, dtype=np.int8) >= 2
    if name.startswith("main_") and any(n.startswith("aux_") for n in rows.values):
        repeats &= _pushed(rows)
    marks = np.zeros(len(values), bool)
    still = np.r_[False, values[1:] == values[:-1]]
    for start, end in runs(repeats):
        length, seconds = end - start, (rows.time_us[end - 1] - rows.time_us[start - 1]) / MICROSECONDS
        if length >= _STUCK_ROWS_AT_MOST or (length >= _STUCK_ROWS and seconds >= _STUCK_S):
            marks[start:end] = True
    return _carried(marks, repeats, still) if marks.any() else marks


def _carried(marks: Mask, repeats: Mask, still: Mask) -> Mask:
    """With the rest of each stuck run: what repeats at work near by, and the standstills between."""
    out = marks.copy()
    place = np.arange(len(marks))
    run = np.cumsum(~still)  # rows of one run share its number
    for more in (repeats, np.ones(len(marks), bool)):
        before = np.maximum.accumulate(np.where(out, place, -1))
        after = np.minimum.accumulate(np.where(out, place, len(marks))[::-1])[::-1]
        left = (before >= 0) & (place - before <= _CARRIED_ROWS) & (run[np.maximum(before, 0)] == run)
        right = (after < len(marks)) & (after - place <= _CARRIED_ROWS)
        right &= run[np.minimum(after, len(marks) - 1)] == run
        out |= (left | right) & more if more is repeats else left & right
    return out


def _has_run(marks: Mask) -> bool:
    """Whether there may be a run of _STUCK_ROWS marks: it covers one of the stretches of half its length."""
    half = _STUCK_ROWS // 2
    return bool(marks[: len(marks) // half * half].reshape(-1, half).all(axis=1).any())


def _pushed(rows: Rows) -> Mask:
    """Whether the main cylinders have extended over the last rows: closed, they rightly read the same."""
    stroke = rows.values.get("main_stroke_mm")
    moved = np.zeros(len(rows), bool)
    if stroke is not None:
        moved[_PUSHED_ROWS:] = stroke[_PUSHED_ROWS:] - stroke[:-_PUSHED_ROWS] > _PUSHED_MM
    return moved


def runs(marks: Mask) -> list[tuple[int, int]]:
    """(start, end) of each run of True, end excluded."""
    edges = np.flatnonzero(np.diff(np.r_[False, marks, False].astype(np.int8)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def lively(values: Mapping[str, Values]) -> frozenset[str]:
    """Of a file's sample, (n,) each: the stuck candidates that change at most rows where others change,
    and those that read 0 in all of it.

    A reading printed coarsely, or calm by nature, repeats often and proves nothing by it.
    """
    present = {n: values[n] for n in STUCK_CANDIDATES if n in values and len(values[n]) > 1}
    changes = {n: v[1:] != v[:-1] for n, v in present.items()}
    if not changes:
        return frozenset()
    busy = np.sum(list(changes.values()), axis=0) >= 2
    if busy.sum() < _STUCK_ROWS:
        return frozenset()
    return frozenset(n for n, change in changes.items() if change[busy].mean() > 0.5 or not present[n].any())
