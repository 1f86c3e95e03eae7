"""Catalogues of older versions: what leads from each to the next.

An older catalogue is read as it is; the first write brings it up to date within its transaction.
"""

import sqlite3
from importlib.resources import files

SCHEMA_VERSION = 6
_SINCE = "-- since version {}\n"  # heads what the schema has had from a version on, at its end
# [0] leads from version 1 to 2, and so on.
_STEPS: tuple[tuple[str, ...], ...] = (
    (
        "CREATE TABLE numbered (what TEXT PRIMARY KEY, highest INTEGER NOT NULL)",
        "INSERT INTO numbered SELECT 'finding', max(CAST(substr(id, 2) AS INTEGER)) FROM"
        " (SELECT id FROM finding UNION SELECT finding FROM verdict UNION SELECT 'F0')",
    ),
    (),
    (),
    (  # marks and sign-offs of another shape, which nothing ever wrote
        "DROP VIEW current_mark",
        "DROP TABLE mark",
        "DROP VIEW current_signoff",
        "DROP TABLE signoff",
    ),
    ("ALTER TABLE quarantine ADD COLUMN time_us INTEGER",),
)


def schema() -> str:
    """The catalogue's schema in SQL."""
    return (files("tbmreview.store") / "schema.sql").read_text(encoding="utf-8")


def _added(version: int) -> list[str]:
    """The statements at the schema's end that a version brought."""
    _, _, text = schema().partition(_SINCE.format(version))
    statements: list[str] = []
    rest = ""
    for line in text.splitlines(keepends=True):
        if line.startswith("-- since version"):
            break
        rest += line
        if sqlite3.complete_statement(rest):
            statements.append(rest)
            rest = ""
    return statements


def version_of(db: sqlite3.Connection) -> int:
    """The version of a catalogue's schema."""
    (version,) = db.execute("PRAGMA user_version").fetchone()
    return int(version)


def upgrade(db: sqlite3.Connection) -> None:
    """Bring the catalogue up to SCHEMA_VERSION, within the transaction under way."""
    for number, statements in enumerate(_STEPS, start=1):
        if number >= version_of(db):
            for statement in (*statements, *_added(number + 1)):
                db.execute(statement)
            db.execute(f"PRAGMA user_version = {number + 1}")
