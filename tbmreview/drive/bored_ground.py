"""What was bored in each interval of a ground table."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from tbmreview.domain.errors import DriveError, UsageError
from tbmreview.domain.ground import GROUND_KINDS
from tbmreview.domain.sums import group_sums
from tbmreview.domain.table import Table
from tbmreview.drive.reading import Readable, reading
from tbmreview.drive.table import pieces_of
from tbmreview.store.catalogue import GroundEntry


class Grounded(Readable, Protocol):
    """A drive that says which ground tables it has."""

    def ground_entries(self, kind: str) -> tuple[GroundEntry, ...]:
        """The tables of a kind, the one imported last at the end."""


@dataclass(frozen=True, slots=True)
class BoredGround:
    """The bored intervals of one ground table, along the drive.

    entry: the table. ground: its rows that were bored. sums: what was bored in each (domain.sums), whose
    position_from_m and position_to_m are the bored part of the interval.
    """

    entry: GroundEntry
    ground: Table
    sums: Table

    def __len__(self) -> int:
        return len(self.ground)

    @property
    def told(self) -> str:
        """The table by kind, name and date of issue."""
        issued = f"issued {self.entry.issued}" if self.entry.issued else "without a date of issue"
        return f"{self.entry.kind} ground '{self.entry.name}', {issued}"


def bored_ground(drive: Grounded, kind: str, name: str | None = None) -> BoredGround:
    """What was bored in the intervals of a ground table: the one of the name, or the one imported last.

    Intervals where nothing was bored are left out. UsageError for a kind that is none; DriveError if there is
    no such table.
    """
    if kind not in GROUND_KINDS:
        raise UsageError(f"ground '{kind}': expected one of {', '.join(GROUND_KINDS)}")
    ground = drive.ground(kind, name)
    entries = [e for e in drive.ground_entries(kind) if name is None or e.name == name]
    if not entries:
        raise DriveError(
            f"there is no {kind} ground; import a table with: tbmreview ground DRIVE FILE --as {kind}"
        )
    pieces, interval = pieces_of(drive.cells, ground["position_from_m"], ground["position_to_m"])
    cells = reading(pieces, drive.strokes, drive.setup.machine)
    sums = group_sums(cells, interval, len(ground) + 1).rows(slice(0, len(ground)))
    bored = np.flatnonzero((sums["boring_s"] > 0) & (sums["advance_m"] > 0))
    return BoredGround(entries[-1], ground.rows(bored), sums.rows(bored))
