"""How often a log has a row, and whether it is a log of samples at all."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.errors import LogError
from tbmreview.domain.samples import MICROSECONDS
from tbmreview.ingest.clock import NO_SPAN

Values = NDArray[np.float64]

# Beyond it a stroke has too few rows to be told from the next (common practice, no source).
LONGEST_INTERVAL_S = 300.0
_LOG_INTERVAL_S = 60.0  # up to here a log may advance as far as it likes in a row
_RING_STEP_M = 0.3  # rows this far apart stand for strokes or rings
_EVEN = (2, 3, 4, 5, 6, 10, 12, 15, 20, 30, 60, 120, 300, 600)
_FAR_S = 366 * 86_400.0  # a stamp this far from all others is a fault of the clock
_UNITS_S = (60, 1)  # a stamp without seconds, or without parts of a second


@dataclass(frozen=True, slots=True)
class Pace:
    """interval_s: the usual time from row to row, NaN where unknown. rates: the different ones met [s].

    rows_per_stamp: usual rows of one stamp where the recorder writes too few digits of the time, else 1;
    unit_us: what such a stamp stands for.
    """

    interval_s: float
    rates: tuple[float, ...] = ()
    rows_per_stamp: int = 1
    unit_us: int = 0

    @property
    def said(self) -> str:
        """In words; '' where nothing is known."""
        if not np.isfinite(self.interval_s):
            return ""
        text = f"a row every {in_words(self.interval_s)}"
        if self.rows_per_stamp > 1:
            unit = "minute" if self.unit_us == 60 * MICROSECONDS else "second"
            text += f"; stamps to the {unit} only: the rows of a {unit} are spread evenly within it"
        return text


def pace_of(seconds: Sequence[Values], numbers: Sequence[Mapping[int, Values]]) -> Pace:
    """The pace of a log from runs of its rows: stamps [s], (n,) each, and the numbers of the same rows."""
    steps, rates = [], []
    for stamps in seconds:
        step = np.diff(stamps)
        step = step[np.isfinite(step)]
        steps.append(step)
        if len(step) >= 30:
            rates.append(float(np.median(step)))
    every = np.concatenate([np.empty(0), *steps])
    if not len(every):
        return Pace(np.nan)
    if (every == 0).mean() > 0.4:
        coarse = _coarse(seconds, numbers)
        if coarse is not None:
            return coarse
    every = every[every > 0]
    return Pace(float(np.median(every)), _different(rates)) if len(every) else Pace(np.nan)


def usual_span(seconds: Sequence[Values]) -> tuple[int, int]:
    """(lowest, highest) stamp [us] that a log with such a sample, runs of (n,) [s], may have: a year beyond
    the largest group of its stamps that no year parts."""
    stamps = np.sort(np.concatenate([np.empty(0), *(run[np.isfinite(run)] for run in seconds)]))
    groups = np.split(stamps, np.flatnonzero(np.diff(stamps) > _FAR_S) + 1)
    largest = max(groups, key=len)
    if not len(largest):
        return NO_SPAN
    return round((largest[0] - _FAR_S) * 1e6), round((largest[-1] + _FAR_S) * 1e6)


def _coarse(seconds: Sequence[Values], numbers: Sequence[Mapping[int, Values]]) -> Pace | None:
    """The pace where several different rows share each stamp; None where they only repeat."""
    sizes: list[int] = []
    stamps: list[Values] = []
    repeats = shared = steps = 0
    for time_s, columns in zip(seconds, numbers, strict=True):
        good = np.flatnonzero(np.isfinite(time_s))
        step = np.diff(time_s[good])
        sizes += np.diff(np.flatnonzero(step)).tolist()  # the first and the last may be cut
        stamps.append(time_s[good])
        same = step == 0
        shared += int(same.sum())
        steps += len(step)
        for column in columns.values():
            values = column[good]
            same &= (values[1:] == values[:-1]) | np.isnan(values[1:])
        repeats += int(same.sum())
    whole = np.concatenate(stamps)
    different = np.unique(whole)
    if steps - shared < 2 or repeats * 2 > shared or (sizes and np.mean(np.array(sizes) > 1) < 0.8):
        return None
    apart = float(np.median(np.diff(different)))
    unit = next((u for u in _UNITS_S if np.all(whole % u == 0) and apart <= u), 0)
    usual = int(np.bincount(sizes).argmax()) if len(sizes) > 1 else _even(steps / (steps - shared))
    return Pace(unit / usual, (), usual, unit * MICROSECONDS) if unit and usual > 1 else None


def _even(rows: float) -> int:
    """The even number of rows a stamp nearest to what is seen, where no stamp was seen in full."""
    return min(_EVEN, key=lambda n: abs(np.log(n / rows)))


def _different(rates: Sequence[float]) -> tuple[float, ...]:
    """Rates that differ by half or more, rising."""
    out: list[float] = []
    for rate in sorted(r for r in rates if r > 0):
        if not out or rate > 1.5 * out[-1]:
            out.append(rate)
    return tuple(out)


def refuse_sparse(path: Path, pace: Pace, channels: Mapping[str, Values]) -> None:
    """LogError for a table with one row a stroke or a ring; channels: sample, as written, (n,)."""
    interval = pace.interval_s
    if interval > LONGEST_INTERVAL_S:
        _refuse(path, f"its rows lie {in_words(interval)} apart")
    if interval <= _LOG_INTERVAL_S:
        return
    rings = _steps(channels.get("ring_number"))
    metres = _steps(channels.get("chainage_m"))
    if len(rings) >= 4 and (rings > 0).mean() > 0.5:
        _refuse(path, "nearly every row is another ring")
    if len(metres) >= 4 and float(np.median(metres)) > _RING_STEP_M:
        _refuse(path, f"its rows lie {float(np.median(metres)):.1f} apart along the chainage")


def _steps(values: Values | None) -> Values:
    if values is None:
        return np.empty(0)
    step = np.abs(np.diff(values))
    return np.asarray(step[np.isfinite(step)])


def _refuse(path: Path, why: str) -> None:
    raise LogError(
        f"{path}: is no log of samples: {why}, as in a table with one row a stroke or a ring; export the "
        f"machine's log with a row every 1 to 60 s (a table of ground goes in with: tbmreview ground)"
    )


def in_words(seconds: float) -> str:
    """1 s, 0.2 s, 31 min, 1.5 h."""
    if seconds < 120:
        return f"{seconds:.3g} s"
    return f"{seconds / 60:.3g} min" if seconds < 7200 else f"{seconds / 3600:.3g} h"
