"""Faults of channels, each told once; among them levels while boring that jump by a factor of units, and readings that
this machine cannot give."""

from collections.abc import Collection, Iterator

import numpy as np

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.domain.table import Table
from tbmreview.findings.channel_health import (
    CHECK,
    DEAD,
    LEAST_HOUR_S,
    MISSING,
    STUCK,
    channels,
    runs,
    still_and_missing,
)
from tbmreview.findings.detector import DATA, Detector, Floats, Profile
from tbmreview.findings.health import HOUR_US, SERIES
from tbmreview.findings.law_health import DRIFT, LAW, UNIT, laws_hold
from tbmreview.findings.moments import duration, in_time, label, reading
from tbmreview.findings.unit_factors import MEANING, telltale

RANGE = "channel out of range"
BELT, SPEED = "belt_rate_t_h", "advance_speed_mm_min"
# Loads of boring. Water and gripper pressure may change by as much in earnest; so may speed and penetration, and the
# belt with them, where a shield is held: speeds are held against laws alone, the belt is taken over the speed.
LEVELLED = (
    "main_thrust_kN", "aux_thrust_kN", "main_pressure_bar", "aux_pressure_bar", "torque_kNm", "head_speed_rpm",
    "head_power_kW", "gripper_force_kN", BELT,
)  # fmt: skip
LEAST_FACTOR = 9.0  # no ground changes a reading of boring by so much from one hour to the next
NEAR = 0.25  # of the log of a factor: levels scatter as the ground does
HOURS_BESIDE = 3
LEAST_OUTSIDE_S = 300.0  # of boring; a load at its limit for a moment is none
LEAST_JUMP_S = 1200.0  # of boring, restarts and approaches left behind
SHARED = 0.5  # of a law's time in which one of its channels is stuck or dead: told once


def channel_faults(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """Channels that rest or are missing, laws of the machine that stop holding, jumps of level by a factor of units which no law shows, and readings out
    of range; a reading is told once."""
    seen = channels(profile)
    still = still_and_missing(profile, seen, settings)
    found = [*still, *(one for one, terms in laws_hold(profile, settings) if not _rests(one, terms, still))]
    for name, rows in seen.items():
        rows = rows.rows(rows["bored_s"] >= LEAST_HOUR_S)
        own = {float(SERIES.index(of)) for of in ((name, SPEED) if name == BELT else (name,))}
        told = [f for f in found if f.kind == UNIT and f.figures.get("series", min(own)) in own]
        if name in LEVELLED:
            told += [one for one in _jumps(profile, name, rows) if not _overlaps(one, told)]
        beyond = [one for one in _outside(profile, name, rows, settings) if not _overlaps(one, told)]
        found += [*(one for one in told if one not in found), *beyond]
    return found


def _rests(one: Finding, terms: Collection[str], still: list[Finding]) -> bool:
    """Whether a law is off since one of its channels rests."""
    rest = [other for other in still if SERIES[int(other.figures["series"])] in terms]
    least = SHARED * (one.end_us - one.start_us)
    return any(min(one.end_us, f.end_us) - max(one.start_us, f.start_us) >= least for f in rest)


def _overlaps(one: Finding, others: list[Finding]) -> bool:
    return any(one.start_us < other.end_us and other.start_us < one.end_us for other in others)


# --- jumps --------------------------------------------------------------------------------------


def _jumps(profile: Profile, name: str, rows: Table) -> Iterator[Finding]:
    rows = rows.rows(np.abs(rows["middle"]) > 0)
    level = np.log(np.abs(rows["middle"]))
    if name == BELT and SPEED in profile.health:
        rows, level = _over_speed(rows, level, profile.health[SPEED])
    if len(rows) < 2:
        return
    pieces = runs(np.r_[True, np.abs(np.diff(level)) > np.log(LEAST_FACTOR) / 2]).tolist()
    longest = max(pieces, key=lambda piece: piece[1] - piece[0])
    usual = float(np.median(level[longest[0] : longest[1] + 1]))
    for first, last in pieces:
        change = _change(level, (first, last), usual)
        known = telltale(float(np.exp(abs(change))), NEAR) if change else 0.0
        enough = float(rows["bored_s"][first : last + 1].sum()) >= LEAST_JUMP_S
        if known >= LEAST_FACTOR and enough:
            now = float(np.median(np.log(np.abs(rows["middle"][first : last + 1]))))
            span = int(rows["hour_us"][first]), int(rows["hour_us"][last]) + HOUR_US
            levels = float(np.exp(now - change)), float(np.exp(now)), known
            yield _jump(profile, name, _exact(rows, (first, last), span), levels)


def _over_speed(rows: Table, level: Floats, speed: Table) -> tuple[Table, Floats]:
    """The hours of a rate in which a speed has a level too, and the log of one over the other."""
    speed = speed.rows(speed["middle"] > 0)
    _, own, other = np.intersect1d(rows["hour_us"], speed["hour_us"], return_indices=True)
    return rows.rows(own), level[own] - np.log(speed["middle"][other])


def _change(level: Floats, piece: tuple[int, int], usual: float) -> float:
    """By how much the log level of a piece is off that of the hours beside it that are as usual; 0 for none."""
    first, last = piece
    inside = level[first : last + 1]
    if abs(float(np.median(inside)) - usual) < np.log(LEAST_FACTOR) / 2:
        return 0.0
    sides = (
        (inside[:HOURS_BESIDE], level[max(0, first - HOURS_BESIDE) : first]),
        (inside[-HOURS_BESIDE:], level[last + 1 : last + 1 + HOURS_BESIDE]),
    )
    steps = []
    for near, beside in sides:
        like = beside[np.abs(beside - usual) < np.log(LEAST_FACTOR) / 2]
        if len(like):
            steps.append(float(np.median(near) - np.median(like)))
    return float(np.mean(steps)) if steps else 0.0


def _exact(rows: Table, piece: tuple[int, int], span: tuple[int, int]) -> tuple[int, int]:
    """The times of a piece, to ten minutes where it begins or ends within an hour."""
    out = list(span)
    for end, hour in ((0, piece[0]), (1, piece[1] + 1)):
        for i in (hour, hour - 1):
            if 0 <= i < len(rows):
                low, high = np.abs(rows["middle_low"][i]), np.abs(rows["middle_high"][i])
                if min(low, high) * np.sqrt(LEAST_FACTOR) < max(low, high) and rows["turn_us"][i] > 0:
                    out[end] = int(rows["turn_us"][i])
                    break
    return (out[0], out[1]) if out[1] > out[0] else span


def _jump(profile: Profile, name: str, span: tuple[int, int], of: tuple[float, float, float]) -> Finding:
    before, now, known = of
    times = f"{known:.4g} times" if now > before else f"1/{known:.4g} of"
    text = (
        f"{label(name)} while boring is {reading(name, now)} {{where}}, about {times} the {reading(name, before)} beside "
        f"it, {MEANING[known]}; ground does not change it by so much at once, a unit may have been changed in the logger. "
        f"{CHECK}"
    )
    figures = {"factor": now / before, "level": now, "beside": before, "series": float(SERIES.index(name))}
    return in_time(profile, UNIT, span, 10 * abs(float(np.log(now / before))), (text, figures))


# --- out of range -------------------------------------------------------------------------------


def _outside(profile: Profile, name: str, rows: Table, settings: FindingSettings) -> Iterator[Finding]:
    odd = rows["outside_s"] >= np.maximum(LEAST_OUTSIDE_S, settings.health_outside_share * rows["bored_s"])
    at = np.flatnonzero(odd)
    if not len(at):
        return
    for first, last in runs(np.r_[True, np.diff(at) > 1]).tolist():
        part = rows.rows(slice(int(at[first]), int(at[last]) + 1))
        seconds, bored = float(part["outside_s"].sum()), float(part["bored_s"].sum())
        ends = float(np.nanmin(part["low"])), float(np.nanmax(part["high"]))
        text = (
            f"{label(name)} reads from {reading(name, ends[0])} to {reading(name, ends[1])} {{where}}; over "
            f"{duration(seconds)}, {100 * seconds / bored:.0f} % of the boring, it is more than this machine can give by "
            f"what is installed or usual. {CHECK}"
        )
        figures = {
            "outside_s": seconds, "outside_share": seconds / bored, "low": ends[0], "high": ends[1],
            "series": float(SERIES.index(name)),
        }  # fmt: skip
        span = int(part["outside_from_us"][0]), int(part["outside_to_us"][-1])
        yield in_time(profile, RANGE, span, seconds / 3600, (text, figures))


CHANNEL_FAULTS = Detector(
    "health of channels",
    (STUCK, DEAD, MISSING, UNIT, LAW, DRIFT, RANGE),
    "each hour while the other channels show boring: the longest run of one reading against how long the channel usually "
    "rests in this drive, and the time without a reading; the ratios of v = n p, P = 2 pi n T, force to pressure, stroke step "
    "to speed and belt total to rate against their usual value in this drive; levels against the hours beside; readings "
    "against what is installed",
    (
        "health_still_min",
        "health_missing_min",
        "health_missing_share",
        "health_factor",
        "health_outside_share",
    ),
    channel_faults,
    DATA,
)
