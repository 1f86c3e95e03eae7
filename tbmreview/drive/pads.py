"""Forces of the pads on the last ring by ring, stroke, shift, day or drive: pieces summed, then the same functions.

Told apart is what the machine did: pads that push the machine forward load the ring otherwise than pads that hold it.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tbmreview.domain.errors import UsageError
from tbmreview.domain.shifts import shifts_covering
from tbmreview.domain.states import State
from tbmreview.domain.table import Column, Table
from tbmreview.drive.belt import in_time, position_at
from tbmreview.drive.delays import texts
from tbmreview.drive.pad_sums import OF_ALL, OF_EACH, LoggedPad, PadDrive, into_ring, logged_pads, pad_sums
from tbmreview.drive.progress import Progress
from tbmreview.drive.reading import NO_STROKE, Codes, Floats
from tbmreview.drive.ring_places import known_rings
from tbmreview.indicators.pads import centre_of_thrust_mm, direction_deg, eccentricity_mm, of_limit
from tbmreview.indicators.record import ratio

GROUPINGS = ("ring", "stroke", "shift", "day", "drive")
PUSHING, HOLDING, REGRIPPING, BUILDING = "pushing", "holding", "regripping", "ring building"
DOING = (PUSHING, HOLDING, REGRIPPING, BUILDING)


@dataclass(frozen=True, slots=True)
class PadForces:
    """pads: as they are logged. rows: the table. sums: of all pieces (drive.pad_sums)."""

    pads: tuple[LoggedPad, ...]
    rows: Table
    sums: Table


def pad_forces(drive: PadDrive, by: str = "ring", progress: Progress | None = None) -> PadForces:
    """Force of each pad and the eccentricity of all, a row for each ring, stroke, shift, day or the drive and for each of
    DOING, along the record.

    pushing: boring whose thrust goes into the ring; holding: everything else but regripping and ring building. Columns:
    ring, stroke, or date and shift; doing; chainage_from_m, chainage_to_m of the face, start_utc, end_utc; all_pads_s
    [s], while every pad was measured, and of that time total_kN and the centre of thrust (to the right and up, looking
    in the direction of driving; eccentricity_mm, its direction from the crown clockwise); eccentricity_max_mm of single
    samples; highest_pad and highest_kN; shares of [pads] force_limit_kN and eccentricity_limit_mm; then of each pad its
    mean by time, its greatest and that over the limit. Missing is NaN: without one pad its own figures, the total and the
    centre. UsageError if `by` is none; DriveError where no pads are stated or logged, or no ring is known.
    """
    if by not in GROUPINGS:
        raise UsageError(f"--by {by}: expected one of {', '.join(GROUPINGS)}")
    pads = logged_pads(drive)
    if by == "ring":
        known_rings(drive, "stroke, shift, day and drive")
    pieces = pad_sums(drive, pads, progress)
    middle = pieces["start_us"] + (pieces["end_us"] - pieces["start_us"]) // 2
    group, labels = _GROUPED[by](drive, middle)
    key = group * len(DOING) + _doing(drive, middle)
    present, number = np.unique(key, return_inverse=True)
    sums = summed(pieces, number.astype(np.int64), len(present))
    rows = Table(
        {
            **{name: values[present // len(DOING)] for name, values in labels.items()},
            "doing": texts([DOING[code] for code in (present % len(DOING)).tolist()]),
            **_place(drive, sums),
            **figures(sums, pads, drive),
        }
    )
    return PadForces(pads, rows.rows(np.argsort(sums["start_us"], kind="stable")), pieces)


def summed(pieces: Table, number: Codes, size: int) -> Table:
    """Pieces summed by group, (size,): sums added, the greatest kept, the first start and the last end."""
    out: dict[str, Column] = {}
    for name in pieces:
        if name in ("start_us", "end_us"):
            first = name == "start_us"
            column = np.full(size, np.iinfo(np.int64).max if first else np.iinfo(np.int64).min)
            (np.minimum if first else np.maximum).at(column, number, pieces[name])
        elif name in OF_ALL or name.rpartition("_")[0] in OF_EACH:
            column = np.bincount(number, pieces[name], size)
        else:
            column = np.full(size, np.nan)
            np.fmax.at(column, number, pieces[name])
        out[name] = column
    return Table(out)


def figures(sums: Table, pads: tuple[LoggedPad, ...], drive: PadDrive) -> dict[str, Column]:
    """The figures of rows of sums, each a pure function of them."""
    stated, count = drive.setup.pads, len(pads)
    together, own, seconds, most = (
        np.stack([sums[f"{name}_{i}"] for i in range(count)], axis=1)
        for name in ("all_kN_s", "kN_s", "s", "max_kN")
    )
    measured = sums["all_s"] > 0
    known = np.where(measured[:, None], together, np.nan)
    assert stated.radius_m is not None  # checked with the angles
    right, up = centre_of_thrust_mm(known, np.array([pad.angle_deg for pad in pads]), stated.radius_m)
    off, largest = eccentricity_mm(right, up), sums["eccentricity_max_mm"]
    highest, name = _highest(most, pads)
    columns: dict[str, Column] = {
        "all_pads_s": sums["all_s"],
        "total_kN": ratio(known.sum(axis=1), sums["all_s"]),
        "eccentricity_right_mm": right,
        "eccentricity_up_mm": up,
        "eccentricity_mm": off,
        "eccentricity_deg": direction_deg(right, up),
        "eccentricity_of_limit": of_limit(off, stated.eccentricity_limit_mm),
        "eccentricity_max_mm": largest,
        "eccentricity_max_of_limit": of_limit(largest, stated.eccentricity_limit_mm),
        "highest_pad": name,
        "highest_kN": highest,
        "highest_of_limit": of_limit(highest, stated.force_limit_kN),
    }
    for i, pad in enumerate(pads):
        columns[f"pad_{pad.label}_kN"] = ratio(own[:, i], seconds[:, i])
        columns[f"pad_{pad.label}_max_kN"] = most[:, i]
        columns[f"pad_{pad.label}_max_of_limit"] = of_limit(most[:, i], stated.force_limit_kN)
    return columns


def _highest(most: Floats, pads: tuple[LoggedPad, ...]) -> tuple[Floats, Column]:
    """(the greatest force of any pad, which pad it was)."""
    known = np.isfinite(most)
    at: Codes = np.where(known, most, -np.inf).argmax(axis=1)
    some = np.any(known, axis=1)
    named = [
        pads[i].label if is_known else "" for i, is_known in zip(at.tolist(), some.tolist(), strict=True)
    ]
    return np.where(some, most[np.arange(len(at)), at], np.nan), texts(named)


def _place(drive: PadDrive, sums: Table) -> dict[str, Column]:
    timed = in_time(drive.cells, drive.periods)
    low, high = (position_at(timed, sums[name]) for name in ("start_us", "end_us"))
    return {
        "chainage_from_m": drive.axis.chainage_m(low),
        "chainage_to_m": drive.axis.chainage_m(high, ends=True),
        "start_utc": sums["start_us"],
        "end_utc": sums["end_us"],
    }


def _at(starts: Codes, time_us: Codes) -> Codes:
    """Number of the last of rising starts at or before each instant, -1 before the first."""
    number: Codes = np.searchsorted(starts, time_us, side="right") - 1
    return number


def _doing(drive: PadDrive, middle_us: Codes) -> Codes:
    """Number in DOING at each instant, (n,)."""
    periods, (changes_us, ring) = drive.periods, into_ring(drive)
    state, loaded = np.full(len(middle_us), State.NO_RECORD, np.int64), np.zeros(len(middle_us), bool)
    at = _at(periods["start_us"], middle_us)
    state[at >= 0] = periods["state"][at[at >= 0]]
    at = _at(changes_us, middle_us)
    loaded[at >= 0] = ring[at[at >= 0]]
    found = np.full(len(middle_us), DOING.index(HOLDING), np.int64)
    found[state == State.REGRIP] = DOING.index(REGRIPPING)
    found[state == State.RING_BUILD] = DOING.index(BUILDING)
    found[(state == State.BORING) & loaded] = DOING.index(PUSHING)
    return found


_Grouped = tuple[Codes, dict[str, Column]]  # the group of each piece, and the labels of each group


def _by_ring(drive: PadDrive, middle_us: Codes) -> _Grouped:
    """The ring that was current; before the first and after the last none is."""
    rings = drive.rings
    at = _at(rings["start_us"], middle_us)
    inside = (at >= 0) & (middle_us < rings["end_us"][np.maximum(at, 0)])
    return np.where(inside, at, len(rings)), {"ring": np.append(rings["ring"].astype(np.float64), np.nan)}


def _by_stroke(drive: PadDrive, middle_us: Codes) -> _Grouped:
    strokes = drive.strokes
    number = _at(strokes["stroke_start_us"], middle_us) + 1
    labels = np.arange(len(strokes) + 1, dtype=np.float64)
    return number, {"stroke": np.where(labels == NO_STROKE, np.nan, labels)}


def _shifts(drive: PadDrive, middle_us: Codes) -> tuple[Codes, list[str], list[str]]:
    """(the shift of each instant, dates and names of the shifts)."""
    if not len(middle_us):
        return np.zeros(0, np.int64), [], []
    shifts = shifts_covering(drive.setup, int(middle_us.min()), int(middle_us.max()))
    return shifts.index(middle_us), [day.isoformat() for day in shifts.dates], list(shifts.names)


def _by_shift(drive: PadDrive, middle_us: Codes) -> _Grouped:
    number, dates, names = _shifts(drive, middle_us)
    return number, {"date": texts(dates), "shift": texts(names)}


def _by_day(drive: PadDrive, middle_us: Codes) -> _Grouped:
    number, dates, _ = _shifts(drive, middle_us)
    days = sorted(set(dates))
    of_shift = np.array([days.index(day) for day in dates], np.int64)
    return of_shift[number], {"date": texts(days)}


def _by_drive(drive: PadDrive, middle_us: Codes) -> _Grouped:
    return np.zeros(len(middle_us), np.int64), {}


_GROUPED: dict[str, Callable[[PadDrive, Codes], _Grouped]] = {
    "ring": _by_ring,
    "stroke": _by_stroke,
    "shift": _by_shift,
    "day": _by_day,
    "drive": _by_drive,
}
