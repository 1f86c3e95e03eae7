"""What a drive folder holds, read-only: setup, samples, ground, history. `opened.Drive` adds views."""

from collections.abc import Sequence
from functools import cached_property
from pathlib import Path

from tbmreview.domain.errors import DriveError
from tbmreview.domain.findings import Finding
from tbmreview.domain.ground import empty_ground
from tbmreview.domain.marks import Act, Mark
from tbmreview.domain.overrules import Overrule
from tbmreview.domain.samples import Samples
from tbmreview.domain.setup import Setup
from tbmreview.domain.site import EQUATIONS, FOR_EVER_US, axis_with
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table
from tbmreview.drive.left_out import conflict_table, quarantine_table, set_aside_table, stamped_table
from tbmreview.ingest.settle import SAME_STAMP
from tbmreview.store import catalogue, fits, judged, site
from tbmreview.store.catalogue import Chunk, GroundEntry, HistoryEntry
from tbmreview.store.fits import KeptFit
from tbmreview.store.judged import ChangeSeen, Judgement, SignOff
from tbmreview.store.layout import Layout
from tbmreview.store.samples import read_samples, read_set_aside
from tbmreview.store.setup_file import read_setup_file
from tbmreview.store.site import SiteEntry


class StoredDrive:
    """A drive as it was when it was opened. What another program adds shows after opening again.

    DriveError if the folder is no drive; SetupError if its drive.toml is wrong.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = Path(folder)
        if not self.folder.is_dir():
            raise DriveError(f"{folder}: no such folder; make a drive with: tbmreview start")
        with catalogue.reading(self.folder) as db:
            self._chunks = catalogue.current_chunks(db)
            self._equations = site.site_table(db, EQUATIONS)
        self.setup: Setup = read_setup_file(Layout(self.folder).setup)

    @cached_property
    def axis(self) -> Axis:
        """The drive's axis: position to chainage and back, with every chainage equation."""
        return self.axis_at(FOR_EVER_US)

    def axis_at(self, time_us: int) -> Axis:
        """The axis with the chainage equations that were in force at an instant (microseconds UTC)."""
        return axis_with(self.setup.drive.axis, self._equations, time_us)

    @property
    def time_span_us(self) -> tuple[int, int] | None:
        """First and last stamp, microseconds UTC; None for a drive without samples."""
        return (self._chunks[0].first_us, self._chunks[-1].last_us) if self._chunks else None

    @property
    def channels(self) -> tuple[str, ...]:
        """Every channel that some chunk has, by name; extras are `extra:…`."""
        return tuple(sorted({name for chunk in self._chunks for name in chunk.channels}))

    def days(self) -> dict[int, Chunk]:
        """UTC day since 1970 -> its chunk (rows, first_us, last_us, content_hash, …), rising."""
        return {chunk.utc_day: chunk for chunk in self._chunks}

    def samples(self, start_us: int, end_us: int, channels: Sequence[str] | None = None) -> Samples:
        """Samples with start_us <= time < end_us, of the named channels or all.

        NaN is not measured; a channel that no chunk in the interval has is absent.
        """
        return read_samples(self.folder, self._chunks, start_us, end_us, channels)

    def ground(self, kind: str, name: str | None = None) -> Table:
        """A ground table in the columns of domain.ground, along the axis; without a name the one
        imported last. Empty if there is none of the kind; DriveError if none has the name."""
        with catalogue.reading(self.folder) as db:
            found = [e for e in catalogue.ground_entries(db, kind) if not name or e.name == name]
            if found:
                return catalogue.ground_table(db, found[-1].id)
        if name:
            raise DriveError(f"{self.folder}: no {kind} ground named '{name}'; there is {self._named(kind)}")
        return empty_ground()

    def ground_entries(self, kind: str) -> tuple[GroundEntry, ...]:
        """The ground tables of a kind (name, issued, source, …), the one imported last at the end."""
        with catalogue.reading(self.folder) as db:
            return catalogue.ground_entries(db, kind)

    def ground_names(self, kind: str) -> tuple[str, ...]:
        """Names of the ground tables of a kind, the one imported last at the end."""
        return tuple(entry.name for entry in self.ground_entries(kind))

    def stored_findings(self, gone: bool = False) -> tuple[Finding, ...]:
        """The findings of the last detection that was kept, with their verdicts; gone: those that it did not notice
        any more."""
        with catalogue.reading(self.folder) as db:
            return judged.findings(db, gone)

    def highest_finding(self) -> int:
        """The highest number that a finding ever had, of those that have vanished too."""
        with catalogue.reading(self.folder) as db:
            return judged.highest_finding(db)

    def judgements(self) -> tuple[Judgement, ...]:
        """Every verdict that was given, the oldest first."""
        with catalogue.reading(self.folder) as db:
            return judged.judgements(db)

    def changes_seen(self) -> tuple[ChangeSeen, ...]:
        """How the findings changed from one detection to the next, the oldest first."""
        with catalogue.reading(self.folder) as db:
            return judged.changes_seen(db)

    def marks(self, withdrawn: bool = False) -> tuple[Mark, ...]:
        """The marks as they are now, along position; with those that were withdrawn where asked for."""
        with catalogue.reading(self.folder) as db:
            return tuple(m for m in judged.marks(db).values() if withdrawn or not m.withdrawn)

    def mark_versions(self, name: str) -> tuple[Mark, ...]:
        """Every version of a mark, the oldest first."""
        with catalogue.reading(self.folder) as db:
            return judged.mark_versions(db, name)

    def acts(self) -> tuple[Act, ...]:
        """Everything that was done to marks, the oldest first."""
        with catalogue.reading(self.folder) as db:
            return judged.acts(db)

    def sign_offs(self, every: bool = False) -> tuple[SignOff, ...]:
        """The sign-off of each shift that has one; every: all that were ever given, taken back or replaced."""
        with catalogue.reading(self.folder) as db:
            return judged.sign_offs(db, every)

    def site_table(self, kind: str, name: str | None = None) -> Table:
        """Anchors, equations or delays that the site stated (domain.site), in order of import; of the table
        with a name, or of all."""
        with catalogue.reading(self.folder) as db:
            return site.site_table(db, kind, name)

    def site_entries(self, kind: str) -> tuple[SiteEntry, ...]:
        """The site tables of a kind (name, source, …), the one imported last at the end."""
        with catalogue.reading(self.folder) as db:
            return site.site_entries(db, kind)

    def overrules(self) -> tuple[Overrule, ...]:
        """What people stated against the program, in the order of statement; withdrawn ones too."""
        with catalogue.reading(self.folder) as db:
            return site.overrules(db)

    def kept_fits(self) -> tuple[KeptFit, ...]:
        """The fits that people kept, the last of each name."""
        with catalogue.reading(self.folder) as db:
            return fits.kept_fits(db)

    def kept_tests(self) -> tuple[KeptFit, ...]:
        """The penetration tests that people kept, the last of each name."""
        with catalogue.reading(self.folder) as db:
            return fits.kept_fits(db, fits.TEST)

    def quarantine(self) -> Table:
        """Rows that were not taken in: file, line (from 1; NaN where only the stamp is known), reason,
        text. A row whose stamp was there with other values tells the first that differs."""
        with catalogue.reading(self.folder) as db:
            return quarantine_table(catalogue.quarantine(db), catalogue.conflicts(db))

    def stamped_again(self) -> Table:
        """Rows of a log whose stamps it had before, with other values, so that they were not taken in: file, line (from
        1), time_us; in order of import and line."""
        with catalogue.reading(self.folder) as db:
            return stamped_table(catalogue.quarantined_at(db, SAME_STAMP))

    def conflicts(self) -> Table:
        """Rows whose stamp was there with other values: file, time_utc, the first channel that differs,
        kept and offered in its unit, channels that differ."""
        with catalogue.reading(self.folder) as db:
            return conflict_table(catalogue.conflicts(db))

    def set_aside(self) -> Table:
        """Values that were measured and that rules made missing for the rows around them: time_utc, channel, value
        in its unit, rule."""
        return set_aside_table(read_set_aside(self.folder, self._chunks))

    def source_count(self) -> int:
        """How many log files were taken in."""
        with catalogue.reading(self.folder) as db:
            return len(catalogue.known_sources(db))

    def history(self) -> tuple[HistoryEntry, ...]:
        """Who did what, when; the oldest first."""
        with catalogue.reading(self.folder) as db:
            return catalogue.history(db)

    def _named(self, kind: str) -> str:
        return ", ".join(f"'{name}'" for name in self.ground_names(kind)) or "none"
