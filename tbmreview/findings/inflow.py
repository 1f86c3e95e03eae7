"""Water: logged inflow that rises, and stretches whose inflow is over a class."""

from collections.abc import Iterator

import numpy as np

from tbmreview.domain.channels import INFLOW
from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.domain.site import LOGGED, OF_GROUND, STATED
from tbmreview.domain.table import Table
from tbmreview.findings.channel_health import runs
from tbmreview.findings.detector import MUCK, Detector, Flags, Floats, Profile
from tbmreview.findings.health import HOUR_US
from tbmreview.findings.moments import in_time
from tbmreview.findings.words import at_chainage

RISING, HIGH = "inflow rising", "inflow high"
HOURS_BEFORE, LEAST_BEFORE, MOST_HOURS = 12, 4, 48
NEAR_M = 0.5
AGO = (
    "Water is watched on site, and what is shown here is hours old: have it measured at the face and looked at for "
    "fines; compare with probe holes and with the muck."
)


def water(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """Rises of the logged inflow, hour by hour, and stretches over the class."""
    return [*_rises(profile, settings), *_high(profile, settings)]


# --- rising -------------------------------------------------------------------------------------


def _rises(profile: Profile, settings: FindingSettings) -> Iterator[Finding]:
    rows = profile.health.get(INFLOW)
    if rows is None:
        return
    rows = rows.rows(rows["count"] > 0)
    for first, last, usual in rises(rows["mean"], settings):
        yield _rise(profile, rows, (first, last), usual)


def rises(mean: Floats, settings: FindingSettings) -> Iterator[tuple[int, int, float]]:
    """(first hour, last hour, median of the hours before) of each rise of hourly means (n,) [l/min]. A rise ends where
    the inflow falls back, or after two days, when what it rose to is usual."""
    usual = _usual(mean)
    least = np.maximum(settings.water_ratio * usual, usual + settings.water_rise_l_min)
    hour = 0
    for start in np.flatnonzero(mean >= least).tolist():
        if start < hour:
            continue
        below = np.flatnonzero(mean[start : start + MOST_HOURS] < least[start])
        hour = start + (int(below[0]) if len(below) else min(MOST_HOURS, len(mean) - start))
        yield start, hour - 1, float(usual[start])
        if not len(below):
            hour += HOURS_BEFORE


def _usual(mean: Floats) -> Floats:
    """Median of the hours before each hour (n,); NaN where they are few."""
    known = np.concatenate([np.full(HOURS_BEFORE, np.nan), mean])
    before = np.lib.stride_tricks.sliding_window_view(known, HOURS_BEFORE)[: len(mean)]
    usual = np.full(len(mean), np.nan)
    usual[LEAST_BEFORE:] = np.nanmedian(before[LEAST_BEFORE:], axis=1)
    return usual


def _rise(profile: Profile, rows: Table, hours: tuple[int, int], usual: float) -> Finding:
    first, last = hours
    part = rows.rows(slice(first, last + 1))
    most, mean = float(part["mean"].max()), float(part["mean"].mean())
    text = (
        f"Logged water inflow rose to {most:.0f} l/min at most by the hour ({mean:.0f} in the mean) {{where}}, against a "
        f"median of {usual:.0f} l/min in the hours before. It is what the channel measures, which may come from behind "
        f"the face. {AGO}"
    )
    span = int(part["hour_us"][0]), int(part["hour_us"][-1]) + HOUR_US
    figures = {"most_l_min": most, "mean_l_min": mean, "usual_l_min": usual}
    return in_time(profile, RISING, span, most / max(usual, 1.0), (text, figures))


# --- over a class -------------------------------------------------------------------------------


def _high(profile: Profile, settings: FindingSettings) -> Iterator[Finding]:
    rows = profile.water
    if not len(rows):
        return
    over: Flags = rows["inflow_10m_l_min"] >= settings.water_from_l_min
    for source in dict.fromkeys(rows["source"].tolist()):
        at = np.flatnonzero(over & (rows["source"] == source))
        if not len(at):
            continue
        low, high = rows["position_from_m"][at], rows["position_to_m"][at]
        for first, last in runs(np.r_[True, low[1:] - high[:-1] > NEAR_M]).tolist():
            part = rows.rows(at[first : last + 1])
            ends = float(part["position_from_m"].min()), float(part["position_to_m"].max())
            bored = _bored(profile, *ends)
            if bored is not None:
                yield _stretch(profile, part, (ends, bored), settings)


def _stretch(
    profile: Profile,
    part: Table,
    where: tuple[tuple[float, float], tuple[int, int]],
    settings: FindingSettings,
) -> Finding:
    (low, high), (start, end) = where
    most = int(np.argmax(part["inflow_10m_l_min"]))
    inflow, name = float(part["inflow_10m_l_min"][most]), part["water_class"][most]
    scheme = f" (class {name}, {part['water_scheme'][most]})" if name else ""
    text = (
        f"Water inflow of {inflow:.0f} l/min over 10 m{scheme} between {at_chainage(profile.axis, low)} and {at_chainage(profile.axis, high)}, "
        f"{SOURCES[part['source'][most]]}; told from {settings.water_from_l_min:g} l/min on. {AGO}"
    )
    strength = inflow / max(settings.water_from_l_min, 1.0)
    return Finding(
        HIGH, low, high, start, end, strength, text, {"inflow_10m_l_min": inflow, "length_m": high - low}
    )


SOURCES = {
    STATED: "as the site measured it",
    OF_GROUND: "as mapped",
    LOGGED: "as logged while the face was there, spread over the length that the channel measures",
}


def _bored(profile: Profile, low: float, high: float) -> tuple[int, int] | None:
    """When a stretch was bored [us]; None where the record does not show it."""
    inside = np.flatnonzero((profile.rows["position_to_m"] > low) & (profile.rows["position_from_m"] < high))
    if not len(inside):
        return None
    return int(profile.rows["start_us"][inside].min()), int(profile.rows["end_us"][inside].max())


WATER = Detector(
    "water inflow",
    (RISING, HIGH),
    "hourly means of the logged inflow against the median of the hours before; inflow over 10 m, as measured by the site, "
    "mapped, or logged, against a class",
    ("water_ratio", "water_rise_l_min", "water_from_l_min"),
    water,
    MUCK,
)
