"""Which ground table something is by: kind, name and date of issue, found and told in one way."""

from tbmreview.domain.errors import DriveError, UsageError
from tbmreview.domain.ground import GROUND_KINDS, MAPPED
from tbmreview.domain.table import Table
from tbmreview.drive.reading import Readable
from tbmreview.store.catalogue import GroundEntry


def ground_entry(drive: Readable, kind: str, name: str | None = None) -> GroundEntry:
    """The ground table of a kind that has the name, or the one imported last. UsageError for a kind that is none;
    DriveError if there is no such table."""
    if kind not in GROUND_KINDS:
        raise UsageError(f"ground '{kind}': expected one of {', '.join(GROUND_KINDS)}")
    entries = [e for e in drive.ground_entries(kind) if name is None or e.name == name]
    if not entries:
        raise DriveError(
            f"there is no {kind} ground; import a table with: tbmreview ground DRIVE FILE --as {kind}"
        )
    return entries[-1]


def which_ground(drive: Readable, kind: str, name: str | None) -> dict[str, str]:
    """ground_kind, ground_name and ground_issued of the table that is read; '' where nothing was mapped. Errors as
    ground_entry."""
    mapped_none = kind == MAPPED and not drive.ground_entries(kind)
    entry = None if mapped_none else ground_entry(drive, kind, name)
    known = (kind, entry.name, entry.issued) if entry else ("", "", "")
    return dict(zip(("ground_kind", "ground_name", "ground_issued"), known, strict=True))


def told(kind: str, name: str, issued: str) -> str:
    """A ground table by kind, name and date of issue."""
    return f"{kind} ground '{name}', {f'issued {issued}' if issued else 'without a date of issue'}"


def by_told(kind: str, name: str, issued: str) -> str:
    """Which ground table something is by; kind '' where nothing was mapped."""
    return (
        f"by {told(kind, name, issued)}"
        if kind
        else "by no ground table: nothing is mapped, so all is outside"
    )


def which_says(rows: Table) -> list[str]:
    """In a line, which ground table a table is by (columns ground_kind, ground_name, ground_issued); none without rows."""
    return (
        [by_told(*(str(rows[f"ground_{what}"][0]) for what in ("kind", "name", "issued")))]
        if len(rows)
        else []
    )
