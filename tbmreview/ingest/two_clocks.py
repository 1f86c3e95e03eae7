"""Two stamp columns of one log, held against each other."""

from collections.abc import Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from tbmreview.ingest.pace import in_words
from tbmreview.ingest.stamp_text import offset_name

Values = NDArray[np.float64]

_APART_S = 300.0  # clocks that nobody sets alike differ by less
_STEP_S = 30.0  # a change of the difference from row to row beyond it is a clock that was set
_DRIFT_S = 30.0
_QUARTER_S = 900.0  # offsets of zones are whole quarters of an hour


def compare_clocks(
    used: Sequence[Values], other: Sequence[Values], label: str, zone: ZoneInfo | None = None
) -> tuple[str, ...]:
    """Notes where a log's second stamps disagree with those that are used.

    used, other: instants [s UTC], runs of (n,), NaN where there is none. label: of the other column. zone:
    of the drive, where the other column was read as its local time and those that are used were not.
    """
    first, second = np.concatenate(used), np.concatenate(other)
    both = np.isfinite(first) & np.isfinite(second)
    first, apart = first[both], (second - first)[both]
    if len(apart) < 2 or np.ptp(second[both]) == 0:
        return ()
    notes = []
    usual = float(np.median(apart))
    if abs(usual) >= _APART_S:
        notes.append(_apart(label, usual, float(first[0]), zone))
    jump = np.diff(apart)
    steps = np.flatnonzero(np.abs(jump) > _STEP_S)
    if len(steps):
        at = int(steps[0])
        notes.append(
            f"a clock was set: {label!r} steps {len(steps)} times against the stamps that are used, first "
            f"by {jump[at]:+.0f} s at {_utc(first[at + 1])}"
        )
    else:
        ends = max(1, len(apart) // 10)
        drift = float(np.median(apart[-ends:]) - np.median(apart[:ends]))
        span = float(first[-1] - first[0])
        if abs(drift) > _DRIFT_S:
            notes.append(
                f"a clock drifts: {label!r} moves {drift:+.0f} s in {in_words(span)} against the stamps that "
                "are used"
            )
    return tuple(notes)


def _apart(label: str, apart_s: float, at_s: float, zone: ZoneInfo | None) -> str:
    offset = None if zone is None else datetime.fromtimestamp(at_s, UTC).astimezone(zone).utcoffset()
    if offset is None or abs(apart_s - _QUARTER_S * round(apart_s / _QUARTER_S)) > _APART_S:
        return f"{label!r} is {apart_s / 3600:+.2f} h off the stamps that are used"
    here = offset.total_seconds()
    there = offset_name(_QUARTER_S * round((here + apart_s) / _QUARTER_S))
    return (
        f"{label!r} runs at UTC{there}, the drive's zone {zone} at UTC{offset_name(here)}: is the drive's time "
        "zone right? (the other stamps are used)"
    )


def _utc(seconds: float) -> str:
    return f"{np.datetime64(round(seconds), 's')} UTC"
