"""The belt scale beside the boring: its mass on an even clock, how far it is behind the face, and its mass by cell.

The whole drive's belt is kept in bins of a few seconds, a row a UTC day; everything else is a sum of them.
"""

import hashlib
import json
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.samples import DAY_US, MICROSECONDS, Samples
from tbmreview.domain.states import State
from tbmreview.domain.table import Table
from tbmreview.drive.by_day import OfDays, Sampled, by_day
from tbmreview.drive.delays import Stated, texts
from tbmreview.drive.progress import Progress
from tbmreview.drive.reading import Codes, Floats
from tbmreview.indicators.balance import Lag, belt_lag
from tbmreview.motion.cells import belt_t_s
from tbmreview.motion.credit import credit, nominal_by_day, nominal_interval_us
from tbmreview.store.derived import read_derived, write_derived

BIN_S = 10
BINS = DAY_US // (BIN_S * MICROSECONDS)  # a day
METHOD = 1  # raised with any change of this part that changes results
LAGS = "belt-lags"
CHANNELS = ("belt_rate_t_h", "belt_total_t")
SAME_S = 1e-3  # instants so near to each other are one
IDLE_S = 1800.0  # so long after the last muck of the face the belt is empty


class Logged(Stated, Sampled, Protocol):
    """A drive with its samples."""


@dataclass(frozen=True, slots=True)
class Belt:
    """day: (d,) UTC days with samples, rising. mass_t, measured_s: (d, BINS), mass over the scale in each bin
    and how much of it was measured; advance_m: (d, BINS), advance of the face. lags: (d,) one a day."""

    day: Codes
    mass_t: Floats
    measured_s: Floats
    advance_m: Floats
    lags: tuple[Lag, ...]

    @property
    def lag_s(self) -> Floats:
        """Lag of each day [s]; of a day where it is unclear that of the nearest clear day, NaN if none is."""
        own = np.array([lag.lag_s for lag in self.lags])
        clear = np.flatnonzero(np.isfinite(own))
        if not len(clear):
            return own
        nearest = np.abs(self.day[:, None] - self.day[clear][None, :]).argmin(axis=1)
        chosen: Floats = own[clear[nearest]]
        return chosen


def belt_of(drive: Logged, progress: Progress | None = None) -> Belt | None:
    """The belt of a drive; None where no log has it. A lag that [drive] belt_lag_s states holds for every day."""
    facts = drive.setup.drive
    days, mass, measured = _kept_bins(drive, progress)
    if not measured.any():
        return None
    edges = np.stack([_edges(day) for day in days.tolist()])
    advance = np.diff(
        position_at(in_time(drive.cells, drive.periods), edges.ravel()).reshape(edges.shape), axis=1
    )
    if facts.belt_lag_s is not None:
        lags = [Lag(facts.belt_lag_s, np.nan)] * len(days)
    else:
        lags = _lags(drive.folder, (days, mass, measured, advance), 60 * facts.belt_lag_most_min)
    return Belt(days, mass, measured, advance, tuple(lags))


def _kept_bins(drive: Logged, progress: Progress | None) -> tuple[Codes, Floats, Floats]:
    """(UTC days, mass over the scale [t] and seconds measured by day and bin (d, BINS)); kept day by day."""
    gap_intervals = drive.setup.motion.gap_intervals
    settings = json.dumps(["belt", METHOD, BIN_S, gap_intervals])
    nothing = Table({"mass_t": np.empty(0, np.float32), "measured_cs": np.empty(0, np.int16)})
    of = OfDays("belt", settings, CHANNELS, partial(_bins, gap_intervals), nothing)
    table, rows = by_day(drive, of, progress)
    mass, measured = np.zeros((len(rows), BINS)), np.zeros((len(rows), BINS))
    for i, part in enumerate(rows.values()):
        if part.stop > part.start:
            mass[i], measured[i] = table["mass_t"][part], table["measured_cs"][part] / 100
    return np.array(list(rows), np.int64), mass, measured


def _bins(gap_intervals: float, day: int, samples: Samples) -> Table:
    """The bins of a day, none where no scale was logged: half the room of whole numbers is plenty for a scale."""
    known = len(samples) and any(np.isfinite(samples.get(name)).any() for name in CHANNELS)
    mass, measured = _binned(samples, day, gap_intervals) if known else (np.empty(0), np.empty(0))
    return Table({"mass_t": mass.astype(np.float32), "measured_cs": np.rint(100 * measured).astype(np.int16)})


def _edges(day: int) -> Codes:
    return day * DAY_US + np.arange(BINS + 1, dtype=np.int64) * (BIN_S * MICROSECONDS)


def _binned(samples: Samples, day: int, gap_intervals: float) -> tuple[Floats, Floats]:
    """(mass [t], seconds measured) in each bin of a day, (BINS,); a sample stands for the time to the next."""
    time_us = samples.time_us
    nominal = nominal_by_day(time_us, day, nominal_interval_us(time_us))
    seconds = credit(time_us, nominal, gap_intervals).credit_us / MICROSECONDS
    rate = belt_t_s(samples)
    known = np.isfinite(rate)
    own = np.where(known, rate, 0.0) * seconds, np.where(known, seconds, 0.0)
    return _spread(time_us, seconds, own[0], day), _spread(time_us, seconds, own[1], day)


def _spread(time_us: Codes, seconds: Floats, amount: Floats, day: int) -> Floats:
    """Amounts spread over the time that each sample stands for, by bin, (BINS,)."""
    ends = time_us + np.rint(seconds * MICROSECONDS).astype(np.int64)
    at = np.stack([time_us, ends], axis=1).ravel()
    total = np.cumsum(amount)
    until = np.stack([total - amount, total], axis=1).ravel()
    spread: Floats = np.diff(np.interp(_edges(day), at, until))
    return spread


def in_time(cells: Table, periods: Table) -> tuple[Table, Codes, Codes]:
    """(cells in order of time, when each began and ended, (n,) microseconds UTC).

    Cells laid on a course know their times but roughly; their boring seconds, one after the other, are those of
    the periods of boring. One that begins where boring paused begins after the pause.
    """
    cells = cells.rows(np.argsort(cells["start_us"] + cells["end_us"], kind="stable"))
    boring = periods.rows(periods["state"] == State.BORING)
    seconds = (boring["end_us"] - boring["start_us"]) / MICROSECONDS
    done, own = np.cumsum(seconds), np.cumsum(cells["boring_s"])
    if not len(done) or not len(own) or own[-1] <= 0:
        return cells, cells["start_us"], cells["end_us"]
    own *= done[-1] / own[-1]
    before = np.concatenate([[0.0], own[:-1]])
    last = len(done) - 1
    first = np.minimum(np.searchsorted(done, before + SAME_S, side="right"), last)
    final = np.maximum(np.minimum(np.searchsorted(done, own - SAME_S, side="left"), last), first)
    start, end = (
        boring["end_us"][at] - np.rint((done[at] - clock) * MICROSECONDS).astype(np.int64)
        for at, clock in ((first, before), (final, own))
    )
    return cells, start, np.maximum(start, end)


def position_at(timed: tuple[Table, Codes, Codes], time_us: Codes) -> Floats:
    """Position of the face at instants, (n,) [m]: along the cells as `in_time` gives them, at rest between."""
    cells, start, end = timed
    if not len(cells):
        return np.zeros(len(time_us))
    at = np.stack([start, end], axis=1).ravel()
    place = np.stack([cells["position_from_m"], cells["position_to_m"]], axis=1).ravel()
    positions: Floats = np.interp(time_us, np.maximum.accumulate(at), np.maximum.accumulate(place))
    return positions


def _lags(folder: Path, belt: tuple[Codes, Floats, Floats, Floats], most_s: float) -> list[Lag]:
    """The lag of each day, from its advance and the belt of the day and as long after as a lag may be; kept by what
    it was found from. belt: days, mass, seconds measured, advance."""
    days, mass, measured, advance = belt
    before, after = round(0.1 * most_s / BIN_S), round(most_s / BIN_S)
    rate = np.where(measured >= 0.5 * BIN_S, mass, np.nan)
    empty = np.full(BINS, np.nan)
    row = {day: i for i, day in enumerate(days.tolist())}
    known, lags, made_from = _known_lags(folder), [], []
    for i, day in enumerate(days.tolist()):
        around = [rate[row[d]] if d in row else empty for d in (day - 1, day, day + 1)]
        seen = np.concatenate(around)[BINS - before : 2 * BINS + after]
        key = hashlib.blake2b(b"".join([seen.tobytes(), np.round(advance[i], 6).tobytes()])).hexdigest()
        if key not in known:
            face = np.concatenate([np.full(before, np.nan), advance[i], np.full(after, np.nan)])
            known[key] = belt_lag(face, seen, BIN_S, most_s)
        lags.append(known[key])
        made_from.append(key)
    _keep_lags(folder, made_from, lags)
    return lags


def _known_lags(folder: Path) -> dict[str, Lag]:
    """Lags that were found before, by what they were found from."""
    read = read_derived(folder, LAGS)
    if read is None or read[1].get("method") != str(METHOD):
        return {}
    columns = (read[0][name].tolist() for name in ("made_from", "lag_s", "strength", "why"))
    return {key: Lag(lag, strength, why) for key, lag, strength, why in zip(*columns, strict=True)}


def _keep_lags(folder: Path, made_from: list[str], lags: list[Lag]) -> None:
    if set(made_from) <= set(_known_lags(folder)):
        return
    table = Table(
        {
            "made_from": texts(made_from),
            "lag_s": np.array([lag.lag_s for lag in lags]),
            "strength": np.array([lag.strength for lag in lags]),
            "why": texts([lag.why for lag in lags]),
        }
    )
    with suppress(OSError):  # disposable: where the folder cannot be written they are found again
        write_derived(folder, LAGS, table, {"method": str(METHOD)})


def with_belt(cells: Table, periods: Table, belt: Belt) -> Table:
    """The cells in order of time, with the muck of each as the scale saw it later: belt_t [t], from the start
    of the cell to that of the next; belt_s [s], seconds of its boring that the scale measured. NaN where no lag
    is known. The mass of all cells is all that passed the scale after the first."""
    cells, start, end = in_time(cells, periods)
    lag_s = _at_day(belt, start)
    if not len(cells) or not np.isfinite(lag_s).all():
        return cells.with_columns({"belt_t": np.full(len(cells), np.nan), "belt_s": np.zeros(len(cells))})
    lag_us = np.rint(lag_s * MICROSECONDS).astype(np.int64)
    start, end = np.maximum.accumulate(start + lag_us), end + lag_us
    last = max((int(belt.day[-1]) + 1) * DAY_US, int(end.max()))
    mass = np.diff(_until(belt, belt.mass_t, np.append(start, last)))
    seen = _until(belt, belt.measured_s, end) - _until(belt, belt.measured_s, start)
    way_s = (end - start) / MICROSECONDS
    share = np.where(way_s > 0, seen / np.where(way_s > 0, way_s, 1.0), 1.0)
    return cells.with_columns({"belt_t": mass, "belt_s": np.clip(share, 0.0, 1.0) * cells["boring_s"]})


def _at_day(belt: Belt, time_us: Codes) -> Floats:
    """The lag [s] at instants: that of the day, or of the nearest day before or after."""
    day = np.floor_divide(time_us, DAY_US)
    at = np.clip(np.searchsorted(belt.day, day, side="right") - 1, 0, len(belt.day) - 1)
    lag: Floats = belt.lag_s[at]
    return lag


def _until(belt: Belt, amounts: Floats, time_us: NDArray[np.int64]) -> Floats:
    """What was counted until instants, (n,)."""
    edges = np.concatenate([_edges(day) for day in belt.day.tolist()])
    by_day = np.concatenate([np.zeros((len(belt.day), 1)), np.cumsum(amounts, axis=1)], axis=1)
    before = np.concatenate([[0.0], np.cumsum(by_day[:-1, -1])])
    until: Floats = np.interp(time_us, edges, (by_day + before[:, None]).ravel())
    return until


def idle_t(belt: Belt) -> tuple[float, float]:
    """(mass counted while the belt was empty [t], hours of it): bins before which nothing was bored for half an
    hour and the day's lag."""
    lag_s = np.nan_to_num(belt.lag_s, nan=0.0)
    mass, hours = 0.0, 0.0
    for i, lag in enumerate(lag_s):
        width = round((IDLE_S + lag) / BIN_S)
        bored = np.convolve(belt.advance_m[i] > 1e-6, np.ones(width), mode="full")[:BINS] > 0.5
        bored[:width] = True  # what went before midnight is not looked at
        mass += float(belt.mass_t[i][~bored].sum())
        hours += float(belt.measured_s[i][~bored].sum()) / 3600
    return mass, hours
