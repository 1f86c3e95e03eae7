"""What a picture is made from. The drive offers it; tests offer an invented one."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from tbmreview.domain.findings import Finding
from tbmreview.domain.marks import Mark
from tbmreview.domain.setup import Setup
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table
from tbmreview.indicators.classes import Classed
from tbmreview.scene.plan import Floats


@dataclass(frozen=True, slots=True)
class Band:
    """Between what an indicator lies with 95 %, in each row of a profile, (n,); NaN where that is not known.
    lacks: the sensors on which it depends and whose accuracy the setup does not give."""

    low: Floats
    high: Floats
    lacks: tuple[str, ...] = ()


class Source(Protocol):
    """A drive as a picture sees it. Positions in m; tables are read-only and may be shared."""

    @property
    def setup(self) -> Setup:
        """What people stated."""

    @property
    def axis(self) -> Axis:
        """Turns positions into chainage, chainage equations included."""

    @property
    def span_m(self) -> tuple[float, float]:
        """Positions from which to which the drive has been bored; equal where nothing was."""

    def profile(self, step_m: float) -> Table:
        """Indicators by step, rows rising along position; called for every picture, so keep it."""

    def bands(self, step_m: float, columns: tuple[str, ...]) -> Mapping[str, Band]:
        """Of those columns of the profile that have an uncertainty, its band; called for every picture too."""

    def ground(self, kind: str, name: str = "") -> Table:
        """Ground of a kind (domain.ground); the named baseline, or the latest issued."""

    def classes(self, kind: str, name: str = "") -> Mapping[str, Classed]:
        """Of that ground, the classes of each quantity that has any, by stem; called for every picture too."""

    def ground_names(self, kind: str) -> tuple[str, ...]:
        """Names of the ground tables of a kind, latest issued last; empty where there is none."""

    def findings(self) -> tuple[Finding, ...]:
        """Every finding with its verdict, along position."""

    def marks(self) -> tuple[Mark, ...]:
        """The marks in force, along position."""
