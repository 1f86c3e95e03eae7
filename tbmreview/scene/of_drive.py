"""An opened drive as a picture sees it: profiles and ground are kept, since every picture asks for them."""

from collections.abc import Mapping

from tbmreview.domain.findings import Finding
from tbmreview.domain.marks import Mark
from tbmreview.domain.setup import Setup
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table
from tbmreview.drive.classes import classes_of
from tbmreview.drive.opened import Drive
from tbmreview.indicators.classes import Classed
from tbmreview.indicators.uncertainty import UNCERTAIN
from tbmreview.scene.source import Band

Decided = tuple[tuple[Finding, ...], tuple[Mark, ...]]  # findings with their verdicts, marks


class DriveSource:
    """A scene.source.Source over a drive."""

    def __init__(self, drive: Drive) -> None:
        self.drive = drive
        self._profiles: dict[float, Table] = {}
        self._bands: dict[float, dict[str, Band]] = {}
        self._ground: dict[tuple[str, str], Table] = {}
        self._classes: dict[tuple[str, str], dict[str, Classed]] = {}
        self._names: dict[str, tuple[str, ...]] = {}
        self._marks: tuple[Mark, ...] | None = None
        self._findings: tuple[Finding, ...] | None = None

    @property
    def setup(self) -> Setup:
        return self.drive.setup

    @property
    def axis(self) -> Axis:
        return self.drive.axis

    @property
    def span_m(self) -> tuple[float, float]:
        cells = self.drive.cells
        if not len(cells):
            return 0.0, 0.0
        return float(cells["position_from_m"].min()), float(cells["position_to_m"].max())

    def profile(self, step_m: float) -> Table:
        if step_m not in self._profiles:
            self._profiles[step_m] = self.drive.table("step", step_m=step_m)
        return self._profiles[step_m]

    def bands(self, step_m: float, columns: tuple[str, ...]) -> Mapping[str, Band]:
        kept = self._bands.setdefault(step_m, {})
        wanted = [name for name in columns if name in UNCERTAIN and name not in kept]
        if wanted:
            values = self.profile(step_m)
            for name, one in self.drive.uncertainty_by_step(step_m, wanted).items():
                kept[name] = Band(values[name] - one.u95, values[name] + one.u95, one.lacks)
        return kept

    def ground(self, kind: str, name: str = "") -> Table:
        if (kind, name) not in self._ground:
            self._ground[kind, name] = self.drive.ground(kind, name or None)
        return self._ground[kind, name]

    def classes(self, kind: str, name: str = "") -> Mapping[str, Classed]:
        if (kind, name) not in self._classes:
            found = classes_of(self.ground(kind, name))
            self._classes[kind, name] = {
                q.stem: classed for q, classed in found if (classed.text != "").any()
            }
        return self._classes[kind, name]

    def ground_names(self, kind: str) -> tuple[str, ...]:
        if kind not in self._names:
            self._names[kind] = self.drive.ground_names(kind)
        return self._names[kind]

    def findings(self) -> tuple[Finding, ...]:
        return self.drive.findings if self._findings is None else self._findings

    def decided_now(self) -> Decided:
        """Verdicts and marks as they are by now, read from the drive; what the source shows stays."""
        return self.drive.judged_now(), self.drive.marks()

    def take_in(self, decided: Decided) -> bool:
        """Show these from now on; whether they are others. For the thread that makes pictures."""
        changed = decided != (self.findings(), self.marks())
        self._findings, self._marks = decided
        return changed

    def marks(self) -> tuple[Mark, ...]:
        if self._marks is None:
            self._marks = self.drive.marks()
        return self._marks
