"""Catalogues of older versions: what leads from each to the next.

An older catalogue is read as it is; the first write brings it up to date within its transaction.
"""

import sqlite3

SCHEMA_VERSION = 2
# [0] leads from version 1 to 2, and so on.
_STEPS: tuple[tuple[str, ...], ...] = (
    (
        "CREATE TABLE numbered (what TEXT PRIMARY KEY, highest INTEGER NOT NULL)",
        "INSERT INTO numbered SELECT 'finding', max(CAST(substr(id, 2) AS INTEGER)) FROM"
        " (SELECT id FROM finding UNION SELECT finding FROM verdict UNION SELECT 'F0')",
    ),
)


def version_of(db: sqlite3.Connection) -> int:
    """The version of a catalogue's schema."""
    (version,) = db.execute("PRAGMA user_version").fetchone()
    return int(version)


def upgrade(db: sqlite3.Connection) -> None:
    """Bring the catalogue up to SCHEMA_VERSION, within the transaction under way."""
    for number, statements in enumerate(_STEPS, start=1):
        if number >= version_of(db):
            for statement in statements:
                db.execute(statement)
            db.execute(f"PRAGMA user_version = {number + 1}")
