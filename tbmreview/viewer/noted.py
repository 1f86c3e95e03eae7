"""Method notes in the window: where they can be asked for, and the place in which they are read."""

from math import isnan

from PySide6.QtCore import QObject, QPoint, Qt, Signal, Slot
from PySide6.QtWidgets import QApplication, QMenu, QSplitter, QTableView

from tbmreview.help import page, page_of_strip
from tbmreview.scene.hit import strip_at
from tbmreview.viewer.note_html import note_html
from tbmreview.viewer.notes_panel import CONTENTS, NotesPanel
from tbmreview.viewer.pages import Page
from tbmreview.viewer.picture_panel import PicturePanel
from tbmreview.viewer.side_panel import SidePanel
from tbmreview.viewer.strips_panel import StripsModel

NOTE_PIXELS = 640


class Notes(QObject):
    """Offers a note with a right click on strips and tables, and shows it in the place of the side panel.

    under: name of the note of what the pointer is over in the strips, '' for none.
    """

    def __init__(self, parts: QSplitter, picture: PicturePanel, side: SidePanel) -> None:
        super().__init__(parts)
        self.panel, self.menu, self.under = NotesPanel(), NoteMenu(parts), ""
        self._parts, self._picture, self._side = parts, picture, side
        parts.addWidget(self.panel)
        self.panel.hide()
        self.panel.closed.connect(self.close)
        self.menu.chosen.connect(self.read)
        picture.pointed.connect(self._pointed)
        picture.strips.asked.connect(self._strip_asked)
        self.offer(side.table)
        self.offer(side.findings.table)

    def offer(self, table: QTableView) -> None:
        """A right click on a heading or a row of this table offers its note."""
        TableNotes(table).asked.connect(self.menu.offer)

    @Slot(str)
    def read(self, name: str) -> None:
        """Show a note beside the picture; over a page that is in front, as a page of its own."""
        front = QApplication.activeModalWidget()
        if front is not None and name != CONTENTS:
            Page("Method note", note_html(page(name)), front).show()
            return
        if self.panel.isHidden():
            self._side.hide()
            self.panel.show()
            self._parts.setSizes([max(self._parts.width() - NOTE_PIXELS, 1), 0, NOTE_PIXELS])
        self.panel.show_note(name)
        self.panel.text.setFocus()

    @Slot()
    def close(self) -> None:
        """Give the place back to the side panel."""
        if not self.panel.isHidden():
            self.panel.hide()
            self.panel.forget()
            self._side.show()
            self._picture.strips.setFocus()

    @Slot(float, float)
    def _pointed(self, x: float, y: float) -> None:
        self.under = self._at(y)

    @Slot(float, object)
    def _strip_asked(self, y: float, at: QPoint) -> None:
        self.menu.offer(self._at(y) or CONTENTS, at)

    def _at(self, y: float) -> str:
        plan = self._picture.strips.plan
        return "" if plan is None or isnan(y) else page_of_strip(strip_at(plan, y))


class NoteMenu(QMenu):
    """Offers the note of what lies under the pointer; `chosen` carries its name."""

    chosen = Signal(str)

    def __init__(self, parent: QSplitter) -> None:
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
    """A right click on a heading of a table asks for the note of its column, NOTES of its model; on a row of strips
    for that of the strip, on another row for the note of its first column.
    """

    asked = Signal(str, object)  # name of the note, place on the screen

    def __init__(self, table: QTableView) -> None:
        super().__init__(table)
        self._table = table
        for widget, asked in ((table, self._row), (table.horizontalHeader(), self._heading)):
            widget.setContextMenuPolicy(Qt.ContextMenuPolicy.CustomContextMenu)
            widget.customContextMenuRequested.connect(asked)

    @Slot(QPoint)
    def _row(self, at: QPoint) -> None:
        index, model = self._table.indexAt(at), self._table.model()
        if isinstance(model, StripsModel) and index.isValid():
            note = page_of_strip(model.rows[index.row()].name) or CONTENTS
        else:
            note = self._note(index.column())
        self.asked.emit(note, self._table.viewport().mapToGlobal(at))

    @Slot(QPoint)
    def _heading(self, at: QPoint) -> None:
        header = self._table.horizontalHeader()
        self.asked.emit(self._note(header.logicalIndexAt(at)), header.mapToGlobal(at))

    def _note(self, column: int) -> str:
        notes: tuple[str, ...] = getattr(self._table.model(), "NOTES", ())
        return notes[column] if 0 <= column < len(notes) else ""
