"""Health of the data: what an hour of samples says of each channel and of each law of the machine.

A row an hour and series. Detectors read these rows alone, so that looking for faults of sensors reads no samples.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.channels import CHANNELS
from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.table import Table
from tbmreview.findings.at_work import AUX, MAIN, AtWork
from tbmreview.findings.detector import Flags, Floats
from tbmreview.findings.laws import LAWS, ratios

METHOD = 6  # raised with any change of this part that changes results
CLOCK = "clock"  # the series of the stamps: by how many seconds the strokes are ahead of them at a sample
SERIES: tuple[str, ...] = (*(channel.name for channel in CHANNELS), *(law.name for law in LAWS), CLOCK)
HOUR_US, BLOCK_US = 3600 * MICROSECONDS, 600 * MICROSECONDS
LEAST_OF_BLOCK_S = 60.0  # of boring, that ten minutes have a level
AHEAD_S, BEHIND_S = 30.0, -60.0  # beyond them a clock was set, or rows were lost
AHEAD_MM = 30.0  # a step of a stroke from one sample to the next that no noise makes
MOST_SUSPECTS = 200  # a day
RARE = 1e-4  # of all time beside that of boring: it decides only where nothing was bored
ALONG_MM = 100.0  # a guidance target on the rear shield goes on by what the stroke goes back
ALIKE_MM = 20.0  # by which a stroke and the chainage that went on with it may differ
LEAST_ALONG_MM = 40.0  # by which the chainage must go on, that it was not noise
FASTEST_MM_S = 50.0  # no cylinder is drawn back or pushed out faster
ALONE = 3.0  # times that a step is larger than those beside it
SIDE = 5  # samples on either side of a step of the clock that agree

Codes = NDArray[np.int64]

# name -> (kind of number, unit, what it is). "bored" is judged by the other channels (at_work).
HEALTH_COLUMNS: Mapping[str, tuple[type, str, str]] = {
    "hour_us": (np.int64, "us", "start of the hour, UTC"),
    "series": (np.int8, "", "number in SERIES"),
    "count": (np.float64, "", "readings"),
    "missing": (np.float64, "", "samples without a reading"),
    "bored_s": (np.float64, "s", "time in which the machine bored and the series must show it"),
    "low": (np.float64, "", "least reading"),
    "high": (np.float64, "", "greatest reading"),
    "mean": (np.float64, "", "mean reading"),
    "middle": (np.float64, "", "median of the medians of ten minutes while the machine bored"),
    "middle_low": (np.float64, "", "least of these medians"),
    "middle_high": (np.float64, "", "greatest of these medians"),
    "turn_us": (np.int64, "us", "where these medians change most, 0 where there is none before"),
    "still_s": (
        np.float64,
        "s",
        "boring time of the longest run of one reading while it bores, else of the longest",
    ),
    "still_whole_s": (np.float64, "s", "all its time"),
    "still_from_us": (np.int64, "us", "its first sample"),
    "still_to_us": (np.int64, "us", "its last sample"),
    "still_at": (np.float64, "", "that reading"),
    "absent_s": (np.float64, "s", "the same of the longest run without a reading"),
    "missing_s": (np.float64, "s", "boring time without a reading"),
    "missing_from_us": (np.int64, "us", "the first sample of it"),
    "missing_to_us": (np.int64, "us", "the last sample of it"),
    "outside_s": (np.float64, "s", "boring time with readings that this machine cannot give"),
    "outside_from_us": (np.int64, "us", "the first of these"),
    "outside_to_us": (np.int64, "us", "the last of these"),
}


def empty_health() -> Table:
    """The table without rows."""
    return Table({name: np.empty(0, of) for name, (of, _, _) in HEALTH_COLUMNS.items()})


@dataclass(frozen=True, slots=True)
class Stamps:
    """n instants, rising: time_us; given_s: the time each stands for; hours: first sample of each hour (h,), and of
    blocks of ten minutes (b,); hour, block: number of each sample's, (n,)."""

    time_us: Codes
    given_s: Floats
    hours: Codes
    blocks: Codes
    hour: Codes
    block: Codes


def stamps_of(time_us: Codes, nominal_us: int, gap_intervals: float) -> Stamps:
    """Stamps of which each stands for the time to the next, at most `gap_intervals` nominal intervals."""
    step = np.diff(time_us, append=time_us[-1:] + nominal_us)
    given = np.minimum(step, nominal_us * gap_intervals) / MICROSECONDS
    hours, blocks = _firsts(time_us // HOUR_US), _firsts(time_us // BLOCK_US)
    numbers = (np.repeat(np.arange(len(at)), np.diff(at, append=len(time_us))) for at in (hours, blocks))
    return Stamps(time_us, given, hours, blocks, *numbers)


def _firsts(number: Codes) -> Codes:
    return np.flatnonzero(np.diff(number, prepend=number[:1] - 1))


def health_of(
    stamps: Stamps,
    values: Mapping[str, Floats],
    limits: Mapping[str, tuple[float, float]],
    *,
    alone: bool,
) -> Table:
    """The rows of a day. values: channel -> (n,), NaN missing; limits: channel -> what this machine can give of it
    while it bores, in magnitude; alone: see AtWork. Channels that are not there have no rows."""
    if not len(stamps.time_us):
        return empty_health()
    seconds = (stamps.time_us - stamps.time_us[0]) / MICROSECONDS
    work = AtWork(seconds, values, alone=alone)
    parts: list[dict[str, NDArray[np.generic]]] = []
    for code, name in enumerate(SERIES):
        if name in values:
            parts.append(_rows(stamps, code, values[name], work.judged(name), limits.get(name)))
    for law in LAWS:
        ratio = ratios(law, work)
        if ratio is not None and np.isfinite(ratio).any():
            parts.append(_rows(stamps, SERIES.index(law.name), ratio, np.isfinite(ratio), None))
    ahead = ahead_s(stamps, work)
    parts.append(_rows(stamps, SERIES.index(CLOCK), ahead, ahead != 0, (BEHIND_S, AHEAD_S)))
    columns = {name: np.concatenate([part[name] for part in parts]) for name in HEALTH_COLUMNS}
    return Table(columns).rows(np.lexsort((columns["series"], columns["hour_us"])))


def _rows(
    stamps: Stamps, code: int, values: Floats, bored: Flags, limits: tuple[float, float] | None
) -> dict[str, NDArray[np.generic]]:
    known = np.isfinite(values)
    at, size = stamps.hours, len(stamps.hours)
    count = np.add.reduceat(known.astype(np.float64), at)
    total = np.add.reduceat(np.where(known, values, 0.0), at)
    spent = np.where(bored, stamps.given_s, 0.0)
    columns: dict[str, NDArray[np.generic]] = {
        "hour_us": stamps.time_us[at] // HOUR_US * HOUR_US,
        "series": np.full(size, code, np.int8),
        "count": count,
        "missing": np.diff(at, append=len(values)) - count,
        "bored_s": np.add.reduceat(spent, at),
        "low": np.fmin.reduceat(values, at),
        "high": np.fmax.reduceat(values, at),
        "mean": np.where(count > 0, total / np.maximum(count, 1), np.nan),
    }
    columns |= _levels(stamps, values, bored & known)
    same = np.flatnonzero(known)
    columns |= _longest(stamps, same, values[same], spent, "still")
    at_still = np.searchsorted(stamps.time_us, columns["still_from_us"])
    columns["still_at"] = np.where(count > 0, values[np.minimum(at_still, len(values) - 1)], np.nan)
    gone = np.flatnonzero(~known)
    columns |= _longest(stamps, gone, np.diff(gone, prepend=-2) > 1, spent, "absent")
    outside = np.zeros(len(values), bool)
    if limits is not None:
        size_of = values if limits[0] < 0 else np.abs(values)
        outside = bored & known & ((size_of < limits[0]) | (size_of > limits[1]))
    columns |= _ends(stamps, bored & ~known, "missing") | _ends(stamps, outside, "outside")
    return {name: columns[name] for name in HEALTH_COLUMNS}


def _levels(stamps: Stamps, values: Floats, use: Flags) -> dict[str, NDArray[np.generic]]:
    """Medians of ten minutes, by hour: their median, least and greatest, and where they change most."""
    at = np.flatnonzero(use)
    block = stamps.block[at]
    spent = np.bincount(block, stamps.given_s[at], len(stamps.blocks))
    edges = np.searchsorted(block, np.arange(len(stamps.blocks) + 1))
    usable = np.flatnonzero(spent >= LEAST_OF_BLOCK_S)
    chosen = values[at]
    level = np.array([_median(chosen[edges[b] : edges[b + 1]]) for b in usable.tolist()], np.float64)
    hour = stamps.hour[stamps.blocks[usable]]
    size = len(stamps.hours)
    out = {name: np.full(size, np.nan) for name in ("middle", "middle_low", "middle_high")}
    turn = np.zeros(size, np.int64)
    with np.errstate(divide="ignore", invalid="ignore"):
        change = np.abs(np.log(np.abs(level[1:] / level[:-1]))) if len(level) else np.empty(0)
    change = np.concatenate([[-1.0], np.where(np.isnan(change), 0.0, change)])[: len(level)]
    for h in np.unique(hour).tolist():
        own = np.flatnonzero(hour == h)
        out["middle"][h] = np.median(level[own])
        out["middle_low"][h], out["middle_high"][h] = level[own].min(), level[own].max()
        most = own[np.argmax(change[own])]
        turn[h] = stamps.time_us[stamps.blocks[usable[most]]] if change[most] >= 0 else 0
    return {**out, "turn_us": turn}


def _median(values: Floats) -> float:
    """The median of (n,), of an even number the upper of the two in the middle: quick."""
    return float(np.partition(values, len(values) // 2)[len(values) // 2])


def _longest(
    stamps: Stamps, samples: Codes, label: NDArray[np.generic], spent: Floats, name: str
) -> dict[str, NDArray[np.generic]]:
    """By hour: the run of one label among these samples in which the machine bored longest. A label of truths is
    whether a run begins."""
    size = len(stamps.hours)
    out = {f"{name}_s": np.zeros(size), f"{name}_whole_s": np.zeros(size)}
    ends = {f"{name}_from_us": np.zeros(size, np.int64), f"{name}_to_us": np.zeros(size, np.int64)}
    if not len(samples):
        return {**out, **ends}
    hour = stamps.hour[samples]
    begins = label.astype(bool) if label.dtype == bool else np.r_[True, label[1:] != label[:-1]]
    begins = begins | np.r_[True, hour[1:] != hour[:-1]]
    first = np.flatnonzero(begins)
    time, whole = (np.add.reduceat(times[samples], first) for times in (spent, stamps.given_s))
    longest = time + RARE * whole
    of = hour[first]
    last = np.append(first[1:], len(samples)) - 1
    edges = _firsts(of)
    for start, end in zip(edges.tolist(), [*edges[1:].tolist(), len(of)], strict=True):
        best = start + int(np.argmax(longest[start:end]))
        h = int(of[best])
        out[f"{name}_s"][h], out[f"{name}_whole_s"][h] = time[best], whole[best]
        ends[f"{name}_from_us"][h] = stamps.time_us[samples[first[best]]]
        ends[f"{name}_to_us"][h] = stamps.time_us[samples[last[best]]]
    return {**out, **ends}


def _ends(stamps: Stamps, some: Flags, name: str) -> dict[str, NDArray[np.generic]]:
    """By hour: the time of these samples, the first and the last of them."""
    size = len(stamps.hours)
    first, last = np.zeros(size, np.int64), np.zeros(size, np.int64)
    at = np.flatnonzero(some)
    hour = stamps.hour[at]
    spent = np.bincount(hour, stamps.given_s[at], size)
    if len(at):
        first[hour[::-1]] = stamps.time_us[at[::-1]]
        last[hour] = stamps.time_us[at]
    return {f"{name}_s": spent, f"{name}_from_us": first, f"{name}_to_us": last}


def ahead_s(stamps: Stamps, work: AtWork) -> Floats:
    """By how many seconds the machine is ahead of the stamps at each sample (n,), 0 at all but those where a clock
    may have been set. Behind: it bores on either side of a long time without a sample in which its stroke did not move.
    Ahead: from a sample to the next a stroke steps as no cylinder does, and the logged chainage has gone on (without
    one: the stroke goes on) by what takes long."""
    out = np.zeros(len(stamps.time_us))
    told = work.without([MAIN, AUX])
    chainage = work.values.get("chainage_m")
    for name in (MAIN, AUX):
        mm = work.values.get(name)
        if mm is None:
            continue
        for i in _suspects(work.seconds, mm, told).tolist():
            ahead = _ahead_at(i, (work.seconds, mm, chainage), told)
            if ahead > AHEAD_S or ahead < BEHIND_S:
                out[i] = ahead
    return out


def _ahead_at(i: int, of: tuple[Floats, Floats, Floats | None], told: Flags) -> float:
    """The seconds at sample i; 0 where it is no step of a clock."""
    seconds, mm, chainage = of
    before, after = told[max(0, i - 60) : i][::-1], told[i : i + 60]
    counts = [len(side) if side.all() else int(np.argmin(side)) for side in (before, after)]
    sides = slice(i - counts[0], i), slice(i, i + counts[1])
    bores = counts[0] >= SIDE, counts[1] >= SIDE
    paces = [_pace(seconds[side], mm[side]) if at else 0.0 for side, at in zip(sides, bores, strict=True)]
    pace = float(np.mean([p for p, at in zip(paces, bores, strict=True) if at] or [0.0]))
    if pace <= 1 / 60:
        return 0.0
    step, elapsed = float(mm[i] - mm[i - 1]), float(seconds[i] - seconds[i - 1])
    along = None if chainage is None else 1000 * abs(float(chainage[i] - chainage[i - 1]))
    if elapsed > -BEHIND_S and all(bores) and -5.0 < step < 0.2 * pace * elapsed:
        return step / pace - elapsed if along is None or along < ALONG_MM else 0.0
    alone = _alone(seconds, mm, i, paces)
    if along is None:
        return step / pace - elapsed if all(bores) and alone else 0.0
    return along / pace - elapsed if _went_on(step, along, elapsed, (alone, pace)) else 0.0


def _went_on(step: float, along: float, elapsed: float, of: tuple[bool, float]) -> bool:
    """Whether the face went on from one sample to the next [mm]: the stroke and the chainage by the same, by more than
    boring does; or the chainage, while the stroke steps as no cylinder can, or alone and not as far back."""
    alone, pace = of
    if along < LEAST_ALONG_MM:
        return False
    together = abs(along - step) < ALIKE_MM and along > ALONE * pace * elapsed
    faster = abs(step) > max(AHEAD_MM, FASTEST_MM_S * elapsed)
    return together or faster or (alone and along > ALONG_MM and abs(along + step) > ALONG_MM)


def _alone(seconds: Floats, mm: Floats, i: int, paces: list[float]) -> bool:
    """Whether the stroke steps at sample i alone, beside its pace before and after: a regrip goes on over samples."""
    expected = np.where(np.arange(1 - SIDE, SIDE) < 0, *paces) * np.diff(seconds)[i - SIDE : i + SIDE - 1]
    off = np.abs(np.diff(mm)[i - SIDE : i + SIDE - 1] - expected)
    others = np.delete(off, SIDE - 1)
    return bool(off[SIDE - 1] > max(AHEAD_MM, ALONE * float(np.nanmax(others, initial=0.0))))


def _suspects(seconds: Floats, mm: Floats, told: Flags) -> Codes:
    """Samples beside boring at which the stroke steps, or before which time passed without a sample, (k,)."""
    step, elapsed = np.abs(np.diff(mm)), np.diff(seconds)
    odd = (step > AHEAD_MM) | (elapsed > -BEHIND_S)
    found: Codes = np.flatnonzero(odd & (told[1:] | told[:-1])) + 1
    return found[(found >= SIDE) & (found <= len(mm) - SIDE)][:MOST_SUSPECTS]


def _pace(seconds: Floats, mm: Floats) -> float:
    """How fast a stroke rises [mm/s]: the median of its steps over their times, of ten samples apart."""
    known = np.isfinite(mm)
    seconds, mm = seconds[known], mm[known]
    apart = min(10, len(mm) - 1)
    if apart < 1:
        return 0.0
    return float(np.median((mm[apart:] - mm[:-apart]) / np.maximum(seconds[apart:] - seconds[:-apart], 1e-6)))


def by_series(health: Table) -> dict[str, Table]:
    """The rows of each series that is there, by time."""
    if not len(health):
        return {}
    order = np.argsort(health["series"], kind="stable")
    codes = health["series"][order]
    rows = health.rows(order)
    edges = np.searchsorted(codes, np.arange(len(SERIES) + 1))
    return {
        name: rows.rows(slice(first, last))
        for name, first, last in zip(SERIES, edges[:-1].tolist(), edges[1:].tolist(), strict=True)
        if last > first
    }
