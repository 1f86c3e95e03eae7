"""Reading what people state beside the logs: site tables and overrules."""

import json
import sqlite3
from dataclasses import dataclass

from tbmreview.domain.overrules import Overrule
from tbmreview.domain.site import SITE_COLUMNS, empty_site_table, site_column
from tbmreview.domain.table import Table, stack
from tbmreview.store.versions import version_of

_SINCE_VERSION = 3


@dataclass(frozen=True, slots=True)
class SiteEntry:
    """A site table of the drive."""

    id: int
    kind: str
    name: str
    added_us: int
    decided_by: str
    source_name: str
    source_sha256: str


def site_entries(db: sqlite3.Connection, kind: str) -> tuple[SiteEntry, ...]:
    """The latest table of each name of a kind, the latest import last. A table without rows is withdrawn."""
    if version_of(db) < _SINCE_VERSION:
        return ()
    columns = "id, kind, name, added_us, decided_by, source_name, source_sha256"
    found = db.execute(
        f"SELECT {columns} FROM current_site_table AS kept WHERE kind = ?"
        " AND EXISTS (SELECT 1 FROM site_row WHERE site_table = kept.id) ORDER BY id",
        (kind,),
    )
    return tuple(SiteEntry(*row) for row in found)


def site_table(db: sqlite3.Connection, kind: str, name: str | None = None) -> Table:
    """The rows of all current tables of a kind, or of the one with a name, in the columns of domain.site, in
    order of import."""
    tables = [empty_site_table(kind)]
    for entry in site_entries(db, kind):
        if name is not None and entry.name != name:
            continue
        found = db.execute("SELECT content FROM site_row WHERE site_table = ? ORDER BY number", (entry.id,))
        rows = [json.loads(content) for (content,) in found]
        tables.append(
            Table({n: site_column(kind, n, [row.get(n) for row in rows]) for n, *_ in SITE_COLUMNS[kind]})
        )
    return stack(tables)


def overrules(db: sqlite3.Connection) -> tuple[Overrule, ...]:
    """The last version of every overrule, in the order in which they were first stated, by whom and when the
    first was; withdrawn ones are among them, with who withdrew them and when."""
    if version_of(db) < _SINCE_VERSION:
        return ()
    found = db.execute(
        "SELECT last.what, last.start_us, last.end_us, last.value, last.reason, first.decided_by,"
        " first.decided_us, last.withdrawn, last.overrule, last.decided_by, last.decided_us"
        " FROM current_overrule AS last JOIN overrule AS first ON first.number ="
        " (SELECT min(number) FROM overrule WHERE overrule = last.overrule)"
        " ORDER BY CAST(substr(last.overrule, 2) AS INTEGER)"
    )
    return tuple(
        Overrule(
            what, start, end, value, reason, who, when, bool(gone), name,
            withdrawn_by=gone_by if gone else "", withdrawn_us=gone_us if gone else 0,
        )
        for what, start, end, value, reason, who, when, gone, name, gone_by, gone_us in found
    )  # fmt: skip
