"""The window's long work: open, understand, add, write. Each is a job; the desk tells how it goes and how it
ended."""

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject, Signal, Slot

from tbmreview.domain.marks import Mark
from tbmreview.scene.of_drive import Decided, DriveSource
from tbmreview.scene.session import Session
from tbmreview.scene.source import Source
from tbmreview.viewer.faults import sentence
from tbmreview.viewer.jobs import Answer, Jobs, Progress, Step

if TYPE_CHECKING:
    from tbmreview.domain.table import Table
    from tbmreview.drive.add import AddReport
    from tbmreview.drive.columns import SeenColumns
    from tbmreview.drive.opened import Drive
    from tbmreview.ingest.column_map import ColumnMap

BUSY = "Logs are being added to the drive. Wait until they are in, or stop that first."

OPEN, SEE, ADD, RENEW, SHEET, TABLE = "open", "see", "add", "renew", "sheet", "table"
ROWS = "rows"
DECIDE, CONTRAST, SHIFTS = "decide", "contrast", "shifts"
DOING = {
    OPEN: "opening the drive",
    SEE: "reading the columns",
    ADD: "adding logs",
    RENEW: "bringing the picture up to date",
    ROWS: "reading the quarantined rows",
    SHEET: "writing the sheet",
    TABLE: "writing the table",
    DECIDE: "keeping what was decided",
    CONTRAST: "comparing the mark with the ground beside it",
    SHIFTS: "reading the shifts",
}


class Desk(QObject):
    """Begins work on a drive folder and hears of it on the main thread."""

    began = Signal(str, bool)  # what is going on, and whether it can be stopped
    stepped = Signal(object, object)  # done, total (bytes may pass 32 bits)
    ended = Signal()
    opened = Signal(object)  # another drive
    renewed = Signal(object)  # the same drive after a change
    asked = Signal(object)  # SeenColumns of logs to be added, where a person must or wants to look
    added = Signal(object)  # AddReport
    quarantined = Signal(object)  # Table of the rows that were not taken in
    decided = Signal()  # verdicts or marks of the drive are others now
    contrasted = Signal(object, object)  # a Mark, and the Table of what it holds
    shifts_read = Signal(object)  # list of (start, in words)
    reported = Signal(str, str)  # title, text
    failed = Signal(str)  # one sentence

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.jobs = Jobs(self)
        self.jobs.answered.connect(self._answered)
        self.jobs.stepped.connect(self._stepped)
        self._folder, self._look = Path(), False
        self._judged: DriveSource | None = None
        self._after: dict[str, Callable[[Any], None]] = {
            OPEN: self.opened.emit,
            SEE: self._seen,
            ADD: self._added,
            RENEW: self.renewed.emit,
            ROWS: self.quarantined.emit,
            SHEET: self._sheet_written,
            TABLE: self._table_written,
            DECIDE: self._decided,
            CONTRAST: self._contrasted,
            SHIFTS: self.shifts_read.emit,
        }

    def open(self, folder: Path) -> None:
        """Open another drive."""
        self._begin(OPEN, partial(_open, folder))

    def take_in(self, folder: Path, files: Sequence[Path], look: bool = False) -> None:
        """Understand logs and add them where nothing is open; else, or to look first, `asked` is told."""
        if self.jobs.busy(ADD):
            self.failed.emit(BUSY)
            return
        self._folder, self._look = folder, look
        self._begin(SEE, partial(_see, folder, files, look))

    def see_again(self, seen: "SeenColumns", given: "ColumnMap") -> None:
        """Understand the logs with what a person states now; `asked` is told of the result."""
        self._look = True
        self._begin(SEE, partial(_see_again, self._folder, seen, given))

    def forget(self) -> None:
        """The logs seen last are not wanted; an answer under way is dropped."""
        self.jobs.stop(SEE)
        self._rest()

    def add(self, seen: "SeenColumns", correct: bool = False) -> None:
        """Add the logs as seen to the drive for which they were seen; correct: where both have the stamp,
        their values replace what is stored."""
        if self.jobs.busy(ADD):
            self.failed.emit(BUSY)
            return
        self._begin(ADD, partial(_add, self._folder, seen, correct))

    def write_sheet(self, source: DriveSource, session: Session, out: Path, scale: int) -> None:
        """Sheets of the stretch in view at 1:scale, with the strips and step in view."""
        self._begin(SHEET, partial(_write_sheet, source, session, out, scale))

    def write_table(self, source: DriveSource, session: Session, out: Path) -> None:
        """The table of the stretch in view at its step."""
        self._begin(TABLE, partial(_write_table, source, session, out))

    def read_rows(self, folder: Path) -> None:
        """The rows of the drive that were not taken in."""
        self._begin(ROWS, partial(_read_rows, folder))

    def write_rows(self, rows: "Table", out: Path) -> None:
        """A table as it is."""
        self._begin(TABLE, partial(_write_rows, rows, out))

    def decide(self, source: DriveSource, work: "Callable[[Drive], Any]") -> None:
        """Do what a person decided; `decided` is told when it is kept."""
        self._judged = source
        self._begin(DECIDE, partial(_decide, source, work))

    def look_again(self, source: DriveSource) -> None:
        """Take in what others decided meanwhile."""
        if not self.jobs.busy():
            self._judged = source
            self._begin(DECIDE, partial(_decide, source, None))

    def contrast(self, source: DriveSource, mark: Mark) -> None:
        """What a mark holds against the ground beside it."""
        self._begin(CONTRAST, partial(_contrast, source, mark))

    def read_shifts(self, source: DriveSource) -> None:
        """The shifts of the drive, and whether each is signed off."""
        self._begin(SHIFTS, partial(_shifts, source))

    @Slot()
    def stop(self) -> None:
        """Ask adding to stop; its answer still counts, since it may have been committed already. Looking at
        columns ends at once."""
        self.jobs.ask(ADD)
        self.forget()

    def close(self) -> None:
        """Stop and wait for the thread."""
        self.jobs.close()

    def _begin(self, kind: str, work: Callable[[Progress], Any]) -> None:
        self.jobs.begin(kind, work)
        self.began.emit(DOING[kind], kind in (SEE, ADD))

    @Slot(object)
    def _stepped(self, step: Step) -> None:
        self.stepped.emit(step.done, step.total)

    @Slot(object)
    def _answered(self, answer: Answer) -> None:
        self._rest()
        if answer.error is not None:
            if answer.kind == DECIDE and self._judged is not None:
                self.look_again(self._judged)  # what another decided meanwhile shows behind the sentence
            self.failed.emit(sentence(answer.error))
            return
        self._after[answer.kind](answer.result)

    def _rest(self) -> None:
        if not self.jobs.busy():
            self.ended.emit()

    def _seen(self, seen: "SeenColumns") -> None:
        if self._look or seen.questions:
            self.asked.emit(seen)
        else:
            self.add(seen)

    def _added(self, report: "AddReport") -> None:
        self.added.emit(report)
        self._begin(RENEW, partial(_open, self._folder))

    def _decided(self, answer: tuple[bool, Decided]) -> None:
        acted, decided = answer
        if self._judged is not None and (self._judged.take_in(decided) or acted):
            self.decided.emit()

    def _contrasted(self, answer: tuple[Mark, "Table"]) -> None:
        self.contrasted.emit(*answer)

    def _sheet_written(self, paths: list[Path]) -> None:
        self.reported.emit("Sheet written", "\n".join(str(path) for path in paths))

    def _table_written(self, path: Path) -> None:
        self.reported.emit("Table written", str(path))


def _open(folder: Path, progress: Progress) -> DriveSource:
    """The drive with what is costly computed here, beside the window."""
    from tbmreview.drive.opened import open_drive

    source = DriveSource(open_drive(folder))
    if source.span_m[1] > source.span_m[0]:
        source.profile(1.0)
        source.findings()
    return source


def _see(folder: Path, files: Sequence[Path], look: bool, progress: Progress) -> "SeenColumns":
    from tbmreview.drive.columns import columns_for, with_values

    seen = columns_for(folder, files)
    return with_values(seen) if look or seen.questions else seen


def _see_again(folder: Path, seen: "SeenColumns", given: "ColumnMap", progress: Progress) -> "SeenColumns":
    from tbmreview.drive.columns import understood_again, with_values

    return with_values(understood_again(folder, seen, given))


def _add(folder: Path, seen: "SeenColumns", correct: bool, progress: Progress) -> "AddReport":
    from tbmreview.drive.add import add

    paths = [log.path for log in seen.logs]
    return add(folder, paths, seen.given, progress, progress.stopped, replace=correct)


def _write_sheet(
    source: DriveSource, session: Session, out: Path, scale: int, progress: Progress
) -> list[Path]:
    from tbmreview.sheet.write import Choice, write_sheet

    low, high = chainages(source, session)
    choice = Choice(session.strips, session.step_m, session.predicted, band=session.band)
    return write_sheet(source.drive, out, low, high, scale, choice)


def _write_table(source: DriveSource, session: Session, out: Path, progress: Progress) -> Path:
    from tbmreview.drive.export import write_table

    low, high = chainages(source, session)
    step_m = session.step_m or 1.0
    write_table(source.drive.table("step", step_m, low, high), out)
    return out


def _decide(
    source: DriveSource, work: "Callable[[Drive], Any] | None", progress: Progress
) -> tuple[bool, Decided]:
    """(whether a person decided something, verdicts and marks after it); the source takes them in on the main
    thread."""
    if work is not None:
        work(source.drive)
    return work is not None, source.decided_now()


def _contrast(source: DriveSource, mark: Mark, progress: Progress) -> "tuple[Mark, Table]":
    from tbmreview.drive.mark_contrast import mark_contrast

    return mark, mark_contrast(source.drive, [mark])


def _shifts(source: DriveSource, progress: Progress) -> list[tuple[int, str]]:
    from tbmreview.drive.sign_off import shifts_told

    return shifts_told(source.drive)


def _read_rows(folder: Path, progress: Progress) -> "Table":
    from tbmreview.drive.opened import open_drive

    return open_drive(folder).quarantine()


def _write_rows(rows: "Table", out: Path, progress: Progress) -> Path:
    from tbmreview.drive.export import write_table

    write_table(rows, out)
    return out


def chainages(source: Source, session: Session) -> tuple[float, float]:
    """The bored part of the view as chainages [m], in the order of the drive."""
    low = max(session.view_m[0], session.span_m[0])
    high = min(session.view_m[1], session.span_m[1])
    axis = source.axis
    return axis.chainage_at(low), axis.chainage_at(high, ends=True)
