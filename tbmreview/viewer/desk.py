"""The window's long work: open, add, write. Each is a job; the desk tells how it goes and how it ended."""

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, Signal, Slot

from tbmreview.scene.of_drive import DriveSource
from tbmreview.scene.session import Session
from tbmreview.scene.source import Source
from tbmreview.viewer.faults import sentence
from tbmreview.viewer.jobs import Answer, Jobs, Progress, Step

OPEN, ADD, SHEET, TABLE = "open", "add", "sheet", "table"
DOING = {
    OPEN: "opening the drive",
    ADD: "adding logs",
    SHEET: "writing the sheet",
    TABLE: "writing the table",
}


class Desk(QObject):
    """Begins work on a drive folder and hears of it on the main thread."""

    began = Signal(str, bool)  # what is going on, and whether it can be stopped
    stepped = Signal(object, object)  # done, total (bytes may pass 32 bits)
    ended = Signal()
    opened = Signal(object)  # another drive
    renewed = Signal(object)  # the same drive after a change
    reported = Signal(str, str)  # title, text
    failed = Signal(str)  # one sentence

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.jobs = Jobs(self)
        self.jobs.answered.connect(self._answered)
        self.jobs.stepped.connect(self._stepped)
        self._after: dict[str, Callable[[Any], None]] = {
            OPEN: self.opened.emit,
            ADD: self._added,
            SHEET: self._sheet_written,
            TABLE: self._table_written,
        }

    def open(self, folder: Path) -> None:
        """Open another drive."""
        self._begin(OPEN, partial(_open, folder))

    def add(self, folder: Path, files: Sequence[Path]) -> None:
        """Import logs into the drive."""
        self._begin(ADD, partial(_add, folder, files))

    def write_sheet(self, source: DriveSource, session: Session, out: Path, scale: int) -> None:
        """Sheets of the stretch in view at 1:scale, with the strips and step in view."""
        self._begin(SHEET, partial(_write_sheet, source, session, out, scale))

    def write_table(self, source: DriveSource, session: Session, out: Path) -> None:
        """The table of the stretch in view at its step."""
        self._begin(TABLE, partial(_write_table, source, session, out))

    @Slot()
    def stop(self) -> None:
        """Ask adding to stop. Its answer still counts: it may have been committed already."""
        self.jobs.ask(ADD)

    def close(self) -> None:
        """Stop and wait for the thread."""
        self.jobs.close()

    def _begin(self, kind: str, work: Callable[[Progress], Any]) -> None:
        self.jobs.begin(kind, work)
        self.began.emit(DOING[kind], kind == ADD)

    @Slot(object)
    def _stepped(self, step: Step) -> None:
        self.stepped.emit(step.done, step.total)

    @Slot(object)
    def _answered(self, answer: Answer) -> None:
        if not self.jobs.busy():
            self.ended.emit()
        if answer.error is not None:
            self.failed.emit(sentence(answer.error))
            return
        self._after[answer.kind](answer.result)

    def _added(self, result: tuple[str, DriveSource]) -> None:
        report, source = result
        self.renewed.emit(source)
        self.reported.emit("Logs added", report)

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


def _add(folder: Path, files: Sequence[Path], progress: Progress) -> tuple[str, DriveSource]:
    from tbmreview.drive.add import add

    report = add(folder, list(files), progress=progress)
    return report.text(), _open(folder, progress)


def _write_sheet(
    source: DriveSource, session: Session, out: Path, scale: int, progress: Progress
) -> list[Path]:
    from tbmreview.sheet.write import Choice, write_sheet

    low, high = chainages(source, session)
    choice = Choice(session.strips, session.step_m, session.predicted)
    return write_sheet(source.drive, out, low, high, scale, choice)


def _write_table(source: DriveSource, session: Session, out: Path, progress: Progress) -> Path:
    from tbmreview.drive.export import write_table

    low, high = chainages(source, session)
    step_m = session.step_m or 1.0
    write_table(source.drive.table("step", step_m, low, high), out)
    return out


def chainages(source: Source, session: Session) -> tuple[float, float]:
    """The bored part of the view as chainages [m], in the order of the drive."""
    low = max(session.view_m[0], session.span_m[0])
    high = min(session.view_m[1], session.span_m[1])
    axis = source.setup.drive.axis
    return float(axis.chainage_m(low)), float(axis.chainage_m(high))
