"""Taking logs into a drive: all files or none."""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from tbmreview.domain.errors import Cancelled, ColumnsOpen, LogError, TbmReviewError
from tbmreview.drive.history import person
from tbmreview.drive.opened import open_drive
from tbmreview.drive.progress import Progress
from tbmreview.ingest.column_map import ColumnMap, read_column_map
from tbmreview.ingest.read import FileUnderstanding, read_log, understand
from tbmreview.ingest.report import FileReport
from tbmreview.store.importing import Import, Outcome
from tbmreview.store.layout import day_date
from tbmreview.store.merge import Conflict
from tbmreview.store.writing import SourceRecord, Writing, writing

CONFLICT = "the same stamp with other values (what was there is kept)"


@dataclass(frozen=True, slots=True)
class FileAdded:
    """One file taken in. report: what became of its rows, rows_read = kept + duplicates + quarantined.

    Kept are rows of which something was stored; duplicates agree with what is there and add nothing;
    a row whose stamp is there with other values is quarantined as CONFLICT. known: taken in before.
    """

    report: FileReport
    size: int
    sha256: str
    known: bool


@dataclass(frozen=True, slots=True)
class AddReport:
    """What an import did. changed_days: UTC days since 1970 whose samples changed."""

    files: tuple[FileAdded, ...]
    changed_days: tuple[int, ...]
    notes: tuple[str, ...] = ()

    def text(self) -> str:
        """In plain lines, file by file; the last line is the total."""
        lines = [f.report.as_text() + ("\n  note: taken in before" if f.known else "") for f in self.files]
        lines += [f"note: {note}" for note in self.notes]
        reports = [f.report for f in self.files]
        days = [f"{day_date(day)}" for day in self.changed_days]
        span = f"days changed (UTC): {len(days)}, {days[0]} to {days[-1]}" if days else "nothing new"
        lines.append(
            f"in all: {sum(r.rows_read for r in reports)} rows read, {sum(r.kept for r in reports)} kept, "
            f"{sum(r.duplicates for r in reports)} duplicates, "
            f"{sum(r.quarantined_rows for r in reports)} quarantined; {span}"
        )
        return "\n".join(lines)


def add(
    folder: Path | str,
    files: Sequence[Path | str],
    column_map: Path | ColumnMap | None = None,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> AddReport:
    """Take logs into a drive: all or none.

    column_map: what a person states of the columns, or a file that says it. progress(done, total) counts bytes of the files;
    `cancelled` is asked between blocks. Raises LogError, ColumnsOpen, DriveError, DriveBusy or Cancelled;
    the drive is then as it was.
    """
    drive = open_drive(folder)
    given = read_column_map(column_map) if isinstance(column_map, Path) else column_map
    logs = [understand(path, drive.setup.drive.zone, drive.setup.machine, given) for path in files]
    questions = [f"{log.path}: {question}" for log in logs for question in log.questions]
    if questions:
        raise ColumnsOpen(
            "; ".join(questions) + " (see: tbmreview columns FILE --out MAP.toml, then --columns MAP.toml)"
        )
    with writing(drive.folder, person()) as work:
        report = _Adding(work, logs, progress, cancelled).run()
    return replace(report, notes=_brought_up_to_date(drive.folder))


class _Adding:
    """One import under way, within its transaction."""

    def __init__(
        self,
        work: Writing,
        logs: Sequence[FileUnderstanding],
        progress: Progress | None,
        cancelled: Callable[[], bool] | None,
    ) -> None:
        self._work = work
        self._logs = logs
        self._progress = progress
        self._cancelled = cancelled
        self._first_source = work.next_source()
        self._import = Import(work, len(logs))
        self._sizes = [log.path.stat().st_size for log in logs]

    def run(self) -> AddReport:
        known = self._work.known_sources()
        hashes = [_sha256(log.path) for log in self._logs]
        reports = [self._read(origin) for origin in range(len(self._logs))]
        preference = sorted(range(len(hashes)), key=lambda origin: hashes[origin])
        outcome = self._import.merge(preference, self._conflicts, lambda _: self._breathe())
        files = tuple(
            FileAdded(self._final(o, read, outcome), self._sizes[o], hashes[o], hashes[o] in known)
            for o, read in enumerate(reports)
        )
        self._record(files, outcome)
        return AddReport(files, tuple(outcome.changed_days))

    def _read(self, origin: int) -> FileReport:
        before, total = sum(self._sizes[:origin]), sum(self._sizes)

        def on_block(done: int, of: int) -> None:
            if self._progress is not None:
                self._progress(before + self._sizes[origin] * done // max(of, 1), total)

        log = self._logs[origin]
        reader = read_log(log.path, log, on_block)
        for block in reader:
            self._breathe()
            self._import.put(origin, block.samples)
            rows = ((q.line, q.reason, q.text) for q in block.quarantined)
            self._work.add_quarantine(self._first_source + origin, rows)
        return reader.report

    def _breathe(self) -> None:
        if self._cancelled is not None and self._cancelled():
            raise Cancelled("cancelled; the drive is as it was")

    def _conflicts(self, origin: int, conflicts: Sequence[Conflict]) -> None:
        self._work.add_conflicts(self._first_source + origin, conflicts)

    def _final(self, origin: int, read: FileReport, outcome: Outcome) -> FileReport:
        """The account of a file once its rows have met those of the others and of the drive."""
        conflicts = int(outcome.conflicts[origin])
        return replace(
            read,
            kept=int(outcome.kept[origin]),
            duplicates=read.duplicates + int(outcome.duplicates[origin]),
            quarantined={**read.quarantined, **({CONFLICT: conflicts} if conflicts else {})},
        )

    def _record(self, files: Sequence[FileAdded], outcome: Outcome) -> None:
        """Record the files that are new or brought something new; if there are none, nothing."""
        new = [(origin, file) for origin, file in enumerate(files) if file.report.kept or not file.known]
        for origin in range(len(files)):
            if origin not in dict(new):
                self._work.forget_source(self._first_source + origin)
        if not new:
            self._work.discard()
            return
        for origin, file in new:
            self._work.add_source(self._first_source + origin, _source(file))
        days = [f"{day_date(day)}" for day in outcome.changed_days]
        told = [{"file": f.report.file, "sha256": f.sha256, "kept": f.report.kept} for _, f in new]
        self._work.record("add", {"files": told, "days": days})


def _source(file: FileAdded) -> SourceRecord:
    report = file.report
    return SourceRecord(
        name=report.file,
        size=file.size,
        sha256=file.sha256,
        columns={c.header: [c.role, c.name, c.unit] for c in report.columns},
        rows_read=report.rows_read,
        kept=report.kept,
        duplicates=report.duplicates,
        quarantined=report.quarantined,
        repairs={f"{r.rule}, {r.column}": r.count for r in report.repairs},
    )


def _sha256(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise LogError(f"{path}: cannot be read ({error.strerror})") from error


def _brought_up_to_date(folder: Path) -> tuple[str, ...]:
    """Compute what follows from the samples. They are in the drive already, whatever happens here."""
    later = "the samples are in the drive; cells and strokes follow when they are asked for"
    try:
        _ = open_drive(folder).cells
    except (TbmReviewError, OSError) as error:
        return (f"{later} ({error})",)
    except KeyboardInterrupt:
        return (f"{later} (stopped)",)
    return ()
