"""Rules that look at the rows around a value: sensors that stick, jumps that no machine makes, -1 for *none*.

They see the rows of a day in order of time, merged from all its files, and up to REACH rows of the day before
and of the day behind; so how the rows were divided into files changes nothing. Each channel is looked at over
the rows that measured it: another recorder's rows between them are no neighbours.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.samples import MICROSECONDS, Samples
from tbmreview.ingest.clean import STRONG, WEAK, Mask, Values, suspects

REACH = 1_200  # _STUCK_ROWS_AT_MOST and twice _CARRIED_ROWS
STUCK = "stuck: repeats to the last digit while the machine bores"
JUMP = "a jump that no machine makes"
NO_READING = "a number that stands for no reading"

# A reading that repeats this long while others change is stuck (common practice, no source).
_STUCK_S, _STUCK_ROWS, _STUCK_ROWS_AT_MOST = 120, 30, 600
_CARRIED_ROWS = 300  # from a reading that is stuck to the others of its run that are taken for stuck too
_SHOWN_ROWS = 640  # a longer run of a number shows no reading on both sides
_NEAR_ROWS, _TIMES_USUAL = 60, 3  # a step from a reading to a number for none is greater than those around it
_PUSHED_ROWS = 30  # over which the stroke shows whether its cylinders push
_PUSHED_MM = 5.0  # twice the noise of a stroke sensor
# A number so often told for no reading, and so rarely not, is that in every row.
_TOLD_RUNS, _TOLD_SHARE, _BRIEF_ROWS = 3, 0.8, 3
_TURNING_RPM, _ADVANCING_MM_MIN = 0.5, 5.0

Marks = dict[tuple[str, str], Mask]  # (rule, channel) -> (n,)
# Channel -> how many of its units one unit is in which a source wrote it.
Scales = Mapping[str, Collection[float]]


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


class _Seen:
    """The k rows that measured a channel, in order of time.

    values: (k,) in its unit; span: their extremes. codes: (k,) of `clean.suspects`, None where there are none.
    """

    def __init__(self, rows: Samples, name: str, scales: Collection[float]) -> None:
        self._rows, self.name = rows, name
        self.at: slice | NDArray[np.int64] = slice(None)
        self.values = rows.values[name]
        if len(self.values) and np.isnan(self.values.min()):
            self.at = np.flatnonzero(~np.isnan(self.values))
            self.values = self.values[self.at]
        self.span = (self.values.min(), self.values.max()) if len(self.values) else (np.nan, np.nan)
        self.codes = _codes(self.values, self.span, scales)

    def __len__(self) -> int:
        return len(self.values)

    @property
    def time_us(self) -> NDArray[np.int64]:
        """(k,) stamps."""
        return self._rows.time_us[self.at]

    def other(self, name: str) -> Values | None:
        """(k,) of another channel, NaN where not measured; None where the log has none."""
        values = self._rows.values.get(name)
        return None if values is None else values[self.at]

    @property
    def has_auxiliaries(self) -> bool:
        """Whether the log has any channel of the auxiliary cylinders."""
        return any(name.startswith("aux_") for name in self._rows.values)

    def marks(self, some: Mask) -> Mask:
        """Marks of the k rows as marks of all rows."""
        if isinstance(self.at, slice):
            return some
        out = np.zeros(len(self._rows), bool)
        out[self.at] = some
        return out


def _codes(values: Values, span: tuple[float, float], scales: Collection[float]) -> NDArray[np.int8] | None:
    """`clean.suspects` of values as a source in one of these scales wrote them."""
    out = None
    for scale in sorted(scales):
        codes = suspects(values, span, scale)
        if codes is not None:
            out = codes if out is None else np.maximum(out, codes)
    return out


def judge(rows: Samples, scales: Scales) -> Marks:
    """Every value of channels in LIMITS that the rules make missing; none is marked by two rules.

    rows: in order of time, channels that are not in LIMITS aside. scales: of the sources of a channel that write
    it in one column; a number for *no reading* is one as written.
    """
    found: Marks = {}
    for name in rows.values:
        seen = _Seen(rows, name, scales.get(name, ()))
        if len(seen) < 3:
            continue
        taken = np.zeros(len(seen), bool)
        for rule, some in (
            (NO_READING, _no_reading(seen)),
            (JUMP, _jumps(seen, LIMITS[name])),
            (STUCK, _stuck(seen)),
        ):
            if some is not None and (some & ~taken).any():
                found[rule, name] = seen.marks(some & ~taken)
                taken |= some
    return found


def _jumps(seen: _Seen, limit: Limit) -> Mask | None:
    """Readings far from those on both sides, which agree with each other."""
    values, (lowest, highest) = seen.values, seen.span
    if not highest - lowest > limit.step:
        return None
    step = np.abs(np.diff(values))
    edges = np.flatnonzero(step > limit.step)
    if len(edges) < 2:
        return None
    seconds = (seen.time_us[edges + 1] - seen.time_us[edges]) / MICROSECONDS
    smaller = np.minimum(np.abs(values[edges]), np.abs(values[edges + 1]))
    edges = edges[step[edges] > limit.step + limit.rate * seconds + limit.share * smaller]
    marks = np.zeros(len(values), bool)
    for up, down in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        run = values[up + 1 : down + 1]
        back = abs(values[down + 1] - values[up]) <= limit.step / 2
        if len(run) <= limit.rows and back and not marks[up] and np.all(run == run[0]):
            marks[up + 1 : down + 1] = True
    return marks


def _no_reading(seen: _Seen) -> Mask | None:
    """Numbers that stand for no reading: those that the readings beside them do not lead to, and the codes
    that mostly do so, in any row."""
    codes = seen.codes
    if codes is None:
        return None
    marks = np.zeros(len(seen), bool)
    told: dict[int, list[tuple[bool, int]]] = {}
    for start, end in runs(codes != 0):
        marks[start:end] = _is_apart(seen.values, start, end, int(codes[start]), LIMITS[seen.name].level)
    working = _advancing(seen) if seen.name in _NEVER_MINUS_ONE else None
    if working is not None:
        marks |= (codes == WEAK) & working
    for start, end in runs(codes != 0):
        told.setdefault(int(codes[start]), []).append((bool(marks[start]), end - start))
    known = [code for code, runs_of_it in told.items() if _is_sentinel(code, runs_of_it)]
    if known:
        marks |= np.isin(codes, known)
    return marks


def _is_apart(values: Values, start: int, end: int, code: int, level: float) -> bool:
    """Whether the readings beside a run of a suspect number do not lead to it: they are further from it than `level`,
    and than readings near by are from each other."""
    near = (values[max(start - _NEAR_ROWS, 0) : start], values[end : end + _NEAR_ROWS])
    steps = np.abs(np.concatenate([np.diff(some) for some in near]))
    level = max(level, _TIMES_USUAL * float(np.median(steps))) if len(steps) else level
    sides = [
        abs(values[i] - values[j]) > level
        for i, j in ((start - 1, start), (end, end - 1))
        if 0 <= i < len(values)
    ]
    shown = end - start <= _SHOWN_ROWS
    if code >= STRONG:
        return all(sides) if sides and shown else end - start > 1
    return shown and len(sides) == 2 and all(sides)


def _is_sentinel(code: int, seen: Sequence[tuple[bool, int]]) -> bool:
    """Whether a number plainly stands for no reading most times that it comes; seen: of each run of it, whether
    it was told, and its length. -1 that lasts may be the reading at rest and is left to the rows around it."""
    often = sum(told for told, _ in seen)
    brief = code != WEAK or max(length for _, length in seen) <= _BRIEF_ROWS
    return brief and often >= _TOLD_RUNS and often >= _TOLD_SHARE * len(seen)


def _advancing(seen: _Seen) -> Mask | None:
    """Whether the head turns and advances by the readings of other channels; None: cannot tell."""
    others = {name: None if name == seen.name else seen.other(name) for name in _NEVER_MINUS_ONE}
    speed, turning = others["advance_speed_mm_min"], others["head_speed_rpm"]
    per_turn = others["penetration_mm_rev"]
    if per_turn is not None and turning is not None and (speed is None or np.isnan(speed).any()):
        by_turn = per_turn * turning
        speed = by_turn if speed is None else np.where(np.isnan(speed), by_turn, speed)
    if speed is None:
        return None
    moving = speed > _ADVANCING_MM_MIN
    if turning is not None:
        moving &= ~(np.abs(turning) <= _TURNING_RPM)
    return np.asarray(moving)


def _stuck(seen: _Seen) -> Mask | None:
    """Repeats of one reading for minutes, while the machine bores and two other readings change; within
    such a run the standstills too, but not before or after it, where a still reading is honest."""
    if seen.name not in STUCK_CANDIDATES or len(seen) < _STUCK_ROWS:
        return None
    still = np.zeros(len(seen), bool)
    still[1:] = seen.values[1:] == seen.values[:-1]
    if not _has_run(still):
        return None
    working = _advancing(seen)
    if working is None or not _has_run(repeats := still & working):
        return None
    changes = _lively(seen)
    if changes.pop(seen.name, None) is None or len(changes) < 2:
        return None
    repeats &= np.sum(list(changes.values()), axis=0, dtype=np.int8) >= 2
    if seen.name.startswith("main_") and seen.has_auxiliaries:
        repeats &= _pushed(seen)
    marks, time_us = np.zeros(len(seen), bool), seen.time_us
    for start, end in runs(repeats):
        length, seconds = end - start, (time_us[end - 1] - time_us[start - 1]) / MICROSECONDS
        if length >= _STUCK_ROWS_AT_MOST or (length >= _STUCK_ROWS and seconds >= _STUCK_S):
            marks[start:end] = True
    return _carried(marks, repeats, still) if marks.any() else None


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


def _pushed(seen: _Seen) -> Mask:
    """Whether the main cylinders have extended over the last rows: closed, they rightly read the same."""
    stroke = seen.other("main_stroke_mm")
    moved = np.zeros(len(seen), bool)
    if stroke is not None:
        moved[_PUSHED_ROWS:] = stroke[_PUSHED_ROWS:] - stroke[:-_PUSHED_ROWS] > _PUSHED_MM
    return moved


def runs(marks: Mask) -> list[tuple[int, int]]:
    """(start, end) of each run of True, end excluded."""
    edges = np.flatnonzero(np.diff(np.r_[False, marks, False].astype(np.int8)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _lively(seen: _Seen) -> dict[str, Mask]:
    """The stuck candidates that change at most rows where others change, and those that read 0 in all rows:
    channel -> (k,) where it changes.

    A reading printed coarsely, or calm by nature, repeats often and proves nothing by it.
    """
    columns = {name: column for name in STUCK_CANDIDATES if (column := seen.other(name)) is not None}
    changes = {name: np.r_[False, np.abs(np.diff(column)) > 0] for name, column in columns.items()}
    busy = np.asarray(np.sum(list(changes.values()), axis=0, dtype=np.int8) >= 2)
    if busy.sum() < _STUCK_ROWS:
        return {}
    return {
        name: change
        for name, change in changes.items()
        if _mostly(change, busy) or np.fmax.reduce(np.abs(columns[name])) == 0
    }


def _mostly(change: Mask, busy: Mask) -> bool:
    """Whether a reading changes at most busy rows, at least once the runs are left out that are stuck if any is."""
    if change[busy].mean() > 0.5:
        return True
    left = busy.copy()
    for start, end in runs(~change):
        if end - start >= _STUCK_ROWS_AT_MOST:
            left[start:end] = False
    return bool(left.sum() >= _STUCK_ROWS_AT_MOST and change[left].mean() > 0.5)
