"""Keeping a table that the site states: under its name, once, with the file it is from."""

import hashlib
from pathlib import Path

import numpy as np

from tbmreview.domain.table import Column, Table
from tbmreview.drive.history import person
from tbmreview.drive.stored import StoredDrive
from tbmreview.store.writing import writing


def keep_table(drive: StoredDrive, kind: str, of: tuple[str | None, Path], table: Table, told: str) -> str:
    """Keep a table of a kind (domain.site) in a drive; says in lines what was done.

    of: (name, by default the file's name without its suffix; file). It replaces the table of its name, others
    stay. The same rows again change nothing.
    """
    name, file = of[0] or of[1].stem, of[1]
    entries = [entry.name for entry in drive.site_entries(kind)]
    if name in entries and _same(drive.site_table(kind, name), table):
        return f"{kind} '{name}': in the drive already, nothing changed"
    sha256 = hashlib.sha256(file.read_bytes()).hexdigest()
    with writing(drive.folder, person()) as work:
        work.add_site_table(kind, name, (file.name, sha256), table)
        work.record(kind, {"name": name, "file": file.name, "rows": len(table)})
    others = ", ".join(f"'{entry}'" for entry in entries if entry != name)
    note = [f"note: it counts beside {others}; --name NAME replaces a table"] if others else []
    return "\n".join([f"{kind} '{name}': {told}", *note])


def _same(one: Table, other: Table) -> bool:
    return len(one) == len(other) and all(_equal(one[name], other[name]) for name in one)


def _equal(one: Column, other: Column) -> bool:
    return bool(np.array_equal(one, other, equal_nan=one.dtype.kind == "f"))
