"""The record itself: gaps, and clocks that were set."""

from collections.abc import Iterator, Sequence
from itertools import pairwise

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
LEAST_ROWS = 10  # with stamps that were there before; fewer are rows that were written twice
APART, MOST_OF = 10, 0.5  # lines from one of them to the next at most; their share of the lines at least
SLACK_US = 120_000_000  # a row or two of a slow log


def gaps_and_clocks(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """Gaps longer than health_gap_min, and instants at which the clock of the recorder was set."""
    back = list(_set_back(profile))
    steps = [*back, *(step for step in _steps(profile) if not _told(step, back))]
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


def _set_back(profile: Profile) -> Iterator[Finding]:
    """Rows of a log that follow each other and whose stamps it had before; some between them may have had their values
    too, and were doubles."""
    rows = profile.stamped_again
    if not len(rows):
        return
    file, line, time_us = rows["file"], rows["line"], rows["time_us"]
    step = np.diff(line)
    goes_on = (file[1:] == file[:-1]) & (step > 0) & (step <= APART) & (np.diff(time_us) > 0)
    begins = np.flatnonzero(np.r_[True, ~goes_on])
    for first, stop in pairwise([*begins.tolist(), len(line)]):
        count, lines = stop - first, int(line[stop - 1] - line[first]) + 1
        if count < max(LEAST_ROWS, MOST_OF * lines):
            continue
        start, end = int(time_us[first]), int(time_us[stop - 1])
        seconds = (end - start) / 1e6 * lines / (lines - 1)
        text = (
            f"The clock of the recorder may have been set back by about {duration(seconds)}, {{where}}: {file[first]}, lines "
            f"{line[first]} to {line[stop - 1]}, have stamps that the file had before; {count} of these rows have other values "
            "and were left out. Or this part was written twice. Compare with the shift's handwritten times; "
            "every time after it may be off by as much."
        )
        figures = {"step_s": -seconds, "rows": float(count)}
        yield in_time(profile, STEP, (start, end), seconds / 60, (text, figures))


def _told(step: Finding, back: Sequence[Finding]) -> bool:
    """Whether the stroke shows what rows that were left out tell: it goes on where the stamps that came twice end."""
    return any(b.start_us - SLACK_US <= step.end_us and step.start_us <= b.end_us + SLACK_US for b in back)


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
    "stretches of time without a row; rows in a row with stamps that their file had before; and the way of the strokes "
    "from row to row against their speed and the time between the stamps, while the machine bores on either side",
    ("health_gap_min",),
    gaps_and_clocks,
    DATA,
)
