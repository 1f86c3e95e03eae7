"""What was bored in each interval of a ground table."""

from dataclasses import dataclass

import numpy as np

from tbmreview.domain.sums import group_sums
from tbmreview.domain.table import Table
from tbmreview.drive.reading import Readable, reading
from tbmreview.drive.table import pieces_of
from tbmreview.drive.which_ground import ground_entry, told
from tbmreview.store.catalogue import GroundEntry


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
        return told(self.entry.kind, self.entry.name, self.entry.issued)


def bored_ground(drive: Readable, kind: str, name: str | None = None) -> BoredGround:
    """What was bored in the intervals of a ground table: the one of the name, or the one imported last.

    Intervals where nothing was bored are left out. UsageError for a kind that is none; DriveError if there is
    no such table.
    """
    ground = drive.ground(kind, name)
    entry = ground_entry(drive, kind, name)
    pieces, interval = pieces_of(drive.cells, ground["position_from_m"], ground["position_to_m"])
    cells = reading(pieces, drive.strokes, drive.setup.machine)
    sums = group_sums(cells, interval, len(ground) + 1).rows(slice(0, len(ground)))
    bored = np.flatnonzero((sums["boring_s"] > 0) & (sums["advance_m"] > 0))
    return BoredGround(entry, ground.rows(bored), sums.rows(bored))
