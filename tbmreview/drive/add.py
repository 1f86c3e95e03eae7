"""Taking logs into a drive: all files or none."""

import hashlib
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from dataclasses import replace as with_changes
from pathlib import Path
from threading import Event

from tbmreview.domain.errors import Cancelled, ColumnsOpen, LogError, TbmReviewError
from tbmreview.drive.columns import understand_for
from tbmreview.drive.history import person
from tbmreview.drive.left_out import CONFLICT
from tbmreview.drive.opened import open_drive
from tbmreview.drive.progress import Progress, ProgressLine, say_at_terminal
from tbmreview.ingest.column_map import ColumnMap, read_column_map
from tbmreview.ingest.read import FileUnderstanding, LogReader, read_log
from tbmreview.ingest.report import FileReport, mixed_rates
from tbmreview.ingest.surroundings import LIMITS, REACH, judge
from tbmreview.store.importing import Import, Outcome
from tbmreview.store.layout import day_date
from tbmreview.store.merge import Conflict
from tbmreview.store.rows_around import Marks, Preference, Rules
from tbmreview.store.spool import Part
from tbmreview.store.writing import SourceRecord, Writing, writing

_PIECE_BYTES = 1 << 20


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
    """What an import did. changed_days: UTC days since 1970 whose samples changed; replaced: rows of the
    drive that gave way to those of the files."""

    files: tuple[FileAdded, ...]
    changed_days: tuple[int, ...]
    notes: tuple[str, ...] = ()
    replaced: int = 0

    def text(self) -> str:
        """In plain lines, file by file; the last line is the total."""
        lines = [f.report.as_text() + ("\n  note: taken in before" if f.known else "") for f in self.files]
        lines += [f"note: {note}" for note in self.notes]
        if self.replaced:
            lines.append(f"rows of the drive replaced by values of these files: {self.replaced}")
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
    *,
    replace: bool = False,
) -> AddReport:
    """Take logs into a drive: all or none.

    column_map: what a person states of the columns, or a file that says it.
    progress(done, total) counts bytes of the files, half of them when read and half when merged;
    `cancelled` is asked between files, blocks and days. replace: the files correct what is stored, so
    their values win where both have the stamp. A ProgressLine is told which part of the work begins, and
    also counts the days reduced afterwards. While another program writes, this one waits some seconds.
    Raises LogError, ColumnsOpen, DriveError, DriveBusy or Cancelled; the drive is then as it was.
    """
    drive = open_drive(folder)
    given = read_column_map(column_map) if isinstance(column_map, Path) else column_map
    logs = []
    for path in files:
        _breathe(cancelled)
        logs.append(understand_for(drive.setup, path, given))
    questions = [f"{log.path}: {question}" for log in logs for question in log.questions]
    if questions:
        raise ColumnsOpen(
            "; ".join(questions) + " (see: tbmreview columns FILE --out MAP.toml, then --columns MAP.toml)"
        )
    adding = _Adding(logs, progress or _unseen, cancelled, replace)
    with writing(drive.folder, person(), adding.wait) as work:
        report = adding.run(work)

    def on_day(done: int, total: int) -> None:
        _breathe(cancelled)
        if isinstance(progress, ProgressLine):
            progress(done, total)

    _begin(progress, "reducing", "days")
    rates = mixed_rates([file.report for file in report.files])
    return with_changes(report, notes=(*report.notes, *rates, *_brought_up_to_date(drive.folder, on_day)))


def _unseen(done: int, total: int) -> None:
    """Nobody looks."""


def _begin(progress: Progress | None, what: str, unit: str) -> None:
    if isinstance(progress, ProgressLine):
        progress.stage(what, unit)


def _breathe(cancelled: Callable[[], bool] | None) -> None:
    if cancelled is not None and cancelled():
        raise Cancelled("cancelled; the drive is as it was")


class _Adding:
    """One import under way."""

    def __init__(
        self,
        logs: Sequence[FileUnderstanding],
        progress: Progress,
        cancelled: Callable[[], bool] | None,
        replace: bool,
    ) -> None:
        self._logs = logs
        self._progress = progress
        self._cancelled = cancelled
        self._replace = replace
        self._sizes = [log.path.stat().st_size for log in logs]
        self._readers: list[LogReader] = []

    def wait(self, waited_s: float) -> None:
        """Another program is writing."""
        if waited_s == 0:
            say_at_terminal("another program is writing to this drive; waiting for it")
        _breathe(self._cancelled)

    def run(self, work: Writing) -> AddReport:
        """Do it within a transaction."""
        self._work = work
        self._first_source = work.next_source()
        self._import = Import(work, len(self._logs), Rules(frozenset(LIMITS), REACH, judge, self._judged))
        known = work.known_sources()
        _begin(self._progress, "reading", "B")
        with _hashed([log.path for log in self._logs]) as later:
            for origin in range(len(self._logs)):
                self._read(origin)
            hashes = [found.result() for found in later]
        _begin(self._progress, "merging", "B")
        order = sorted(range(len(hashes)), key=lambda origin: hashes[origin])
        steps, scales = [r.print_steps for r in self._readers], [r.scales for r in self._readers]
        preference = Preference(order, steps, scales, self._replace)
        outcome = self._import.merge(preference, self._conflicts, self._merged)
        files = tuple(
            FileAdded(self._final(o, reader.report, outcome), self._sizes[o], hashes[o], hashes[o] in known)
            for o, reader in enumerate(self._readers)
        )
        self._record(files, outcome)
        _breathe(self._cancelled)
        return AddReport(files, tuple(outcome.changed_days), _around(outcome), outcome.replaced)

    def _read(self, origin: int) -> None:
        before, total = sum(self._sizes[:origin]), sum(self._sizes)

        def on_block(done: int, of: int) -> None:
            self._progress((before + self._sizes[origin] * done // max(of, 1)) // 2, total)

        log = self._logs[origin]
        reader = read_log(log.path, log, on_block)
        for block in reader:
            _breathe(self._cancelled)
            self._import.put(origin, block.samples, block.lines)
            rows = ((q.line, q.reason, q.text, q.time_us) for q in block.quarantined)
            self._work.add_quarantine(self._first_source + origin, rows)
        self._readers.append(reader)

    def _judged(self, part: Part, marks: Marks) -> None:
        self._readers[part.origin].judged(part.samples, part.lines, dict(marks))

    def _merged(self, days: int, of: int) -> None:
        _breathe(self._cancelled)
        total = sum(self._sizes)
        self._progress(total if days == of else total // 2 + (total - total // 2) * days // of, total)

    def _conflicts(self, origin: int, conflicts: Sequence[Conflict]) -> None:
        self._work.add_conflicts(self._first_source + origin, conflicts)

    def _final(self, origin: int, read: FileReport, outcome: Outcome) -> FileReport:
        """The account of a file once its rows have met those of the others and of the drive."""
        conflicts = int(outcome.conflicts[origin])
        return with_changes(
            read,
            kept=int(outcome.kept[origin]),
            duplicates=read.duplicates + int(outcome.duplicates[origin]),
            quarantined={**read.quarantined, **({CONFLICT: conflicts} if conflicts else {})},
        )

    def _record(self, files: Sequence[FileAdded], outcome: Outcome) -> None:
        """Record the files that are new or brought something new; nothing where nothing changed."""
        new = [(origin, file) for origin, file in enumerate(files) if file.report.kept or not file.known]
        for origin in range(len(files)):
            if origin not in dict(new):
                self._work.forget_source(self._first_source + origin)
        if not new and not outcome.changed_days:
            self._work.discard()
            return
        for origin, file in new:
            self._work.add_source(self._first_source + origin, _source(file))
        days = [f"{day_date(day)}" for day in outcome.changed_days]
        told = [{"file": f.report.file, "sha256": f.sha256, "kept": f.report.kept} for _, f in new]
        corrected = {"replaced_rows": outcome.replaced} if self._replace else {}
        self._work.record("add", {"files": told, "days": days, **corrected})


def _around(outcome: Outcome) -> tuple[str, ...]:
    """What became of values of the drive because other rows stand around them now."""
    told = (
        (outcome.more, "are made missing by rules that look at the rows around a value"),
        (outcome.back, "are no longer made missing"),
    )
    said = " and ".join(f"{number} {what}" for number, what in told if number)
    return (f"of the values that the drive had before, {said}",) if said else ()


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


@contextmanager
def _hashed(paths: Sequence[Path]) -> Iterator[list[Future[str]]]:
    """The SHA-256 of files, found beside other work; given up where that fails."""
    over = Event()
    with ThreadPoolExecutor(1) as pool:
        try:
            yield [pool.submit(_sha256, path, over) for path in paths]
        finally:
            over.set()


def _sha256(path: Path, over: Event) -> str:
    found = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while (piece := file.read(_PIECE_BYTES)) and not over.is_set():
                found.update(piece)
    except OSError as error:
        raise LogError(f"{path}: cannot be read ({error.strerror})") from error
    return found.hexdigest()


def _brought_up_to_date(folder: Path, progress: Progress) -> tuple[str, ...]:
    """Compute what follows from the samples. They are in the drive already, whatever happens here."""
    later = "the samples are in the drive; cells and strokes follow when they are asked for"
    try:
        open_drive(folder).reduce(progress)
    except Cancelled:
        return (f"{later} (stopped)",)
    except (TbmReviewError, OSError) as error:
        return (f"{later} ({error})",)
    except KeyboardInterrupt:
        return (f"{later} (stopped)",)
    return ()
