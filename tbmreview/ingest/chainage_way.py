"""Which way the chainage of a log runs, held against the drive's setup."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tbmreview.ingest.report import CHANNEL, Column

Values = NDArray[np.float64]

_PARTS = 10  # of the log's time, each seen by its median
_LEAST_M = 0.5  # a change below it may be noise of the guidance
_ONE_WAY = 5.0  # times more one way than the other


def held_against_setup(
    columns: Sequence[Column], numbers: dict[int, Values], seconds: Sequence[Values], direction: int
) -> tuple[Column, ...]:
    """The columns, with a question on a chainage that runs against the drive.

    numbers: raw sample of each number column, (n,). seconds: stamps of each run of it [s]. direction: 1
    where the setup says that chainage increases, -1 where it decreases.
    """
    time_s = np.concatenate([np.empty(0), *seconds])
    return tuple(
        replace(c, question=asked)
        if c.role == CHANNEL
        and c.name == "chainage_m"
        and not c.question
        and c.conversion is not None
        and (asked := _question(c.conversion.convert(numbers[c.index]), time_s, direction))
        else c
        for c in columns
    )


def _question(chainage_m: Values, time_s: Values, direction: int) -> str:
    good = np.flatnonzero(np.isfinite(chainage_m) & np.isfinite(time_s))
    in_time = chainage_m[good[np.argsort(time_s[good], kind="stable")]]
    if len(in_time) < 2 * _PARTS:
        return ""
    steps = np.diff([np.median(part) for part in np.array_split(in_time, _PARTS)]) * direction
    against, along = -float(steps[steps < 0].sum()), float(steps[steps > 0].sum())
    if against < _LEAST_M or against < _ONE_WAY * along:
        return ""
    says, does = ("increasing", "falls") if direction > 0 else ("decreasing", "rises")
    moved = abs(float(in_time[-1] - in_time[0]))
    return (
        f"chainage {does} by {moved:.1f} m while the head advances, the setup says {says}: which is right? "
        "Set chainage_direction in drive.toml, or let the column be 'ignore' in the column map"
    )
