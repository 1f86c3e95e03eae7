"""The rows of classes that a picture can show beside the ground: one a kind of ground and a quantity."""

from collections.abc import Mapping
from dataclasses import dataclass

from tbmreview.domain.classes import QUANTITIES
from tbmreview.domain.ground import GROUND_KINDS, MAPPED


@dataclass(frozen=True, slots=True)
class ClassRow:
    """One row. kind: of the ground (domain.ground). stem: of the quantity (domain.classes)."""

    name: str
    kind: str
    stem: str
    label: str

    @property
    def what(self) -> str:
        """What it shows, in words."""
        return f"class of {self.label} in {self.kind} ground, with its scheme"


CLASS_ROWS: tuple[ClassRow, ...] = tuple(
    ClassRow(f"{q.stem}_class" if kind == MAPPED else f"{kind}_{q.stem}_class", kind, q.stem, q.label)
    for kind in GROUND_KINDS
    for q in QUANTITIES
)
CLASSES_BY_NAME: Mapping[str, ClassRow] = {row.name: row for row in CLASS_ROWS}
DEFAULT_CLASSES = tuple(row.name for row in CLASS_ROWS if row.kind == MAPPED)
