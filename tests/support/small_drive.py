"""A small invented drive and its logs, for tests of what is written to disk."""

import errno
import itertools
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tbmreview.drive.opened import Drive, open_drive
from tbmreview.drive.start import start
from tbmreview.store.catalogue import reading
from tbmreview.store.disk import Watch

SETUP = """
[drive]
name = "Larkfell, east drive"  # invented
timezone = "Europe/Oslo"
chainage_start_m = 4180.0
chainage_direction = "increasing"

[machine]
kind = "double shield"
bore_diameter_m = 6.40
disc_count = 42
"""
MIDNIGHT = datetime(2030, 5, 2, tzinfo=UTC)
HEADER = "Time UTC,Main thrust [kN],Torque [kNm],Head speed [rpm],Penetration [mm/rev],Main stroke [mm]"


def row(second: int, *, thrust: str = "", stroke: str = "") -> str:
    """A row so many seconds after midnight UTC (or before it, where negative), boring steadily."""
    at = MIDNIGHT + timedelta(seconds=second)
    values = [thrust or f"{9000 + second % 7 * 10}", f"{1500 + second % 5}", "7.50", "8.00"]
    return ",".join([f"{at:%Y-%m-%dT%H:%M:%S}Z", *values, stroke or f"{500 + second % 1500:.1f}"])


def write_log(path: Path, rows: list[str]) -> Path:
    """A log with these rows."""
    path.write_text("\n".join([HEADER, *rows]) + "\n", encoding="utf-8")
    return path


def small_log(path: Path, seconds: range = range(-90, 90)) -> Path:
    """A log of steady boring across midnight UTC."""
    return write_log(path, [row(second) for second in seconds])


def new_drive(folder: Path) -> Drive:
    """A drive without samples."""
    setup = folder.with_name(f"{folder.name}.toml")
    setup.write_text(SETUP, encoding="utf-8")
    return start(folder, setup)


def state_of(folder: Path) -> tuple[object, ...]:
    """What the drive says it holds: chunks by content, sources, quarantine, conflicts, history."""
    with reading(folder) as db:
        told = [
            db.execute(f"SELECT {columns} FROM {table} ORDER BY 1, 2").fetchall()
            for table, columns in (
                ("current_chunk", "utc_day, content_hash, rows"),
                ("source", "id, sha256, kept, duplicates, quarantined"),
                ("quarantine", "source, line, reason, text"),
                ("conflict", "source, time_us, channel, kept, offered, channels"),
                ("history", "what, who"),
                ("ground", "id, kind, name"),
            )
        ]
    return tuple(told)


def bytes_of(folder: Path) -> dict[str, bytes]:
    """Every file of the folder, derived ones aside."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.parent.name != "derived"
    }


def all_samples(folder: Path) -> dict[str, list[float]]:
    """Every stored value, channel by channel, and the stamps."""
    drive = open_drive(folder)
    first, last = drive.time_span_us or (0, 0)
    samples = drive.samples(first, last + 1)
    return {"time_us": samples.time_us.tolist(), **{n: v.tolist() for n, v in samples.values.items()}}


def full_disk_at(operation: int) -> Watch:
    """For `disk.before`: the operation of this number, counted from 0, finds the disk full."""
    count = itertools.count()

    def before(name: str, path: Path) -> None:
        if next(count) == operation:
            raise OSError(errno.ENOSPC, "No space left on device", str(path))

    return before
