"""The list of marks, and what the chosen one holds against the ground beside it."""

from collections.abc import Sequence
from html import escape
from pathlib import Path

import numpy as np
from PySide6.QtCore import QItemSelection, QMimeDatabase, Qt, QUrl, Signal, Slot
from PySide6.QtGui import QDesktopServices
from PySide6.QtWidgets import QLabel, QScrollArea, QVBoxLayout, QWidget

from tbmreview.domain.marks import Mark
from tbmreview.domain.station import Axis, format_chainage
from tbmreview.domain.table import Table
from tbmreview.drive.mark_contrast import SHOWN
from tbmreview.drive.photos import photo_file
from tbmreview.indicators.registry import BY_NAME
from tbmreview.viewer.findings_panel import list_view
from tbmreview.viewer.headed import TextsModel

NONE = (
    "No marks. Hold Shift and drag over the strips to draw one, or select a finding and press M. "
    "Marks are kept with your name and time; nothing is ever removed."
)
HOW = (
    "Inside against 20 m on either side. Dominance: share of 0.1 m steps larger inside less the share smaller. Wrong: "
    "share judged wrongly at the best value between, if both were normal."
)


class MarksModel(TextsModel):
    """Marks as rows, along the drive."""

    HEADINGS = ("from", "to", "what", "how sure", "by")
    RIGHT = (0, 1)
    NOTES = ("position", "position", "marks", "marks", "marks")

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.marks: tuple[Mark, ...] = ()

    def show(self, marks: Sequence[Mark], axis: Axis) -> None:
        """Replace the rows."""
        self.marks = tuple(marks)
        self.lay([_texts(mark, axis) for mark in marks], [mark.note for mark in marks])


def _texts(mark: Mark, axis: Axis) -> tuple[str, ...]:
    ends = axis.chainage_m(mark.position_from_m), axis.chainage_m(mark.position_to_m, ends=True)
    return (
        *(format_chainage(float(end), 1) for end in ends),
        f"{mark.id} {mark.kind}",
        mark.confidence,
        mark.decided_by,
    )


class MarksPanel(QWidget):
    """Marks of the drive; `chosen` carries the Mark that was selected, `opened` the one to be described."""

    chosen = Signal(object)
    opened = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._folder = Path()
        self.model = MarksModel(self)
        self.table = list_view(self.model, 2)
        self.said = QLabel()
        self.said.setObjectName("evidence")
        self.said.setWordWrap(True)
        self.said.setTextFormat(Qt.TextFormat.RichText)
        self.said.setAlignment(Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignLeft)
        self.said.setTextInteractionFlags(Qt.TextInteractionFlag.TextBrowserInteraction)
        self.said.linkActivated.connect(self._open_photo)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setWidget(self.said)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 4, 0, 0)
        layout.addWidget(self.table, 2)
        layout.addWidget(scroll, 3)
        self.table.selectionModel().selectionChanged.connect(self._selected)
        self.table.doubleClicked.connect(self._opened)

    def show_marks(self, marks: Sequence[Mark], axis: Axis, selected: str, folder: Path) -> None:
        """Fill the list; the mark with this id stays selected, and nothing is told of it. folder: of the drive."""
        self._folder = folder
        self.blockSignals(True)
        self.model.show(marks, axis)
        self.said.setText("Select a mark to go there and see what it holds." if marks else NONE)
        for row, mark in enumerate(self.model.marks):
            if mark.id == selected:
                self.table.selectRow(row)
        self.blockSignals(False)

    def selected(self) -> Mark | None:
        """The chosen mark."""
        rows = self.table.selectionModel().selectedRows()
        return self.model.marks[rows[0].row()] if rows else None

    def show_contrast(self, mark: Mark, rows: Table) -> None:
        """What a mark holds, where it is still the chosen one."""
        now = self.selected()
        if now is not None and now.id == mark.id:
            self.said.setText(_told(now, self._folder) + contrast_html(rows))

    @Slot(QItemSelection, QItemSelection)
    def _selected(self, new: QItemSelection, old: QItemSelection) -> None:
        mark = self.selected()
        if mark is not None:
            self.said.setText(_told(mark, self._folder))
            self.chosen.emit(mark)

    @Slot()
    def _opened(self) -> None:
        self.opened.emit()

    @Slot(str)
    def _open_photo(self, link: str) -> None:
        if not QDesktopServices.openUrl(QUrl(link)):
            self.said.setText(f"{self.said.text()}<p>This system has nothing that opens the photo.</p>")


def _told(mark: Mark, folder: Path) -> str:
    parts = [
        mark.note,
        f"rests on {', '.join(mark.findings)}" if mark.findings else "",
        mark.ground,
    ]
    said = [_plain(part) for part in parts if part]
    return "".join(f"<p>{part}</p>" for part in (*said, *(_photo(path, folder) for path in mark.photos)))


def _photo(path: str, folder: Path) -> str:
    """A path as a link where it is that of a picture: another file is not handed to the system."""
    file = photo_file(folder, path)
    if file is None:
        return f"{_plain(path)} (no such file)"
    if not QMimeDatabase().mimeTypeForFile(str(file)).name().startswith("image/"):
        return f"{_plain(path)} (no picture)"
    link = bytes(QUrl.fromLocalFile(str(file)).toEncoded().data()).decode("ascii")
    return f'<a href="{escape(link)}">{_plain(path)}</a>'


def _plain(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;")


def contrast_html(rows: Table) -> str:
    """The main indicators of `drive.mark_contrast` as a small table."""
    lines = []
    for name in SHOWN:
        at = np.flatnonzero(rows["indicator"] == name)
        if not len(at):
            continue
        known, row = BY_NAME[name], int(at[0])
        cells = [_figure(float(rows[c][row]), known.decimals) for c in ("inside", "beside")]
        cells += [_figure(float(rows[c][row]), 2) for c in ("inside_over_beside", "dominance", "wrong_share")]
        lines.append(f"<tr><td>{known.short}</td>{''.join(f'<td align=right>{c}</td>' for c in cells)}</tr>")
    if not lines:
        return "<p>Nothing was bored in it.</p>"
    names = "".join(f"<th align=right>{n}</th>" for n in ("inside", "beside", "ratio", "dominance", "wrong"))
    return f"<table cellspacing=0 cellpadding=2 width='100%'><tr><th></th>{names}</tr>{''.join(lines)}</table><p>{HOW}</p>"


def _figure(value: float, decimals: int) -> str:
    return "" if np.isnan(value) else f"{value:.{decimals}f}"
