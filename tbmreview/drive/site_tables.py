"""Keeping a table that the site states: under its name, once, with the file it is from; and taking it back."""

import hashlib
from pathlib import Path

import numpy as np

from tbmreview.domain.errors import DriveError
from tbmreview.domain.site import empty_site_table
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


def withdraw_table(folder: Path | str, kind: str, name: str) -> str:
    """Take a table of a kind (domain.site) back: its rows count no more, and stay in the catalogue; says so in a
    line. DriveError if there is none of the name."""
    drive = StoredDrive(Path(folder))
    names = [entry.name for entry in drive.site_entries(kind)]
    if name not in names:
        there = ", ".join(f"'{known}'" for known in names) or "none"
        raise DriveError(f"{folder}: no table of {kind} is named '{name}'; there is {there}")
    rows = len(drive.site_table(kind, name))
    with writing(drive.folder, person()) as work:
        work.add_site_table(kind, name, ("", ""), empty_site_table(kind))
        work.record(f"{kind} withdrawn", {"name": name, "rows": rows})
    return f"{kind} '{name}': withdrawn, {rows} {'row counts' if rows == 1 else 'rows count'} no more"


def _same(one: Table, other: Table) -> bool:
    return len(one) == len(other) and all(_equal(one[name], other[name]) for name in one)


def _equal(one: Column, other: Column) -> bool:
    return bool(np.array_equal(one, other, equal_nan=one.dtype.kind == "f"))
