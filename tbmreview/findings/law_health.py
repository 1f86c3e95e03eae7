"""Laws of the machine that stop holding: a unit that jumps, a sensor that drifts, a reading that is wrong.

Each law compares two readings of one thing. Its ratio is compared with its usual value in this drive, hour by hour.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.domain.robust import MAD_TO_SIGMA
from tbmreview.domain.table import Table
from tbmreview.findings.channel_health import CHECK, LEAST_HOUR_S, runs
from tbmreview.findings.detector import Floats, Profile
from tbmreview.findings.health import HOUR_US, SERIES
from tbmreview.findings.laws import LAWS, Law
from tbmreview.findings.moments import in_time, label
from tbmreview.findings.unit_factors import MEANING, telltale

UNIT, LAW, DRIFT = "unit jump", "physics test fails", "channel drifts"
SCORE = 5.0  # robust deviations of a law's usual scatter, that its ratio must be off besides
FIRST_HOURS = 24  # of boring, that show the constant of a law which nobody states
# Shares of its size that a jump has in its first hour, and at most in the hour before; else it is a drift.
ABRUPT, CALM = 0.7, 0.3
LEAST_S = 900.0  # of boring: in less, free rotation, an approach and a restart may make up most of it
LEAST_OF_LEVEL = 3.0  # a factor by which ground does not change the level of a reading from hours to hours
TOGETHER = 0.5  # of the shorter of two times, that they share, and are one cause


@dataclass(frozen=True, slots=True)
class Off:
    """Hours in which a law's ratio is `off` its usual value: factor, usual, when, whether it came at once."""

    law: Law
    start_us: int
    end_us: int
    factor: float
    usual: float
    abrupt: bool
    hours: int


def laws_hold(profile: Profile, settings: FindingSettings) -> list[tuple[Finding, frozenset[str]]]:
    """Intervals of time in which laws of the machine do not hold as they usually do, one for each cause, with the
    channels of these laws."""
    rows = {law.name: profile.health[law.name] for law in LAWS if law.name in profile.health}
    offs = [off for law in LAWS if law.name in rows for off in off_usual(law, rows[law.name], settings)]
    return [
        (_finding(profile, cause, _seen(rows, cause)), frozenset(n for off in cause for n in off.law.terms))
        for cause in _causes(offs)
    ]


# --- one law ------------------------------------------------------------------------------------


def off_usual(law: Law, rows: Table, settings: FindingSettings) -> list[Off]:
    """Runs of hours of boring in which a law's ratio is off its usual value."""
    rows = rows.rows((rows["bored_s"] >= LEAST_HOUR_S) & (rows["middle"] > 0))
    if len(rows) < 2:
        return []
    level, low, high = (np.log(rows[name]) for name in ("middle", "middle_low", "middle_high"))
    usual, scatter = _usual(law, level)
    least = max(np.log(settings.health_factor), SCORE * scatter)
    block = least + float(np.median(high - low))
    off = np.abs(level - usual) > least
    part = (high - usual > block) | (low - usual < -block)
    off |= part & (np.r_[off[1:], False] | np.r_[False, off[:-1]])  # the hour in which it begins or ends
    if not law.over:  # a window of a stroke may hold a pause
        off |= part & ((high - usual > 3 * block) | (low - usual < -3 * block))
    at = np.flatnonzero(off)
    if not len(at):
        return []
    out = []
    for first, last in runs(np.r_[True, np.diff(at) > 1]).tolist():
        one = _off(law, rows, (int(at[first]), int(at[last])), (level, usual, least))
        if one is not None:
            out.append(one)
    return out


def _usual(law: Law, level: Floats) -> tuple[float, float]:
    """(usual log ratio, its robust scatter from hour to hour)."""
    pool = level[:FIRST_HOURS]
    if law.fixed:
        within = level[(level >= np.log(law.low)) & (level <= np.log(law.high))]
        if len(within) < max(2, 0.1 * len(level)):
            return 0.0, 0.0
        pool = within[: max(FIRST_HOURS, len(within) // 2)]
    usual = float(np.median(pool))
    return usual, MAD_TO_SIGMA * float(np.median(np.abs(pool - usual)))


def _off(law: Law, rows: Table, span: tuple[int, int], of: tuple[Floats, float, float]) -> Off | None:
    first, last = span
    level, usual, least = of
    if float(rows["bored_s"][first : last + 1].sum()) < LEAST_S:
        return None
    inside = level[first : last + 1]
    farthest = inside[np.argmax(np.abs(inside - usual))]
    same = inside[np.abs(inside - usual) > 0.5 * abs(farthest - usual)]
    factor = float(np.median(same if len(same) else inside)) - usual
    if abs(factor) <= least and len(inside) < 2:
        factor = _of_block(rows, first, usual)
    size = np.abs(level - usual) / max(abs(factor), least)
    enters = first + 1 if last > first and _mixed(rows, first, usual, least) else first
    abrupt = first == 0 or (size[enters] >= ABRUPT and size[first - 1] <= CALM)
    return Off(
        law,
        *_bounds(rows, span, usual, least),
        float(np.exp(factor)),
        float(np.exp(usual)),
        bool(abrupt),
        last - first + 1,
    )


def _of_block(rows: Table, hour: int, usual: float) -> float:
    ends = np.log([rows["middle_low"][hour], rows["middle_high"][hour]]) - usual
    return float(ends[np.argmax(np.abs(ends))])


def _mixed(rows: Table, hour: int, usual: float, least: float) -> bool:
    """Whether the hour has ten minutes at which the law holds and others at which it does not."""
    ends = np.abs(np.log([rows["middle_low"][hour], rows["middle_high"][hour]]) - usual)
    return bool(ends.min() <= least < ends.max())


def _bounds(rows: Table, span: tuple[int, int], usual: float, least: float) -> tuple[int, int]:
    """When it begins and ends [us]: to ten minutes in an hour that is mixed, else to the hour."""
    first, last = span
    start, end = int(rows["hour_us"][first]), int(rows["hour_us"][last]) + HOUR_US
    turns = [int(rows["turn_us"][i]) for i in span]
    mixed = [_mixed(rows, i, usual, least) for i in span]
    if last > first:
        start = turns[0] if mixed[0] and turns[0] > start else start
        end = turns[1] if mixed[1] and turns[1] >= end - HOUR_US else end
    return start, end


# --- one cause ----------------------------------------------------------------------------------


def _causes(offs: Sequence[Off]) -> list[list[Off]]:
    """The laws that are off at one time, together."""
    causes: list[list[Off]] = []
    for off in sorted(offs, key=lambda one: (one.start_us, one.end_us)):
        for cause in causes:
            if all(off.law.name != other.law.name for other in cause) and _together(off, cause[0]):
                cause.append(off)
                break
        else:
            causes.append([off])
    return causes


def _together(one: Off, other: Off) -> bool:
    shared = min(one.end_us, other.end_us) - max(one.start_us, other.start_us)
    return shared >= TOGETHER * min(one.end_us - one.start_us, other.end_us - other.start_us)


def _seen(rows: dict[str, Table], cause: list[Off]) -> set[str]:
    """The laws that had figures in the time of a cause."""
    start, end = _span(cause)
    return {
        name
        for name, table in rows.items()
        if np.any(
            (table["hour_us"] >= start - HOUR_US)
            & (table["hour_us"] < end)
            & (table["bored_s"] >= LEAST_HOUR_S)
        )
    }


def _span(cause: Sequence[Off]) -> tuple[int, int]:
    return min(off.start_us for off in cause), max(off.end_us for off in cause)


def suspects(cause: Sequence[Off], seen: set[str]) -> dict[str, float]:
    """Channels that alone explain the laws that are off, and no law that holds: by what factor each would read."""
    off = {one.law.name: one for one in cause}
    names = dict.fromkeys(name for one in cause for name in one.law.terms)
    out = {}
    for name in names:
        of = [law for law in LAWS if name in law.terms and law.name in seen]
        if {law.name for law in of} != set(off):
            continue
        factors = [np.log(off[law.name].factor) * law.terms[name] for law in of]
        if max(factors) - min(factors) <= 0.1 + 0.1 * float(np.abs(factors).max()):
            out[name] = float(np.exp(np.mean(factors)))
    return out


def _by_level(profile: Profile, named: dict[str, float], span: tuple[int, int]) -> dict[str, float]:
    """Of several channels the one whose own level while boring jumped by its factor, if one alone did so and no ground
    changes a level by so much; else all of them."""
    jumped = {}
    for name, factor in named.items():
        size, rows = abs(float(np.log(factor))), profile.health.get(name)
        if rows is None or size < np.log(LEAST_OF_LEVEL):
            continue
        bored = (rows["bored_s"] >= LEAST_HOUR_S) & (np.abs(rows["middle"]) > 0)
        inside = (
            bored & (rows["hour_us"] >= span[0] - HOUR_US // 2) & (rows["hour_us"] < span[1] - HOUR_US // 2)
        )
        if not inside.any() or not (bored & ~inside).any():
            continue
        level, beside = (
            float(np.median(np.log(np.abs(rows["middle"][of])))) for of in (inside, bored & ~inside)
        )
        if abs(abs(level - beside) - size) <= 0.4 * size:
            jumped[name] = factor
    return jumped if len(jumped) == 1 else named


def _finding(profile: Profile, cause: list[Off], seen: set[str]) -> Finding:
    main = max(cause, key=lambda off: abs(np.log(off.factor)))
    named = _by_level(profile, suspects(cause, seen), _span(cause))
    sure = next(iter(named.items())) if len(named) == 1 else None
    size = sure[1] if sure is not None else main.factor
    known = telltale(size if size > 1 else 1 / size) if all(off.abrupt for off in cause) else 0.0
    kind = UNIT if known else LAW if main.abrupt else DRIFT
    compared = "; ".join(
        f"{off.law.name}: the ratio of its sides is {off.factor * off.usual:.4g} where it usually is {off.usual:.4g}"
        for off in cause
    )
    text = f"{_subject(cause, named)} {{where}}. {compared}. {_size(main, size, known)} {CHECK}"
    figures = {
        "factor": size, "usual_ratio": main.usual, "hours": float(main.hours),
        "series": float(SERIES.index(sure[0])) if sure is not None else np.nan,
    }  # fmt: skip
    return in_time(profile, kind, _span(cause), abs(float(np.log(size))) * 10, (text, figures))


def _subject(cause: Sequence[Off], named: dict[str, float]) -> str:
    if len(named) == 1:
        return f"{label(next(iter(named)))} does not fit the other channels"
    names = [
        label(name).lower() for name in (named or dict.fromkeys(n for off in cause for n in off.law.terms))
    ]
    return f"Readings that belong together do not fit: one of {', '.join(names[:-1])} and {names[-1]} is off"


def _size(main: Off, size: float, known: float) -> str:
    if known:
        times = f"{known:.4g} times" if size > 1 else f"1/{known:.4g} of"
        return f"That is {times} what it was, {MEANING[known]}: a unit may have been changed in the logger."
    way = "came at once" if main.abrupt else "crept up over hours, as a calibration that drifts"
    return f"That is {100 * abs(size - 1):.0f} % {'more' if size > 1 else 'less'}; it {way}."
