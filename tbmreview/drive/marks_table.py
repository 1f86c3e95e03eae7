"""Marks as rows: where, how sure, when the face met them, on what they rest."""

import numpy as np

from tbmreview.domain.marks import Mark
from tbmreview.domain.planes import between_deg, reach_m
from tbmreview.domain.table import Column, Table
from tbmreview.drive.alignment import Alignment, alignment_of
from tbmreview.drive.columns_text import MARK_COLUMNS
from tbmreview.drive.delays import texts
from tbmreview.drive.export import text_table
from tbmreview.drive.opened import Drive
from tbmreview.drive.photos import photos_text
from tbmreview.drive.reading import Floats

_SHOWN = (
    "id", "kind", "chainage_from_m", "chainage_to_m", "length_m", "first_contact_chainage_m",
    "last_contact_chainage_m", "confidence", "findings", "decided_by", "decided_utc",
)  # fmt: skip


def mark_table(drive: Drive, withdrawn: bool = False) -> Table:
    """Marks in MARK_COLUMNS, along position; with those that were taken back where asked for.

    axis_angle_deg is the angle between planes and axis; the chainages of first and last contact are those of the
    face when it first touched the plane through the mark's start, and last the one through its end. NaN where
    dip, dip direction or the direction of driving (alignment, else [drive] azimuth_deg) is not known.
    """
    marks = drive.marks(withdrawn)
    alignment = alignment_of(drive)
    low, high = (_numbers(marks, name) for name in ("position_from_m", "position_to_m"))
    angle = np.array([axis_angle_deg(drive, m, alignment) for m in marks], np.float64)
    reach = np.array([reach_m(a, drive.setup.machine.bore_diameter_m) for a in angle], np.float64)
    columns: dict[str, Column] = {
        "position_from_m": low,
        "position_to_m": high,
        "chainage_from_m": drive.axis.chainage_m(low),
        "chainage_to_m": drive.axis.chainage_m(high, ends=True),
        "length_m": high - low,
        "axis_angle_deg": angle,
        "first_contact_chainage_m": drive.axis.chainage_m(low - reach),
        "last_contact_chainage_m": drive.axis.chainage_m(high + reach, ends=True),
        "findings": texts([" ".join(m.findings) for m in marks]),
        "photos": texts(["; ".join(m.photos) for m in marks]),
        "decided_utc": np.array([m.decided_us for m in marks], np.int64),
        "version": np.array([m.version for m in marks], np.float64),
        "withdrawn": texts(["yes" if m.withdrawn else "" for m in marks]),
    }
    for name in ("from_u95_m", "to_u95_m", "dip_deg", "dip_direction_deg"):
        columns[name] = _numbers(marks, name)
    for name in ("id", "kind", "confidence", "ground", "note", "decided_by"):
        columns[name] = texts([getattr(m, name) for m in marks])
    return Table({name: columns[name] for name in MARK_COLUMNS})


def axis_angle_deg(drive: Drive, mark: Mark, alignment: Alignment | None) -> float:
    """Angle between a mark's planes and the axis in its middle, degrees; NaN where something is not known."""
    middle = (mark.position_from_m + mark.position_to_m) / 2
    stated = drive.setup.drive.azimuth_deg
    azimuth, plunge = np.nan if stated is None else stated, 0.0
    if alignment is not None and alignment.azimuth_deg(middle) == alignment.azimuth_deg(middle):
        azimuth, plunge = alignment.azimuth_deg(middle), alignment.plunge_deg(middle)
    return between_deg(mark.dip_deg, mark.dip_direction_deg, azimuth, plunge)


def _numbers(marks: tuple[Mark, ...], name: str) -> Floats:
    return np.array([getattr(m, name) for m in marks], np.float64)


def marks_text(drive: Drive, withdrawn: bool = False) -> str:
    """Marks for a terminal: a line of figures each, then what was written of each; with those that were taken back
    where asked for."""
    rows = mark_table(drive, withdrawn)
    if not len(rows):
        return (
            "no marks; draw one in the window, or with: tbmreview mark DRIVE draw --kind KIND --from C --to C"
        )
    said = [(mark.id, _written(drive, mark)) for mark in drive.marks(withdrawn)]
    notes = [f"{name}: {text}" for name, text in said if text]
    shown = (*_SHOWN, "withdrawn") if withdrawn else _SHOWN
    return "\n".join([text_table(rows, drive.setup.drive.zone, shown), *([""] if notes else []), *notes])


def _written(drive: Drive, mark: Mark) -> str:
    """Note, ground and photos of a mark in one line; '' where there is none."""
    photos = photos_text(drive.folder, mark)
    parts = (mark.note, mark.ground and f"ground: {mark.ground}", photos and f"photos: {photos}")
    return "; ".join(part for part in parts if part)
