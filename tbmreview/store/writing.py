"""Changing a drive: one writer at a time, one transaction, the old drive or the new one.

The catalogue's write transaction is the lock. New files are made durable first and named by the
transaction's commit; a file that no transaction names is swept by the next writer. Files that a
commit replaced stay until then, for those who opened the drive before it.
"""

import contextlib
import errno
import hashlib
import json
import re
import sqlite3
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tbmreview.domain.errors import DriveError, GroundError
from tbmreview.domain.ground import PREDICTED
from tbmreview.domain.overrules import Overrule
from tbmreview.domain.table import Table
from tbmreview.store import disk, setup_file
from tbmreview.store.catalogue import (
    Chunk,
    connect,
    current_chunks,
    ground_entries,
    known_sources,
    sqlite_errors,
)
from tbmreview.store.chunks import Written
from tbmreview.store.layout import Layout
from tbmreview.store.merge import Conflict
from tbmreview.store.versions import schema, upgrade

LOCK_WAIT_S = 8.0  # for another program to finish; then this one is told
_LOCK_TRY_S = 0.2  # between two tries, in which a person can cancel
COMMIT_WAIT_S = 60.0  # for readers to finish
STALE_S = 3600.0  # a derived file half written so long ago has lost its writer
_CHUNK_NAME = re.compile(r"samples/\d{4}/\d\d/\d{4}-\d\d-\d\d-[0-9a-f]{16}\.parquet")
_FULL = (errno.ENOSPC, errno.EFBIG, errno.EDQUOT)


@dataclass(frozen=True, slots=True)
class SourceRecord:
    """A log file that was taken in: rows_read = kept + duplicates + those quarantined, by reason."""

    name: str
    size: int
    sha256: str
    columns: Mapping[str, Any]
    rows_read: int
    kept: int
    duplicates: int
    quarantined: Mapping[str, int]
    repairs: Mapping[str, int]


class Writing:
    """What may be written in one transaction; made by `writing`."""

    def __init__(self, folder: Path, db: sqlite3.Connection, who: str) -> None:
        self.layout = Layout(folder)
        self.discarded = False
        self.now_us = time.time_ns() // 1000
        self.who = who
        self._db = db

    @property
    def db(self) -> sqlite3.Connection:
        """The transaction's connection, for the readers and writers of one kind of thing."""
        return self._db

    def discard(self) -> None:
        """Nothing worth keeping: the drive stays byte for byte as it is."""
        self.discarded = True

    def record(self, what: str, details: Mapping[str, Any]) -> None:
        """Append to the history."""
        row = (self.who, self.now_us, what, _json(details))
        self._db.execute("INSERT INTO history (who, when_us, what, details) VALUES (?, ?, ?, ?)", row)

    def chunks(self) -> dict[int, Chunk]:
        """UTC day -> its chunk, as this transaction sees it."""
        return {chunk.utc_day: chunk for chunk in current_chunks(self._db)}

    def known_sources(self) -> set[str]:
        """SHA-256 of the files taken in before."""
        return known_sources(self._db)

    def next_source(self) -> int:
        """The id that the next new source may take."""
        (last,) = self._db.execute("SELECT coalesce(max(id), 0) FROM source").fetchone()
        return int(last) + 1

    def add_source(self, number: int, source: SourceRecord) -> None:
        """Record a source under its id."""
        row = (
            *(number, source.name, source.size, source.sha256, self.now_us, _json(source.columns)),
            *(source.rows_read, source.kept, source.duplicates),
            *(_json(source.quarantined), _json(source.repairs)),
        )
        self._db.execute(f"INSERT INTO source VALUES ({', '.join('?' * len(row))})", row)

    def add_quarantine(self, source: int, rows: Iterable[tuple[int | None, str, str, int | None]]) -> None:
        """Keep (line, reason, text, time_us) of rows that were not taken in."""
        self._db.executemany(
            "INSERT INTO quarantine VALUES (?, ?, ?, ?, ?)", ((source, *row) for row in rows)
        )

    def add_conflicts(self, source: int, conflicts: Iterable[Conflict]) -> None:
        """Keep what conflicting rows offered."""
        rows = ((source, c.time_us, c.channel, c.kept, c.offered, c.channels) for c in conflicts)
        self._db.executemany("INSERT INTO conflict VALUES (?, ?, ?, ?, ?, ?)", rows)

    def forget_source(self, number: int) -> None:
        """Drop what was kept in this transaction of a source that is not to be recorded."""
        self._db.execute("DELETE FROM quarantine WHERE source = ?", (number,))
        self._db.execute("DELETE FROM conflict WHERE source = ?", (number,))

    def put_chunk(self, utc_day: int, passing: Path, sha256: str, written: Written) -> None:
        """Make a finished, durable file, and its SHA-256, the day's chunk.

        It is named by its content, unless the chunk that it replaces, which must stay, says the same.
        """
        path = self.layout.chunk_name(utc_day, written.content_hash)
        if (self.layout.folder / path).exists():
            path = self.layout.chunk_name(utc_day, sha256)
        target = self.layout.folder / path
        disk.make_folder(target.parent)
        disk.rename(passing, target)
        self._db.execute(
            "UPDATE chunk SET superseded_us = ? WHERE utc_day = ? AND superseded_us IS NULL",
            (self.now_us, utc_day),
        )
        self._db.execute(
            "INSERT INTO chunk (utc_day, path, rows, first_us, last_us, channels, content_hash, file_sha256,"
            " added_us) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                *(utc_day, path, written.rows, written.first_us, written.last_us, _json(written.channels)),
                *(written.content_hash, sha256, self.now_us),
            ),
        )

    def add_ground(self, kind: str, name: str, issued: str, source: tuple[str, str], table: Table) -> None:
        """Add a ground table under a name; source is (file name, SHA-256).

        GroundError if it is a prediction whose name is taken: a prediction stays as it was issued.
        """
        if kind == PREDICTED and any(name == entry.name for entry in ground_entries(self._db, kind)):
            raise GroundError(
                f"the prediction '{name}' is in the drive already and is never overwritten; give this one a "
                "name of its own (--name)"
            )
        number = self._db.execute(
            "INSERT INTO ground (kind, name, issued, added_us, source_name, source_sha256) VALUES (?, ?, ?, ?, ?, ?)",
            (kind, name, issued, self.now_us, *source),
        ).lastrowid
        rows = ({column: _plain(table[column][i]) for column in table} for i in range(len(table)))
        self._db.executemany(
            "INSERT INTO ground_interval VALUES (?, ?, ?)",
            ((number, i, _json(row)) for i, row in enumerate(rows)),
        )

    def add_site_table(self, kind: str, name: str, source: tuple[str, str], table: Table) -> None:
        """Add a table in the columns of domain.site under a name, which it replaces; source is (file name,
        SHA-256)."""
        number = self._db.execute(
            "INSERT INTO site_table (kind, name, added_us, decided_by, source_name, source_sha256)"
            " VALUES (?, ?, ?, ?, ?, ?)",
            (kind, name, self.now_us, self.who, *source),
        ).lastrowid
        rows = ({column: _plain(table[column][i]) for column in table} for i in range(len(table)))
        self._db.executemany(
            "INSERT INTO site_row VALUES (?, ?, ?)", ((number, i, _json(row)) for i, row in enumerate(rows))
        )

    def add_overrule(self, one: Overrule) -> str:
        """Append an overrule, or a later version of the one with its id; its id."""
        (count,) = self._db.execute("SELECT count(DISTINCT overrule) FROM overrule").fetchone()
        name = one.id or f"O{count + 1}"
        row = (
            *(name, one.what, int(one.start_us), int(one.end_us), one.value, one.reason),
            *(one.decided_by or self.who, self.now_us, int(one.withdrawn)),
        )
        self._db.execute(
            "INSERT INTO overrule (overrule, what, start_us, end_us, value, reason, decided_by, decided_us,"
            " withdrawn) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            row,
        )
        return name

    def add_fit(self, name: str, content: Mapping[str, Any], fingerprint: str, note: str) -> None:
        """Append a fit under a name, which it takes from an earlier one."""
        self._db.execute(
            "INSERT INTO fit (name, content, fingerprint, note, decided_by, decided_us) VALUES (?, ?, ?, ?, ?, ?)",
            (name, _json(content), fingerprint, note, self.who, self.now_us),
        )


@contextmanager
def writing(folder: Path, who: str, waiting: Callable[[float], None] | None = None) -> Iterator[Writing]:
    """One transaction on a drive: committed on leaving, undone by any exception.

    waiting(seconds so far) is called while another program writes, first with 0.
    DriveBusy if it goes on writing; DriveError if the disk is full or may not be written.
    """
    with file_errors(folder), contextlib.closing(connect(folder, _LOCK_TRY_S)) as db, sqlite_errors(folder):
        db.execute("PRAGMA synchronous = EXTRA")
        db.execute("PRAGMA cache_spill = OFF")  # readers are kept out during the commit only
        disk.before("lock", folder)
        _lock(db, waiting)
        try:
            upgrade(db)
            _sweep(db, folder)
            _keep_setup(db, folder)
            work = Writing(folder, db, who)
            yield work
            disk.remove(work.layout.incoming)
            db.execute(f"PRAGMA busy_timeout = {COMMIT_WAIT_S * 1000:.0f}")
            disk.before("commit", folder)
            db.execute("ROLLBACK" if work.discarded else "COMMIT")
        except BaseException:
            if db.in_transaction:
                db.execute("ROLLBACK")
            _sweep_after_failure(db, folder)
            raise


def _lock(db: sqlite3.Connection, waiting: Callable[[float], None] | None) -> None:
    """Take the write lock; OperationalError where another program keeps it for LOCK_WAIT_S."""
    start = time.monotonic()
    told_s = 0.0
    while True:
        try:
            db.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError as error:
            busy = error.sqlite_errorname.startswith("SQLITE_BUSY")
            if not busy or time.monotonic() - start > LOCK_WAIT_S:
                raise
        else:
            return
        if waiting is not None:
            waiting(told_s)
        told_s = time.monotonic() - start


def create_catalogue(folder: Path) -> None:
    """An empty catalogue in a folder that has none."""
    path = Layout(folder).catalogue
    with file_errors(folder), sqlite_errors(folder), contextlib.closing(sqlite3.connect(path)) as db:
        db.executescript(f"PRAGMA synchronous = EXTRA; BEGIN; {schema()} COMMIT;")


@contextmanager
def file_errors(folder: Path) -> Iterator[None]:
    """What the system reports about files, as a DriveError of one line."""
    try:
        yield
    except OSError as error:
        where = error.filename or folder
        why = "the disk is full" if error.errno in _FULL else error.strerror or str(error)
        raise DriveError(f"{where}: {why}; the drive is as it was") from error


def _sweep(db: sqlite3.Connection, folder: Path) -> None:
    """Remove what no transaction names: leftovers of a stopped writer, and chunks replaced before."""
    for path in sweepable(folder, {chunk.path for chunk in current_chunks(db)}):
        disk.remove(path)


def sweepable(folder: Path, named: set[str]) -> list[Path]:
    """What the next writer removes from the folder; named are the current chunks."""
    layout = Layout(folder)
    found = [path for path in layout.samples.glob("*/*/*") if _is_chunk(path, folder)]
    found = [path for path in found if path.relative_to(folder).as_posix() not in named]
    found += [layout.incoming] if layout.incoming.exists() else []
    found += [p for p in layout.derived.glob(".*.passing") if time.time() - p.stat().st_mtime > STALE_S]
    return sorted(found)


def _is_chunk(path: Path, folder: Path) -> bool:
    return _CHUNK_NAME.fullmatch(path.relative_to(folder).as_posix()) is not None


def _sweep_after_failure(db: sqlite3.Connection, folder: Path) -> None:
    """As far as the failure allows; what stays is swept by the next writer."""
    with contextlib.suppress(OSError, sqlite3.Error):
        db.execute("BEGIN IMMEDIATE")
        _sweep(db, folder)
        db.execute("ROLLBACK")


def _keep_setup(db: sqlite3.Connection, folder: Path) -> None:
    text = setup_file.read_text(Layout(folder).setup)
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    db.execute("INSERT OR IGNORE INTO setup VALUES (?, ?, ?)", (sha256, text, time.time_ns() // 1000))


def _plain(value: Any) -> Any:
    if isinstance(value, str):
        return value
    if isinstance(value, np.integer):
        return int(value)  # an instant in microseconds: a float would round it
    return None if np.isnan(value) else float(value)


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)
