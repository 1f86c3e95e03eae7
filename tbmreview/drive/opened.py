"""The one door: open a drive; read-only views hang off it.

drive = open_drive("larkfell")
by_metre = drive.table("step", step_m=1.0)
hours = drive.time("shift")
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from tbmreview.domain.findings import Finding
from tbmreview.domain.ground import MAPPED
from tbmreview.domain.table import Table
from tbmreview.drive.progress import Progress
from tbmreview.drive.stored import StoredDrive

if TYPE_CHECKING:
    from tbmreview.drive.closing import Closing
    from tbmreview.drive.fits import Fit
    from tbmreview.drive.reduce import Reduced
    from tbmreview.drive.table import Asked
    from tbmreview.indicators.uncertainty import Uncertainty
    from tbmreview.motion.notes import Note


class Drive(StoredDrive):
    """An opened drive: what is stored, and what follows from it. Views are computed when asked for."""

    _known: "Reduced | None" = None

    def reduce(self, progress: Progress | None = None) -> "Reduced":
        """Bring what follows from the samples up to date; progress(days done, days in all).

        The views below do so by themselves; this is for whoever wants to see how far it is.
        """
        from tbmreview.drive.placed import placed
        from tbmreview.drive.reduce import reduced

        if self._known is None:
            self._known = placed(self, reduced(self, progress))
        return self._known

    @property
    def cells(self) -> Table:
        """The cells: keys and sums of domain.sums, in order of time."""
        return self.reduce().cells

    @property
    def strokes(self) -> Table:
        """A row a stroke."""
        return self.reduce().strokes

    @property
    def periods(self) -> Table:
        """A row a period: a run of samples in one state, divided at shift boundaries."""
        return self.reduce().periods

    @property
    def rings(self) -> Table:
        """A row a ring."""
        return self.reduce().rings

    @cached_property
    def closing(self) -> "Closing":
        """How the sums of strokes are closed on surveyed stations or the logged chainage."""
        from tbmreview.drive.closing import closing
        from tbmreview.drive.reduce import reduced

        return closing(self, reduced(self))

    def anchors(self) -> Table:
        """A row for each anchor: surveyed chainage, chainage by strokes, misclosure, used or why not."""
        from tbmreview.drive.anchors import anchor_table

        return anchor_table(self.closing, self.axis)

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """What the detectors noticed along the drive, with verdicts."""
        from tbmreview.drive.detect import findings

        return findings(self)

    def judged_now(self) -> tuple[Finding, ...]:
        """The findings with the verdicts that they have by now; nothing is detected anew."""
        known = {f.id: f for f in self.stored_findings()}
        decided = ("verdict", "decided_by", "decided_us", "note")
        return tuple(
            replace(f, **{name: getattr(known[f.id], name) for name in decided}) if f.id in known else f
            for f in self.findings
        )

    def table(
        self,
        by: str,
        step_m: float = 1.0,
        from_chainage_m: float | None = None,
        to_chainage_m: float | None = None,
        steady_only: bool = False,
    ) -> Table:
        """Indicators grouped by step, stroke, ring, ring-place, shift, day, ground, mark or drive; over all
        boring, or steady boring only."""
        from tbmreview.drive.table import table

        return table(self, by, step_m, from_chainage_m, to_chainage_m, steady_only)

    def table_on_request(self, asked: "Asked") -> Table:
        """The same with columns on request: uncertainty, penetration against disc load."""
        from tbmreview.drive.on_request import table_on_request

        return table_on_request(self, asked)

    def uncertainty_by_step(self, step_m: float, names: Sequence[str]) -> "Mapping[str, Uncertainty]":
        """Uncertainty of these indicators in the rows of `table("step", step_m)`, by name."""
        from tbmreview.drive.on_request import uncertainty_by_step

        return uncertainty_by_step(self, step_m, names)

    def time(self, by: str = "shift") -> Table:
        """Hours by state, utilisation and rates, by shift, day or drive; with delays of the site a column a code
        and unexplained_h. By delay: lost hours, the longest first."""
        from tbmreview.drive.time import time_table

        return time_table(self, by)

    def rates(self, by: str = "shift") -> Table:
        """Utilisation and advance rate of recorded time and of working shifts, in the rows of `time`."""
        from tbmreview.drive.time import rates

        return rates(self, by)

    def critical_path(self, by: str = "shift") -> Table:
        """Hours that boring, the ring, the regrip and waiting for the ring held the drive, in the rows of `time`."""
        from tbmreview.drive.critical_path import critical_path

        return critical_path(self, by)

    def expected(
        self,
        model: str | None = None,
        ground: str = MAPPED,
        name: str | None = None,
        stated: Mapping[str, float] = MappingProxyType({}),
        gross: bool = False,
    ) -> Table:
        """Observed against expected in each interval of a ground table that was bored, by one model or by all that
        have their inputs; stated: inputs that neither the ground table nor the setup has."""
        from tbmreview.drive.expected import Asked, expected

        return expected(self, Asked(model, ground, name, stated, gross))

    def fit(self, of: str, on: Sequence[str], form: str = "linear", **more: Any) -> "Fit":
        """A fit of 'fpi' or 'penetration' on columns of a ground table, a point an interval; form: linear, exponential
        or power; more: fields of drive.fits.Wanted. FitError where the intervals will not bear it."""
        from tbmreview.drive.fits import fit, wanted_of

        return fit(self, wanted_of(of, on, form, **more))

    def notes(self) -> "tuple[Note, ...]":
        """What the logs have too little to tell, and what is done about it."""
        from tbmreview.drive.notes import notes

        return notes(self)

    def thresholds(self) -> Table:
        """The thresholds in use: name, value, unit, source (drive.toml, machine, log, fixed), reason."""
        from tbmreview.drive.thresholds import thresholds

        return thresholds(self)

    def contradictions(self) -> Table:
        """Delays of the site during which the machine bored: which, how many minutes, where."""
        from tbmreview.drive.delays import contradictions

        return contradictions(self)


def open_drive(folder: Path | str) -> Drive:
    """The drive in a folder. DriveError if there is none; SetupError if its drive.toml is wrong."""
    return Drive(Path(folder))
