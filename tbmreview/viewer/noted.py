"""Where a method note can be asked for: a menu at the pointer, on strips and on tables."""

from collections.abc import Callable

from PySide6.QtCore import QObject, QPoint, Qt, Signal, Slot
from PySide6.QtWidgets import QMenu, QTableView, QWidget

from tbmreview.help import page
from tbmreview.viewer.headed import HeadedModel
from tbmreview.viewer.notes_panel import CONTENTS


class NoteMenu(QMenu):
    """Offers the note of what lies under the pointer; `chosen` carries its name."""

    chosen = Signal(str)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.note = ""
        self.entry = self.addAction("")
        self.entry.triggered.connect(self._chosen)

    @Slot(str, object)
    def offer(self, name: str, at: QPoint) -> None:
        """Open at a place of the screen; with no note to offer, nothing opens."""
        if name:
            self.note = name
            self.entry.setText(f"Method note: {'all notes' if name == CONTENTS else page(name).title}")
            self.popup(at)

    @Slot()
    def _chosen(self) -> None:
        self.chosen.emit(self.note)


class TableNotes(QObject):
    """A right click on a heading of a table asks for the note of its column; on a row, for that of `of_row`."""

    asked = Signal(str, object)  # name of the note, place on the screen

    def __init__(self, table: QTableView, of_row: Callable[[int], str]) -> None:
        super().__init__(table)
        self._table, self._of_row = table, of_row
        for widget, asked in ((table, self._row), (table.horizontalHeader(), self._heading)):
            widget.setContextMenuPolicy(Qt.ContextMenuPolicy.CustomContextMenu)
            widget.customContextMenuRequested.connect(asked)

    @Slot(QPoint)
    def _row(self, at: QPoint) -> None:
        index = self._table.indexAt(at)
        if index.isValid():
            self.asked.emit(self._of_row(index.row()), self._table.viewport().mapToGlobal(at))

    @Slot(QPoint)
    def _heading(self, at: QPoint) -> None:
        header, model = self._table.horizontalHeader(), self._table.model()
        column = header.logicalIndexAt(at)
        if isinstance(model, HeadedModel) and 0 <= column < len(model.NOTES):
            self.asked.emit(model.NOTES[column], header.mapToGlobal(at))
