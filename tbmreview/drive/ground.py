"""Taking a ground table into a drive."""

import hashlib
from datetime import date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from tbmreview.domain.errors import UsageError
from tbmreview.domain.ground import GROUND_KINDS, PREDICTED
from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.site import FOR_EVER_US
from tbmreview.domain.table import Column, Table
from tbmreview.drive.classes import unclassed
from tbmreview.drive.history import person
from tbmreview.drive.stored import StoredDrive
from tbmreview.ingest.ground_table import read_ground
from tbmreview.store.writing import writing


def import_ground(
    folder: Path | str, file: Path | str, kind: str, name: str | None = None, issued: str | None = None
) -> str:
    """Import a ground table as mapped, predicted or probed; says in lines what was done.

    name: of the table, by default the file's name without its suffix. A mapped or probed table replaces
    the one of its name; a predicted one is a baseline and stays as issued: the same name with other
    content is refused (GroundError). The same content again changes nothing. issued: YYYY-MM-DD; the table is
    read with the chainage equations in force on that day, without it with all.
    """
    if kind not in GROUND_KINDS:
        raise UsageError(f"--as {kind}: expected one of {', '.join(GROUND_KINDS)}")
    day = _date(issued)
    folder, file = Path(folder), Path(file)
    drive = StoredDrive(folder)
    zone = drive.setup.drive.zone
    table = read_ground(file, drive.axis_at(_end_of(day, zone)), zone, drive.time_span_us)
    name = name or file.stem
    what = f"{kind} ground '{name}'"
    if _is_there(drive, kind, name, day, table):
        return f"{what}: in the drive already, nothing changed"
    sha256 = hashlib.sha256(file.read_bytes()).hexdigest()
    with writing(folder, person()) as work:
        work.add_ground(kind, name, day, (file.name, sha256), table)
        work.record(
            "ground", {"kind": kind, "name": name, "issued": day, "file": file.name, "intervals": len(table)}
        )
    low, high = table["position_from_m"].min(), table["position_to_m"].max()
    ends = drive.axis.chainage_m(np.array([low, high]))
    said = f"{what}: {len(table)} intervals, chainage {ends[0]:.2f} to {ends[1]:.2f} m"
    return "\n".join([said, *(f"note: {line}" for line in unclassed(table))])


def _date(issued: str | None) -> str:
    if issued is None:
        return ""
    try:
        return date.fromisoformat(issued).isoformat()
    except ValueError:
        raise UsageError(f"--issued {issued}: expected a date such as 2030-05-01") from None


def _end_of(day: str, zone: ZoneInfo) -> int:
    """The last instant of a day of issue, microseconds UTC: of what came into force later, who issued the
    table did not know. Without a day, for ever."""
    if not day:
        return FOR_EVER_US
    midnight = datetime.combine(date.fromisoformat(day) + timedelta(days=1), time(), zone)
    return round(midnight.timestamp() * MICROSECONDS)


def _is_there(drive: StoredDrive, kind: str, name: str, issued: str, table: Table) -> bool:
    """Whether importing would change nothing: the same content and date are there under the name, and
    (a prediction apart, which is asked for by name) no later table is in front of it."""
    entries = drive.ground_entries(kind)
    of_name = [entry for entry in entries if entry.name == name]
    if not of_name or of_name[-1].issued != issued:
        return False
    if kind != PREDICTED and entries[-1].name != name:
        return False
    known = drive.ground(kind, name)
    return len(known) == len(table) and all(_same(known[column], table[column]) for column in known)


def _same(one: Column, other: Column) -> bool:
    return bool(np.array_equal(one, other, equal_nan=one.dtype.kind == "f"))
