"""The columns of logs before they are added: what each is taken for and why, and what must be answered."""

from pathlib import Path

from PySide6.QtCore import QSize, Qt, Signal, Slot
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QCheckBox,
    QDialog,
    QFileDialog,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QScrollArea,
    QSplitter,
    QVBoxLayout,
    QWidget,
)

from tbmreview.domain.errors import TbmReviewError
from tbmreview.drive.columns import SeenColumns, stating
from tbmreview.ingest.column_map import Entry
from tbmreview.ingest.report import STAMP
from tbmreview.viewer.clock_choice import ClockChoice
from tbmreview.viewer.column_choice import ColumnChoice
from tbmreview.viewer.columns_model import ColumnsModel, columns_table, fit_headers
from tbmreview.viewer.faults import sentence

LARGEST, LEAST_ROOM = QSize(1500, 900), QSize(60, 60)
CHOICE_PIXELS = 400
MAPS = "Column map (*.toml)"


class ColumnsPage(QDialog):
    """Shows what was seen; `stated` carries the ColumnMap after a choice, `wanted` the SeenColumns to add
    and whether they correct what is stored."""

    stated = Signal(object)
    wanted = Signal(object, bool)

    def __init__(self, seen: SeenColumns, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setWindowTitle("Columns of the logs")
        self.seen = seen
        self.heading, self.notes = QLabel(), QLabel()
        self.heading.setObjectName("title")
        self.notes.setObjectName("quiet")
        self.clock, self.choice = ClockChoice(), ColumnChoice()
        self.model = ColumnsModel(self)
        self.table = columns_table(self.model)
        self.save, self.leave, self.add = (
            QPushButton(words) for words in ("Save column map…", "Do not add", "Add")
        )
        self.correct = QCheckBox("These files correct what is stored: their values win at the same stamp")
        self._lay_out()
        self.clock.stated.connect(self._state)
        self.choice.stated.connect(self._state_column)
        self.table.selectionModel().selectionChanged.connect(self._selected)
        self.save.clicked.connect(self._save)
        self.leave.clicked.connect(self.reject)
        self.add.clicked.connect(self._add)
        self.show_seen(seen)

    def _lay_out(self) -> None:
        for label in (self.heading, self.notes):
            label.setWordWrap(True)
            label.setTextFormat(Qt.TextFormat.PlainText)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setWidget(self.choice)
        parts = QSplitter(Qt.Orientation.Horizontal)
        parts.setChildrenCollapsible(False)
        parts.addWidget(self.table)
        parts.addWidget(scroll)
        parts.setStretchFactor(0, 1)
        parts.setSizes([2 * CHOICE_PIXELS, CHOICE_PIXELS])
        scroll.setMinimumWidth(CHOICE_PIXELS - 40)
        buttons = QHBoxLayout()
        buttons.addWidget(self.save)
        buttons.addStretch(1)
        buttons.addWidget(self.correct)
        buttons.addWidget(self.leave)
        buttons.addWidget(self.add)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(16, 12, 16, 12)
        for widget in (self.heading, self.notes, self.clock):
            layout.addWidget(widget)
        layout.addWidget(parts, 1)
        layout.addLayout(buttons)
        self.add.setDefault(True)
        parent = self.parentWidget()
        if parent is not None:
            self.resize((parent.size() - LEAST_ROOM).boundedTo(LARGEST))

    def show_seen(self, seen: SeenColumns) -> None:
        """Show the logs as understood now; the column in view stays in view unless it is settled."""
        was = self._header()
        self.seen = seen
        self.model.show(seen)
        count, names = len(seen.questions), _names(seen)
        self.heading.setText(
            f"{count} open question{'s' if count > 1 else ''}: {names} can be added when answered"
            if count
            else f"Every column is settled: {names} can be added"
        )
        self.notes.setText("\n".join(_notes(seen)))
        self.notes.setVisible(bool(_notes(seen)))
        self.clock.show_clock(seen)
        self._settle(False)
        fit_headers(self.table)
        rows = self.model.rows
        keep = [k for k, row in enumerate(rows) if row.header == was]
        asks = [k for k, row in enumerate(rows) if row.open]
        firsts = asks or [k for k, row in enumerate(rows) if row.column.role != STAMP] or [0]
        if rows:
            self.table.selectRow((keep if keep and not asks else firsts)[0])

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        fit_headers(self.table)

    def _header(self) -> str:
        row = self.table.currentIndex().row()
        return self.model.rows[row].header if 0 <= row < len(self.model.rows) else ""

    def _settle(self, testing: bool) -> None:
        """While the logs are tested anew nothing can be added."""
        self.add.setEnabled(not testing and not self.seen.questions)
        if testing:
            self.heading.setText("Testing …")

    @Slot()
    def _selected(self) -> None:
        rows = self.table.selectionModel().selectedRows()
        if rows:
            row = rows[0].row()
            self.choice.show_column(self.seen, self.model.rows[row], self.model.values(row))

    @Slot(str, object)
    def _state_column(self, header: str, entry: Entry | None) -> None:
        self._state(stating(self.seen.given, header, entry))

    @Slot(object)
    def _state(self, given: object) -> None:
        self._settle(True)
        self.stated.emit(given)

    @Slot(str)
    def failed(self, text: str) -> None:
        """The test could not be made: what was seen before stands."""
        self.show_seen(self.seen)
        self.heading.setText(text)

    @Slot()
    def _save(self) -> None:
        chosen, _ = QFileDialog.getSaveFileName(self, "Save the column map", "columns.toml", MAPS)
        if chosen:
            self.save_map(Path(chosen))

    def save_map(self, path: Path) -> None:
        """Write the map of what is understood and stated; an error is said in the heading."""
        try:
            self.seen.write_map(path)
            self.heading.setText(f"The column map is in {path}")
        except (TbmReviewError, OSError) as error:
            self.heading.setText(sentence(error))

    @Slot()
    def _add(self) -> None:
        self.wanted.emit(self.seen, self.correct.isChecked())
        self.accept()


def _names(seen: SeenColumns) -> str:
    names = [log.path.name for log in seen.logs]
    return names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more"


def _notes(seen: SeenColumns) -> tuple[str, ...]:
    """What concerns a log as a whole."""
    notes = dict.fromkeys(f"Note: {note}" for log in seen.logs for note in log.notes)
    return (*seen.whole_questions, *notes)
