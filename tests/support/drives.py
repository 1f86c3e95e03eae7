"""An invented drive for window and sheet: what an opened drive offers, over an invented picture."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from tbmreview.domain.findings import Finding
from tbmreview.domain.marks import Mark
from tbmreview.domain.overrules import Overrule
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table
from tbmreview.indicators.uncertainty import Uncertainty
from tests.support.scenes import InventedSource

START_US = 1_900_000_000_000_000


@dataclass(frozen=True)
class InventedChunk:
    rows: int
    content_hash: str


@dataclass(frozen=True)
class InventedGround:
    name: str
    issued: str


@dataclass
class InventedDrive:
    """Looks like drive.opened.Drive as far as pictures, sheets and the window ask."""

    picture: InventedSource = field(default_factory=InventedSource)
    folder: Path = Path("invented")
    said: tuple[Overrule, ...] = ()

    @property
    def setup(self) -> Any:
        return self.picture.setup

    @property
    def axis(self) -> Axis:
        return self.picture.axis

    @property
    def cells(self) -> Table:
        low, high = self.picture.span_m
        columns = {"position_from_m": low, "position_to_m": high}
        times = zip(("start_us", "end_us"), self.time_span_us, strict=True)
        return Table({name: np.array([value]) for name, value in (*columns.items(), *times)})

    @property
    def findings(self) -> tuple[Finding, ...]:
        return self.picture.findings()

    def judged_now(self) -> tuple[Finding, ...]:
        return self.findings

    def marks(self) -> tuple[Mark, ...]:
        return self.picture.marks()

    @property
    def time_span_us(self) -> tuple[int, int]:
        return START_US, START_US + 864_000_000_000

    def table(
        self, by: str, step_m: float = 1.0, low_m: float | None = None, high_m: float | None = None
    ) -> Table:
        return self.picture.profile(step_m)

    def uncertainty_by_step(self, step_m: float, names: Sequence[str]) -> dict[str, Uncertainty]:
        """2 % of the value; of torque nothing is known."""
        table = self.picture.profile(step_m)
        return {
            name: Uncertainty(0 * table[name] + np.nan, table[name], ("torque",))
            if "torque" in name
            else Uncertainty(0.02 * table[name], 0 * table[name])
            for name in names
        }

    def ground(self, kind: str, name: str | None = None) -> Table:
        return self.picture.ground(kind, name or "")

    def ground_names(self, kind: str) -> tuple[str, ...]:
        return self.picture.ground_names(kind)

    def ground_entries(self, kind: str) -> tuple[InventedGround, ...]:
        return tuple(InventedGround(name, "2030-05-01") for name in self.ground_names(kind))

    def days(self) -> dict[int, InventedChunk]:
        return {1: InventedChunk(86_400, "one"), 2: InventedChunk(86_400, "two")}

    def source_count(self) -> int:
        return 12

    def overrules(self) -> tuple[Overrule, ...]:
        return self.said


def invented_overrules(count: int, what: str = "state") -> tuple[Overrule, ...]:
    """Overrules over the whole of the invented record."""
    end = START_US + 864_000_000_000
    return tuple(
        Overrule(what, START_US, end, "standing", "invented", "Ingrid", end, id=f"O{i + 1}")
        for i in range(count)
    )
