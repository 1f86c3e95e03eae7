"""What a person decides in the window: verdicts, marks, sign-offs. Asks, hands the act to the desk, shows what came
of it; what another person decided meanwhile is told, never overwritten."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject, Slot
from PySide6.QtWidgets import QDialog, QInputDialog, QWidget

from tbmreview.domain.findings import AGREED, OPEN, SET_ASIDE, Finding
from tbmreview.domain.marks import MARK_KINDS, Mark
from tbmreview.viewer.desk import Desk
from tbmreview.viewer.mark_page import MarkPage
from tbmreview.viewer.side_panel import SidePanel
from tbmreview.viewer.stage import Stage

if TYPE_CHECKING:
    from tbmreview.drive.opened import Drive

Work = Callable[["Drive"], Any]


class Judging(QObject):
    """Verdicts, marks and sign-offs of the drive on the stage."""

    def __init__(self, stage: Stage, desk: Desk, side: SidePanel, window: QWidget) -> None:
        super().__init__(window)
        self._stage, self._desk, self._side, self._window = stage, desk, side, window
        self.page: MarkPage | None = None
        desk.decided.connect(self._decided)
        desk.contrasted.connect(self._contrasted)
        side.marks.chosen.connect(self.mark_chosen)
        side.marks.opened.connect(self.describe)

    # verdicts

    @Slot()
    def agree(self) -> None:
        self._judge(AGREED, "")

    @Slot()
    def set_aside(self) -> None:
        finding = self._finding()
        if finding is None:
            return
        note, given = QInputDialog.getMultiLineText(
            self._window,
            f"Set {finding.id} aside",
            "Why? It stays visible, marked so, on every later sheet.",
            finding.note,
        )
        if given:
            self._judge(SET_ASIDE, note)

    @Slot()
    def reopen(self) -> None:
        self._judge(OPEN, "")

    def _finding(self) -> Finding | None:
        found = self._side.findings.selected()
        if found is None:
            self._desk.failed.emit("Select a finding in the list first.")
        return found

    def _judge(self, verdict: str, note: str) -> None:
        finding = self._finding()
        if finding is not None:
            self._decide(partial(_judge, finding=finding, verdict=verdict, note=note))

    # marks

    @Slot(float, float)
    def draw(self, from_m: float, to_m: float) -> None:
        """Describe a mark over a stretch that was drawn on the strips."""
        low, high = sorted((from_m, to_m))
        span = self._stage.session.span_m
        low, high = max(low, span[0]), min(high, span[1])
        if high > low:
            self._describe(Mark(MARK_KINDS[0], round(low, 2), round(high, 2)))

    @Slot()
    def mark_finding(self) -> None:
        """Describe a mark over the chosen finding, its ends at the nearest steps of level."""
        finding = self._finding()
        if finding is not None:
            ends = finding.position_from_m, finding.position_to_m
            self._describe(Mark(MARK_KINDS[0], *ends, findings=(finding.id,)))

    @Slot()
    def describe(self) -> None:
        """Describe the chosen mark."""
        mark = self._mark()
        if mark is not None:
            self._describe(mark)

    @Slot(str, bool, float)
    def move_end(self, name: str, first: bool, position_m: float) -> None:
        """An end of a mark was drawn to another place."""
        mark = next((m for m in self._stage.source.marks() if m.id == name), None)
        if mark is not None:
            end = "position_from_m" if first else "position_to_m"
            changes = {end: round(position_m, 2)}
            self._decide(partial(_change, mark=mark, changes=changes))

    @Slot()
    def withdraw(self) -> None:
        mark = self._mark()
        if mark is None:
            return
        reason, given = QInputDialog.getText(
            self._window, f"Withdraw {mark.id}", "Why? It counts no more and stays in the drive's history."
        )
        if given:
            self._decide(partial(_withdraw, mark=mark, reason=reason))

    @Slot()
    def undo(self) -> None:
        self._decide(_undo)

    @Slot()
    def redo(self) -> None:
        self._decide(_redo)

    def _mark(self) -> Mark | None:
        mark = self._side.marks.selected()
        if mark is None:
            self._desk.failed.emit("Select a mark in the list first.")
        return mark

    def _describe(self, mark: Mark) -> None:
        self.page = MarkPage(mark, self._stage.source.axis, self._window)
        self.page.finished.connect(self._described)
        self.page.open()

    @Slot(int)
    def _described(self, answer: int) -> None:
        page, self.page = self.page, None
        if page is None:
            return
        if answer == QDialog.DialogCode.Accepted:
            if page.mark.id:
                self._decide(partial(_change, mark=page.mark, changes=page.fields()))
            else:
                self._decide(partial(_draw, mark=replace(page.mark, **page.fields())))
        page.deleteLater()

    @Slot(object)
    def mark_chosen(self, mark: Mark) -> None:
        """Go to a mark and see what it holds."""
        self._stage.go(self._stage.session.jump_to_mark(mark))
        self._desk.contrast(self._stage.source, mark)

    # sign-off

    @Slot()
    def sign_off(self) -> None:
        self._desk.read_shifts(self._stage.source)

    @Slot(object)
    def choose_shift(self, shifts: list[tuple[int, str]]) -> None:
        """Ask which shift is signed off, and for a note. shifts: (start, in words), the last first."""
        from tbmreview.drive.sign_off import MEANS

        if not shifts:
            self._desk.failed.emit("No shift has a record yet.")
            return
        words = [told for _, told in shifts]
        chosen, given = QInputDialog.getItem(self._window, "Sign off a shift", MEANS, words, 0, False)
        if not given:
            return
        note, given = QInputDialog.getText(self._window, "Sign off a shift", f"{chosen}\n\nNote, if any:")
        if given:
            self._decide(partial(_sign_off, start_us=shifts[words.index(chosen)][0], note=note))

    # what comes of it

    def _decide(self, work: Work) -> None:
        self._desk.decide(self._stage.source, work)

    @Slot()
    def _decided(self) -> None:
        self._stage.renew(self._stage.source)
        mark = self._side.marks.selected()
        if mark is not None:
            self._desk.contrast(self._stage.source, mark)

    @Slot(object, object)
    def _contrasted(self, mark: Mark, rows: Any) -> None:
        self._side.marks.show_contrast(mark, rows)


def _judge(drive: "Drive", finding: Finding, verdict: str, note: str) -> None:
    from tbmreview.drive.judge import judge

    judge(drive, [finding.id], verdict, note, seen_us={finding.id: finding.decided_us})


def _draw(drive: "Drive", mark: Mark) -> None:
    from tbmreview.drive.marks import draw

    draw(drive, mark)


def _change(drive: "Drive", mark: Mark, changes: dict[str, Any]) -> None:
    from tbmreview.drive.marks import change

    change(drive, mark.id, changes, mark.version)


def _withdraw(drive: "Drive", mark: Mark, reason: str) -> None:
    from tbmreview.drive.marks import withdraw_mark

    withdraw_mark(drive, mark.id, reason, mark.version)


def _undo(drive: "Drive") -> None:
    from tbmreview.drive.marks import undo

    undo(drive)


def _redo(drive: "Drive") -> None:
    from tbmreview.drive.marks import redo

    redo(drive)


def _sign_off(drive: "Drive", start_us: int, note: str) -> None:
    from tbmreview.drive.sign_off import sign_off

    sign_off(drive, start_us, note)
