"""The record itself: gaps, and clocks that were set."""

from collections.abc import Iterator

import numpy as np

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.domain.states import State
from tbmreview.domain.table import Table
from tbmreview.findings.channel_health import runs
from tbmreview.findings.detector import DATA, Detector, Profile
from tbmreview.findings.health import CLOCK
from tbmreview.findings.moments import duration, in_time

GAP, STEP = "gap in the record", "clock step"
NONE_M = 0.02  # an advance within a stroke sensor's noise


def gaps_and_clocks(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """Gaps longer than health_gap_min, and instants at which the clock of the recorder was set."""
    steps = list(_steps(profile))
    gaps = [
        gap
        for gap in _gaps(profile, settings)
        if not any(gap.start_us < s.end_us and s.start_us < gap.end_us for s in steps)
    ]
    return [*steps, *gaps]


def _gaps(profile: Profile, settings: FindingSettings) -> Iterator[Finding]:
    periods = profile.periods
    if not len(periods):
        return
    none = periods["state"] == State.NO_RECORD
    joined = runs(np.r_[True, none[1:] != none[:-1]])
    for first, last in joined[none[joined[:, 0]]].tolist():
        start, end = int(periods["start_us"][first]), int(periods["end_us"][last])
        seconds = (end - start) / 1e6
        if seconds < 60 * settings.health_gap_min:
            continue
        advance = float(periods["advance_m"][first : last + 1].sum())
        yield in_time(
            profile,
            GAP,
            (start, end),
            seconds / 3600,
            (_gap_words(advance, seconds), {"gap_s": seconds, "advance_m": advance}),
        )


def _gap_words(advance_m: float, seconds: float) -> str:
    went_on = (
        f"The face went on by {advance_m:.2f} m in it, of which no force, torque or time is known."
        if advance_m > NONE_M
        else "The face is where it was; the machine may have stood, or the clock may have been set forward."
    )
    return (
        f"No row {{where}}: {duration(seconds)} without a record. {went_on} See whether the logger stopped or a file is "
        "missing from the import."
    )


def _steps(profile: Profile) -> Iterator[Finding]:
    rows = profile.health.get(CLOCK)
    if rows is None:
        return
    odd = np.flatnonzero(rows["outside_s"] > 0)
    for i in odd.tolist():
        yield _step(profile, rows, i)


def _step(profile: Profile, rows: Table, i: int) -> Finding:
    low, high = float(rows["low"][i]), float(rows["high"][i])
    seconds = high if high > -low else low
    forward = seconds < 0
    if forward:
        may = f"set forward by about {duration(-seconds)}"
        seen = "the stamps go on by that while the strokes do not, between rows in which the machine bores"
    else:
        may = "set back, or rows were lost"
        seen = f"from one row to the next the machine goes on by what takes {duration(seconds)} of boring"
    text = (
        f"The clock of the recorder may have been {may}, {{where}}: {seen}. Compare with the shift's handwritten times; "
        "every time after it may be off by as much."
    )
    end = int(rows["outside_to_us"][i])
    start = int(rows["outside_from_us"][i])
    if forward:
        start = end - round(-seconds * 1e6)
    return in_time(profile, STEP, (start, end), abs(seconds) / 60, (text, {"step_s": -seconds}))


RECORD = Detector(
    "gaps and clocks",
    (GAP, STEP),
    "stretches of time without a row; and the way of the strokes from row to row against their speed and the time between "
    "the stamps, while the machine bores on either side",
    ("health_gap_min",),
    gaps_and_clocks,
    DATA,
)
