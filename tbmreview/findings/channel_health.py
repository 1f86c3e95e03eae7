"""Channels that read one value, or nothing, while all others say that the machine bores."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.channels import CHANNELS, INFLOW
from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.domain.table import Column, Table
from tbmreview.findings.detector import Flags, Floats, Profile
from tbmreview.findings.health import HEALTH_COLUMNS, HOUR_US, SERIES
from tbmreview.findings.moments import duration, in_time, label, reading

STUCK, DEAD, MISSING = "channel stuck", "channel dead", "readings missing"
MAY_REST = ("ring_number",)  # counts; reads one number through a ring
MAY_BE_NONE = (INFLOW,)  # a dry tunnel has none
USUAL_TIMES = 5.0  # a reading that stays this much longer than it usually does in this drive
MOST_USUAL_S = 1800.0  # and be it as slow as any
RESTLESS_S = 300.0  # a channel whose noise shows does not rest for longer in an hour of standing
LEAST_REST_HOURS = 5
REST_TIMES = 20.0
FROZEN = 3  # channels that rest at one time without boring: the logger repeats itself, all is switched off
LEAST_HOUR_S = 120.0  # of boring, that an hour tells anything
NEAR_US = 300_000_000  # runs that end and begin so near to the turn of an hour are one
LEAST_MISSING_S = 120.0
RARELY = 0.5  # share of a drive's boring hours in which a channel may be missing without being another log's

CHECK = "What follows from it is not to be relied on in this time; have the sensor, its cable and the logger's channel checked."


@dataclass(frozen=True, slots=True)
class _Span:
    """An interval of boring: from and to [us], its boring time [s]; value: the reading, NaN for none."""

    start_us: int
    end_us: int
    seconds: float
    value: float = np.nan


def still_and_missing(
    profile: Profile, seen: Mapping[str, Table], settings: FindingSettings
) -> list[Finding]:
    """Channels stuck at a reading, dead at 0 or without readings while the machine bored. seen: see `channels`."""
    found: list[Finding] = []
    still: list[tuple[str, _Span]] = []
    for name, rows in seen.items():
        bored = rows.rows(rows["bored_s"] >= LEAST_HOUR_S)
        if not len(bored):
            continue
        if name not in MAY_REST:
            still += [(name, span) for span in _still(name, rows, settings)]
        lost = list(_missing(bored, settings))
        lost += [span for span in _missing_at_rest(rows, settings) if not _near(span, lost)]
        found += [_missing_finding(profile, name, span) for span in lost]
    kept = [(name, span) for name, span in still if span.seconds or not _frozen(span, still)]
    return [*found, *(_still_finding(profile, name, span) for name, span in kept)]


def _frozen(span: _Span, still: list[tuple[str, _Span]]) -> bool:
    """Whether several channels rest while nothing is bored, this span among them."""
    return sum(other.start_us < span.end_us and span.start_us < other.end_us for _, other in still) > FROZEN


def channels(profile: Profile) -> dict[str, Table]:
    """The rows of each channel that the drive has readings of. An hour in which the machine bored and the log lacks
    the channel is a row without a reading."""
    seen = {c.name: profile.health[c.name] for c in CHANNELS if c.name in profile.health}
    seen = {name: rows for name, rows in seen.items() if rows["count"].sum() > 0}
    hours, bored = _boring_hours(seen)
    bores: Flags = bored >= LEAST_HOUR_S
    for name, rows in seen.items():
        if len(rows) < len(hours):
            lacking = np.flatnonzero(~np.isin(hours, rows["hour_us"]) & bores)
            if 0 < len(lacking) <= RARELY * np.count_nonzero(bores):
                seen[name] = _with(rows, name, hours[lacking], bored[lacking])
    return seen


def _boring_hours(seen: Mapping[str, Table]) -> tuple[NDArray[np.int64], Floats]:
    """(each hour with samples, how long the machine bored in it by any channel [s])."""
    hours = max((rows["hour_us"] for rows in seen.values()), key=len, default=np.empty(0, np.int64))
    for rows in seen.values():
        if not np.array_equal(rows["hour_us"], hours):
            hours = np.union1d(hours, rows["hour_us"])
    bored = np.zeros(len(hours))
    for rows in seen.values():
        at = np.searchsorted(hours, rows["hour_us"])
        bored[at] = np.maximum(bored[at], rows["bored_s"])
    return hours, bored


def _with(rows: Table, name: str, hours: NDArray[np.int64], bored: Floats) -> Table:
    blank: dict[str, Column] = {
        key: np.full(len(hours), 0 if of is not np.float64 else np.nan, of)
        for key, (of, _, _) in HEALTH_COLUMNS.items()
    }
    blank |= {
        "hour_us": hours,
        "series": np.full(len(hours), SERIES.index(name), np.int8),
        **dict.fromkeys(("bored_s", "missing_s", "absent_s"), bored),
        **{key: np.zeros(len(hours)) for key in ("count", "still_s", "still_whole_s", "outside_s")},
        "missing_from_us": hours,
        "missing_to_us": hours + HOUR_US,
    }
    columns: Mapping[str, Column] = {key: np.concatenate([rows[key], blank[key]]) for key in HEALTH_COLUMNS}
    return Table(columns).rows(np.argsort(columns["hour_us"], kind="stable"))


# --- one reading --------------------------------------------------------------------------------


def _still(name: str, rows: Table, settings: FindingSettings) -> Iterator[_Span]:
    """Runs of one reading, from hour to hour, that are longer than boring bears; or longer than a channel whose
    reading never rests for long, boring or not, ever does."""
    level = rows["middle"][np.isfinite(rows["middle"])]
    if name in MAY_BE_NONE and _middle(level) <= 0:
        return
    bores = rows["bored_s"] >= LEAST_HOUR_S
    usual = min(_middle(rows["still_s"][bores]), MOST_USUAL_S)
    least_s = max(60 * settings.health_still_min, USUAL_TIMES * usual)
    rests = rows["still_whole_s"][~bores]
    restless = len(rests) >= LEAST_REST_HOURS and _middle(rests) <= RESTLESS_S
    least_whole_s = max(6 * least_s, REST_TIMES * _middle(rests)) if restless else np.inf
    joined = _joined_still(rows)
    seconds, all_s = (np.add.reduceat(rows[key], joined[:, 0]) for key in ("still_s", "still_whole_s"))
    at_rest = rows["still_at"][joined[:, 0]] == 0  # a speed of 0 is honest while the machine stands
    found = np.flatnonzero((seconds >= least_s) | ((all_s >= least_whole_s) & ~at_rest))
    for i in found.tolist():
        first, last = joined[i].tolist()
        start, end = int(rows["still_from_us"][first]), int(rows["still_to_us"][last])
        yield _Span(start, end, float(seconds[i]), float(rows["still_at"][first]))


def _middle(values: Floats) -> float:
    middle: float = np.median(values).item() if len(values) else 0.0
    return middle


def _joined_still(rows: Table) -> NDArray[np.int64]:
    """Runs of one reading that go on from an hour of boring to the next: (k, 2) first and last hour."""
    at, start, end = rows["still_at"], rows["still_from_us"], rows["still_to_us"]
    goes_on = (at[1:] == at[:-1]) & (end[:-1] >= rows["hour_us"][:-1] + HOUR_US - NEAR_US)
    goes_on &= start[1:] <= rows["hour_us"][1:] + NEAR_US
    return runs(np.r_[True, ~goes_on])


def runs(begins: Flags) -> NDArray[np.int64]:
    """(k, 2) first and last row of each run; begins: (n,) whether one begins, the first does."""
    first = np.flatnonzero(begins)
    return np.stack([first, np.append(first[1:], len(begins)) - 1], axis=1)


def _still_finding(profile: Profile, name: str, span: _Span) -> Finding:
    dead = span.value == 0
    if dead:
        what = f"{label(name)} reads 0"
    else:
        what = f"{label(name)} reads {reading(name, span.value)} without a change"
    of = f"{duration(span.seconds)} of boring by what the other channels show"
    text = (
        f"{what} {{where}}, over {of if span.seconds else 'standing alone'}; it does not usually rest so long in this "
        f"drive. {CHECK}"
    )
    figures = {"boring_s": span.seconds, "reading": span.value, "series": float(SERIES.index(name))}
    return in_time(
        profile, DEAD if dead else STUCK, (span.start_us, span.end_us), _hours(span), (text, figures)
    )


def _hours(span: _Span) -> float:
    return (span.end_us - span.start_us) / HOUR_US


# --- no reading ---------------------------------------------------------------------------------


def _missing(rows: Table, settings: FindingSettings) -> Iterator[_Span]:
    """Hours of boring in a row in which many readings are missing, or some for long."""
    lost = rows["missing_s"]
    odd = (lost >= LEAST_MISSING_S) & (lost >= settings.health_missing_share * rows["bored_s"])
    odd |= rows["absent_s"] >= 60 * settings.health_missing_min
    at = np.flatnonzero(odd)
    if not len(at):
        return
    for first, last in runs(np.r_[True, np.diff(at) > 1]).tolist():
        i, j = int(at[first]), int(at[last])
        seconds = float(lost[i : j + 1].sum())
        bored = float(rows["bored_s"][i : j + 1].sum())
        yield _Span(int(rows["missing_from_us"][i]), int(rows["missing_to_us"][j]), seconds, seconds / bored)


def _missing_at_rest(rows: Table, settings: FindingSettings) -> Iterator[_Span]:
    """Hours of standing in a row in which some readings are missing of a channel that shows all, as a rule."""
    rest = rows.rows(rows["bored_s"] < LEAST_HOUR_S)
    share = rest["missing"] / np.maximum(rest["count"] + rest["missing"], 1.0)
    if len(rest) < LEAST_REST_HOURS or _middle(share) > 0:
        return
    at = np.flatnonzero((share >= settings.health_missing_share) & (share < 1))  # switched off: none at all
    hours = rest["hour_us"][at]
    if not len(at):
        return
    for first, last in runs(np.r_[True, np.diff(hours) > HOUR_US]).tolist():
        lost = float(share[at[first : last + 1]].mean())
        yield _Span(int(hours[first]), int(hours[last]) + HOUR_US, 0.0, lost)


def _near(span: _Span, others: list[_Span]) -> bool:
    """Whether one of the others is within an hour of it."""
    return any(
        span.start_us <= other.end_us + HOUR_US and other.start_us <= span.end_us + HOUR_US
        for other in others
    )


def _missing_finding(profile: Profile, name: str, span: _Span) -> Finding:
    share = f"{100 * span.value:.0f} % of the"
    over = (
        f"over {duration(span.seconds)} of boring, {share} boring"
        if span.seconds
        else f"in {share} rows of standing"
    )
    text = (
        f"{label(name)} has no reading {{where}} {over} in these hours: it was not logged, or the import set it "
        f"aside as no reading, as stuck or as more than a machine can give (the account of the import says which). {CHECK}"
    )
    figures = {
        "missing_s": span.seconds, "missing_share": span.value, "series": float(SERIES.index(name)),
    }  # fmt: skip
    return in_time(profile, MISSING, (span.start_us, span.end_us), _hours(span), (text, figures))
