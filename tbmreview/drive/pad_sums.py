"""Forces of pads as sums that add in time: which columns of the logs they are, and their sums between moments, kept day by
day.

The moments are where a period, a stroke or a ring begins or ends or another set begins to push, so that any of these is a sum of whole pieces.
"""

import hashlib
import json
from dataclasses import dataclass
from functools import partial
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.channels import EXTRA_PREFIX
from tbmreview.domain.errors import DriveError
from tbmreview.domain.pads import NEGATIVE, Pads
from tbmreview.domain.samples import DAY_US, MICROSECONDS, Samples
from tbmreview.domain.setup import SINGLE_SHIELD
from tbmreview.domain.states import PushingSet, Reaction
from tbmreview.domain.table import Table
from tbmreview.drive.belt import Logged, in_time
from tbmreview.drive.by_day import OfDays, by_day
from tbmreview.drive.progress import Progress
from tbmreview.drive.reading import Codes, Floats
from tbmreview.indicators.pads import centre_of_thrust_mm, eccentricity_mm, pad_force_kN
from tbmreview.ingest.headers import tidy
from tbmreview.ingest.pads import FORCE, PRESSURE, PadColumn, pad_columns, stated_column, unit_named
from tbmreview.ingest.units import Unit
from tbmreview.motion.credit import credit, nominal_by_day, nominal_interval_us

METHOD = 2  # raised with any change of this part that changes results
# Beside them a column a pad: kN_s_0, s_0 (its own integral and seconds), max_kN_0, all_kN_s_0 (while all are measured).
OF_ALL = ("all_s", "thrust_kN_s", "thrust_pads_kN_s")
OF_EACH = ("kN_s", "s", "all_kN_s")


class PadDrive(Logged, Protocol):
    """A drive with its samples that knows its channels."""

    @property
    def channels(self) -> tuple[str, ...]:
        """Every channel that some chunk has."""


@dataclass(frozen=True, slots=True)
class LoggedPad:
    """A pad. label: number or letter. name: its channel in the store, '' if it is not logged. unit: of its column. factor:
    force in kN, pushing positive, of a value as written."""

    label: str
    angle_deg: float
    name: str
    unit: str
    factor: float


def logged_pads(drive: PadDrive) -> tuple[LoggedPad, ...]:
    """The pads as [pads] states them, each with its column in the logs. DriveError where none are stated or logged, where
    columns and angles do not fit, or where a unit or an area is missing."""
    pads = drive.setup.pads
    seen = pad_columns(drive.channels)
    if not pads.angles_deg:
        there = (
            f"; columns that speak of pads: {_listed(seen)}"
            if seen
            else "; no column of the logs speaks of a pad"
        )
        raise DriveError(
            f"no pads are stated: [pads] in drive.toml says where they push (angles_deg, radius_m, pushes){there}"
        )
    columns = _stated(drive, pads) if pads.columns else _found(pads, seen)
    labels = [column.label if column else "" for column in columns]
    if not all(labels) or len(set(labels)) < len(labels):
        labels = [str(number) for number in range(1, len(columns) + 1)]
    return tuple(
        _logged(pads, column, label, angle)
        for column, label, angle in zip(columns, labels, pads.angles_deg, strict=True)
    )


def _stated(drive: PadDrive, pads: Pads) -> list[PadColumn | None]:
    names = [EXTRA_PREFIX + tidy(heading) if heading else "" for heading in pads.columns]
    missing = [
        heading
        for heading, name in zip(pads.columns, names, strict=True)
        if name and name not in drive.channels
    ]
    if missing:
        kept = [name.removeprefix(EXTRA_PREFIX) for name in drive.channels if name.startswith(EXTRA_PREFIX)]
        raise DriveError(
            f"[pads] columns: no log has {', '.join(repr(heading) for heading in missing)}; further columns of the logs "
            f"are {', '.join(map(repr, kept)) or 'none'}"
        )
    return [stated_column(name) if name else None for name in names]


def _found(pads: Pads, seen: tuple[PadColumn, ...]) -> list[PadColumn | None]:
    """The columns that speak of pads, of forces before pressures."""
    if not seen:
        raise DriveError(
            "no log has a column of a pad; where they are called otherwise, name them in [pads] columns"
        )
    for quantity in (FORCE, PRESSURE, ""):
        of = [column for column in seen if (column.unit.quantity if column.unit else "") == quantity]
        if len(of) == len(pads.angles_deg) == len({column.label for column in of}):
            return list(of)
    raise DriveError(
        f"[pads] angles_deg has {len(pads.angles_deg)} pads, the columns that speak of pads are {_listed(seen)}; name those "
        'meant in [pads] columns, "" for a pad that is not logged'
    )


def _listed(columns: tuple[PadColumn, ...]) -> str:
    return ", ".join(repr(column.name.removeprefix(EXTRA_PREFIX)) for column in columns)


def _logged(pads: Pads, column: PadColumn | None, label: str, angle_deg: float) -> LoggedPad:
    if column is None:
        return LoggedPad(label, angle_deg, "", "", np.nan)
    heading = column.name.removeprefix(EXTRA_PREFIX)
    unit = _unit_of(pads, column, heading)
    factor = unit.factor * (-1.0 if pads.pushes == NEGATIVE else 1.0)
    if unit.quantity == PRESSURE:
        if pads.area_m2 is None:
            raise DriveError(
                f"{heading!r} is a pressure: state [pads] area_m2, the pistons of one pad together"
            )
        factor = float(pad_force_kN(np.array([factor]), pads.area_m2)[0])
    return LoggedPad(label, angle_deg, column.name, unit.name, factor)


def _unit_of(pads: Pads, column: PadColumn, heading: str) -> Unit:
    stated = unit_named(pads.unit) if pads.unit else None
    if column.unit is None and stated is None:
        raise DriveError(f"{heading!r} states no unit: state [pads] unit, kN, MN, bar or MPa")
    if (
        column.unit
        and stated
        and (column.unit.quantity, column.unit.factor) != (stated.quantity, stated.factor)
    ):
        raise DriveError(
            f"[pads] unit = {pads.unit!r}, but {heading!r} is in {column.unit.name}; leave unit out"
        )
    found = column.unit or stated
    assert found is not None  # one of them is there
    return found


def pad_sums(drive: PadDrive, pads: tuple[LoggedPad, ...], progress: Progress | None = None) -> Table:
    """The sums of pads between moments, in order of time: start_us, end_us, OF_ALL, OF_EACH and max_kN of each pad,
    eccentricity_max_mm. A sample stands for the time to the next, at most the usual gap."""
    stated, moments = drive.setup.pads, _moments(drive)
    settings = json.dumps(
        [
            *(
                "pads",
                METHOD,
                drive.setup.machine.kind,
                drive.setup.motion.gap_intervals,
                stated.radius_m,
                stated.least_total_kN,
            ),
            [(pad.angle_deg, pad.name, str(pad.factor)) for pad in pads],
        ]
    )
    thrust = thrust_of_pads(drive.setup.machine.kind)
    channels = [*(pad.name for pad in pads if pad.name), thrust]
    make = partial(_of_day, (drive.setup.motion.gap_intervals, thrust), stated, pads, moments)
    of = OfDays("pads", settings, channels, make, _empty(len(pads)), partial(_beside, moments))
    return by_day(drive, of, progress)[0]


def thrust_of_pads(kind: str) -> str:
    """The channel of all the cylinders that push on the ring through pads: of a single shield the main set's."""
    return "main_thrust_kN" if kind == SINGLE_SHIELD else "aux_thrust_kN"


def _moments(drive: PadDrive) -> Codes:
    """Where a period, a stroke or a ring begins or ends, and where another set begins to push, rising [us]."""
    periods, rings = drive.periods, drive.rings
    of_rings = [rings[name] for name in ("start_us", "end_us") if name in rings]
    of_strokes = [drive.strokes["stroke_start_us"], into_ring(drive)[0]]
    moments = np.concatenate([periods["start_us"], periods["end_us"], *of_strokes, *of_rings])
    return np.unique(moments).astype(np.int64)


def into_ring(drive: PadDrive) -> tuple[Codes, NDArray[np.bool_]]:
    """(from when on [us], whether the thrust of boring goes into the ring), for each change along the record."""
    cells, start_us, _ = in_time(drive.cells, drive.periods)
    ring = (cells["pushing_set"] == PushingSet.AUX) | (cells["reaction"] == Reaction.RING)
    changes = np.flatnonzero(np.r_[True, ring[1:] != ring[:-1]][: len(ring)])
    return np.maximum.accumulate(start_us[changes]), ring[changes]


def _within(moments: Codes, day: int) -> Codes:
    low, high = np.searchsorted(moments, (day * DAY_US, (day + 1) * DAY_US))
    return moments[low:high]


def _beside(moments: Codes, day: int) -> str:
    return hashlib.blake2b(_within(moments, day).tobytes(), digest_size=8).hexdigest()


def _empty(count: int) -> Table:
    return _table(np.empty((0, 2), np.int64), {name: np.empty(0) for name in _names(count)})


def _names(count: int) -> tuple[str, ...]:
    of_pads = (f"{name}_{i}" for i in range(count) for name in (*OF_EACH, "max_kN"))
    return (*OF_ALL, "eccentricity_max_mm", *of_pads)


def _table(times: Codes, columns: dict[str, Floats]) -> Table:
    return Table({"start_us": times[:, 0].copy(), "end_us": times[:, 1].copy(), **columns})


def _of_day(
    known: tuple[float, str],
    stated: Pads,
    pads: tuple[LoggedPad, ...],
    moments: Codes,
    day: int,
    samples: Samples,
) -> Table:
    """The pieces of a day in which a pad was measured. known: most intervals that a sample stands for, and the channel of
    the pads' thrust."""
    gap_intervals, thrust = known
    forces = np.stack([samples.get(pad.name) * pad.factor for pad in pads], axis=1)
    if not np.isfinite(forces).any():
        return _empty(len(pads))
    time_us = samples.time_us
    nominal = nominal_by_day(time_us, day, nominal_interval_us(time_us))
    ends_us = time_us + credit(time_us, nominal, gap_intervals).credit_us
    last = max((day + 1) * DAY_US, int(ends_us[-1]))  # what the last sample stands for goes with its day
    edges = np.unique(np.concatenate([[day * DAY_US, last], _within(moments, day)])).astype(np.int64)
    rates, greatest = _rates(forces, samples.get(thrust)), _greatest(forces, stated, pads)
    columns = {name: _summed(rate, time_us, ends_us, edges) for name, rate in rates.items()}
    first = np.searchsorted(ends_us, edges[:-1], side="right")
    stop = np.searchsorted(time_us, edges[1:], side="left")
    columns |= {name: _most(values, first, stop) for name, values in greatest.items()}
    kept = np.flatnonzero(sum(columns[f"s_{i}"] for i in range(len(pads))) > 0)
    table = _table(np.stack([edges[:-1], edges[1:]], axis=1), {n: columns[n] for n in _names(len(pads))})
    return table.rows(kept)


def _rates(forces: Floats, thrust_kN: Floats) -> dict[str, Floats]:
    """What each sum grows by in a second, (n,) each; forces: (n, pads) in kN."""
    known = np.isfinite(forces)
    every = np.all(known, axis=1)
    both = every & np.isfinite(thrust_kN)
    rates: dict[str, Floats] = {
        "all_s": every.astype(np.float64),
        "thrust_kN_s": np.where(both, thrust_kN, 0.0),
        "thrust_pads_kN_s": np.where(both, np.nan_to_num(forces).sum(axis=1), 0.0),
    }
    for i in range(forces.shape[1]):
        rates[f"kN_s_{i}"] = np.where(known[:, i], forces[:, i], 0.0)
        rates[f"s_{i}"] = known[:, i].astype(np.float64)
        rates[f"all_kN_s_{i}"] = np.where(every, forces[:, i], 0.0)
    return rates


def _greatest(forces: Floats, stated: Pads, pads: tuple[LoggedPad, ...]) -> dict[str, Floats]:
    """What the greatest is taken of, (n,) each."""
    assert stated.radius_m is not None  # checked with the angles
    centre = centre_of_thrust_mm(forces, np.array([pad.angle_deg for pad in pads]), stated.radius_m)
    least = np.inf if stated.least_total_kN is None else stated.least_total_kN
    off: Floats = np.where(forces.sum(axis=1) >= least, eccentricity_mm(*centre), np.nan)
    greatest: dict[str, Floats] = {f"max_kN_{i}": forces[:, i] for i in range(forces.shape[1])}
    return {**greatest, "eccentricity_max_mm": off}


def _summed(rate: Floats, time_us: Codes, ends_us: Codes, edges: Codes) -> Floats:
    """Rates times the seconds that their samples stand for, between edges, (len(edges) - 1,)."""
    amount = rate * ((ends_us - time_us) / MICROSECONDS)
    total = np.cumsum(amount)
    at = np.stack([time_us, ends_us], axis=1).ravel()
    until = np.stack([total - amount, total], axis=1).ravel()
    between: Floats = np.diff(np.interp(edges, at, until))
    return between


def _most(values: Floats, first: Codes, stop: Codes) -> Floats:
    """The greatest of values[first:stop] of each piece; NaN where none is measured."""
    return np.array(
        [np.fmax.reduce(values[a:b]) if b > a else np.nan for a, b in zip(first, stop, strict=True)],
        np.float64,
    )
