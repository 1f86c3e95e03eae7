"""A drive made of tables that says which ground tables it has, for what is compared with ground."""

from dataclasses import dataclass, field

import numpy as np

from tbmreview.domain.ground import MAPPED, PREDICTED
from tbmreview.domain.table import Table
from tbmreview.store.catalogue import GroundEntry
from tbmreview.store.fits import KeptFit
from tests.support.cells import TableDrive, ground_of

OUTLINE = GroundEntry(0, PREDICTED, "outline", "2029-01-01", 0, "o.csv", "")
TENDER = GroundEntry(1, PREDICTED, "tender", "2030-05-01", 0, "t.csv", "")
FACES = GroundEntry(2, MAPPED, "faces", "", 0, "f.csv", "")


@dataclass(frozen=True)
class GroundDrive(TableDrive):
    """A drive with a mapped table, a prediction and kept fits."""

    predicted: Table = field(default_factory=ground_of)
    kept: tuple[KeptFit, ...] = ()

    def ground(self, kind: str, name: str | None = None) -> Table:
        return self.mapped if kind == MAPPED else self.predicted

    def ground_entries(self, kind: str) -> tuple[GroundEntry, ...]:
        return {MAPPED: (FACES,), PREDICTED: (OUTLINE, TENDER)}.get(kind, ())

    def kept_fits(self) -> tuple[KeptFit, ...]:
        return self.kept


def ground_with(*intervals: tuple[float, float, str], **columns: list[float]) -> Table:
    """A ground table from (position from, to, rock), with columns of numbers."""
    return ground_of(*intervals).with_columns({n: np.array(v, np.float64) for n, v in columns.items()})
