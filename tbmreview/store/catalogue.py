"""Reading catalogue.sqlite: what the drive holds. Each reading opens and closes the file.

The journal is a rollback journal, so a closed drive is one file that a read-only disk can carry,
and what a stopped writer left half done is undone by whoever opens the drive next.
"""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tbmreview.domain.errors import DriveBusy, DriveError
from tbmreview.domain.ground import GROUND_COLUMNS, empty_ground
from tbmreview.domain.table import Table
from tbmreview.store.layout import Layout
from tbmreview.store.versions import SCHEMA_VERSION, version_of

_STAMPED_SINCE = 6  # version of the schema from which quarantined rows tell their stamps
READ_WAIT_S = 30.0  # for a commit to end; takes milliseconds


@dataclass(frozen=True, slots=True)
class Chunk:
    """The current chunk of a UTC day; path is below the drive folder."""

    utc_day: int
    path: str
    rows: int
    first_us: int
    last_us: int
    channels: tuple[str, ...]
    content_hash: str
    file_sha256: str


@dataclass(frozen=True, slots=True)
class GroundEntry:
    """A ground table of the drive: issued is a date or ''."""

    id: int
    kind: str
    name: str
    issued: str
    added_us: int
    source_name: str
    source_sha256: str


@dataclass(frozen=True, slots=True)
class HistoryEntry:
    """Who did what, when."""

    who: str
    when_us: int
    what: str
    details: dict[str, Any]


@contextmanager
def sqlite_errors(folder: Path) -> Iterator[None]:
    """What SQLite reports about files and locks, as a DriveError of one line."""
    try:
        yield
    except (sqlite3.IntegrityError, sqlite3.ProgrammingError):
        raise  # a mistake of ours
    except sqlite3.DatabaseError as error:
        raise _told(folder, error) from error


def _told(folder: Path, error: sqlite3.DatabaseError) -> DriveError:
    name = getattr(error, "sqlite_errorname", "")
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return DriveBusy(
            f"{folder}: another program is writing to this drive; try again when it has finished"
        )
    if name.startswith("SQLITE_FULL"):
        return DriveError(f"{folder}: the disk is full; the drive is as it was")
    if name.startswith("SQLITE_IOERR"):
        return DriveError(f"{folder}: catalogue.sqlite: {error}; is the disk full? The drive is as it was")
    if name.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM", "SQLITE_AUTH")):
        return DriveError(f"{folder}: catalogue.sqlite cannot be used ({error}); the drive is as it was")
    return DriveError(f"{folder}: catalogue.sqlite is damaged ({error})")


def connect(folder: Path, wait_s: float) -> sqlite3.Connection:
    """A connection without automatic transactions; DriveError if the folder is no drive."""
    path = Layout(folder).catalogue
    if not path.is_file():
        raise DriveError(f"{folder}: no drive (it has no catalogue.sqlite); make one with: tbmreview start")
    with sqlite_errors(folder):
        uri = f"{path.absolute().as_uri()}?mode=rw"
        db = sqlite3.connect(uri, uri=True, timeout=wait_s, isolation_level=None)
        try:
            version = version_of(db)
        except BaseException:
            db.close()
            raise
    if not 1 <= version <= SCHEMA_VERSION:
        db.close()
        raise DriveError(
            f"{folder}: catalogue.sqlite has version {version}, this program reads up to {SCHEMA_VERSION}; "
            "use the version of tbmreview that made the drive, or a newer one"
        )
    return db


@contextmanager
def reading(folder: Path) -> Iterator[sqlite3.Connection]:
    """A connection that reads only, on one state of the catalogue."""
    db = connect(folder, READ_WAIT_S)
    try:
        with sqlite_errors(folder):
            db.execute("PRAGMA query_only = ON")
            db.execute("BEGIN")
            yield db
    finally:
        db.close()


_CHUNK = "utc_day, path, rows, first_us, last_us, channels, content_hash, file_sha256"


def current_chunks(db: sqlite3.Connection) -> tuple[Chunk, ...]:
    """The chunk of each UTC day, in order of time."""
    found = db.execute(f"SELECT {_CHUNK} FROM current_chunk ORDER BY utc_day")
    return tuple(
        Chunk(day, path, rows, first, last, tuple(json.loads(channels)), content, sha256)
        for day, path, rows, first, last, channels, content, sha256 in found
    )


def replaced_chunks(db: sqlite3.Connection) -> set[str]:
    """Paths of chunks that newer ones have replaced; their files may be gone."""
    return {path for (path,) in db.execute("SELECT path FROM chunk WHERE superseded_us IS NOT NULL")}


def ground_entries(db: sqlite3.Connection, kind: str) -> tuple[GroundEntry, ...]:
    """The latest table of each name of a kind, the latest import last."""
    columns = "id, kind, name, issued, added_us, source_name, source_sha256"
    found = db.execute(f"SELECT {columns} FROM current_ground WHERE kind = ? ORDER BY id", (kind,))
    return tuple(GroundEntry(*row) for row in found)


def ground_table(db: sqlite3.Connection, ground: int) -> Table:
    """The intervals of a ground table, in the columns of domain.ground."""
    found = db.execute("SELECT content FROM ground_interval WHERE ground = ? ORDER BY number", (ground,))
    rows = [json.loads(content) for (content,) in found]
    kinds = {name: column.dtype for name, column in empty_ground().columns.items()}
    blank = {
        name: "" if kind.hasobject else None for name, kind in kinds.items()
    }  # of columns that came later
    return Table(
        {
            name: _ground_column([row.get(name, blank[name]) for row in rows], kinds[name])
            for name, _, _ in GROUND_COLUMNS
        }
    )


def _ground_column(values: list[Any], kind: np.dtype[Any]) -> np.ndarray[Any, Any]:
    if kind.hasobject:
        return np.array(["" if value is None else value for value in values], dtype=object)
    return np.array([np.nan if value is None else value for value in values], np.float64)


def history(db: sqlite3.Connection) -> tuple[HistoryEntry, ...]:
    """All that was done to the drive, the oldest first."""
    found = db.execute("SELECT who, when_us, what, details FROM history ORDER BY number")
    return tuple(HistoryEntry(who, when, what, json.loads(details)) for who, when, what, details in found)


def quarantine(db: sqlite3.Connection) -> list[tuple[str, int | None, str, str]]:
    """(file, line, reason, text) of every row that was not taken in, in order of import and line."""
    return db.execute(
        "SELECT name, line, reason, text FROM quarantine JOIN source ON source.id = source"
        " ORDER BY source, line, quarantine.rowid"
    ).fetchall()


def quarantined_at(db: sqlite3.Connection, reason: str) -> list[tuple[str, int, int]]:
    """(file, line, time_us) of the rows that were not taken in for a reason and whose stamps are told, in order of
    import and line; none where an older program took them in."""
    if version_of(db) < _STAMPED_SINCE:
        return []
    return db.execute(
        "SELECT name, line, time_us FROM quarantine JOIN source ON source.id = source"
        " WHERE reason = ? AND line IS NOT NULL AND time_us IS NOT NULL ORDER BY source, line",
        (reason,),
    ).fetchall()


def conflicts(db: sqlite3.Connection) -> list[tuple[str, int, str, float, float, int]]:
    """(file, time_us, first channel that differs, value kept, value offered, channels that differ) of every
    row whose stamp was there with other values, in order of import and time."""
    return db.execute(
        "SELECT name, time_us, channel, conflict.kept, offered, channels FROM conflict"
        " JOIN source ON source.id = source ORDER BY source, time_us, conflict.rowid"
    ).fetchall()


def known_sources(db: sqlite3.Connection) -> set[str]:
    """SHA-256 of every file that was taken in."""
    return {sha256 for (sha256,) in db.execute("SELECT sha256 FROM source")}
