"""One column of a log in full: its data, the question, the test in words, and the choice."""

from PySide6.QtCore import Qt, Signal, Slot
from PySide6.QtWidgets import QComboBox, QGridLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from tbmreview.domain.channels import BY_NAME, CHANNELS
from tbmreview.drive.columns import SeenColumn, SeenColumns, answers, measures, unit_names
from tbmreview.ingest.column_map import EXTRA, IGNORE, Entry
from tbmreview.ingest.report import CHANNEL, STAMP
from tbmreview.viewer.column_plot import ColumnPlot, Values
from tbmreview.viewer.columns_model import taken_for

AS_PROPOSED, NOT_SETTLED = "as proposed", "choose …"
KEEP, LEAVE = "Extra channel, kept as it is", "Left out"
CHOOSE_UNIT = "Now choose the unit that the file writes."


class ColumnChoice(QWidget):
    """Shows a column; `stated` carries its header and the Entry that was chosen, None for *as proposed*."""

    stated = Signal(str, object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._seen: SeenColumn | None = None
        self._entries: tuple[Entry, ...] = ()
        self.header, self.files = _words("strong"), _words("quiet")
        self.plot = ColumnPlot()
        self.question, self.proposal, self.test = _words("question"), _words("here"), _words("quiet")
        self.buttons: list[QPushButton] = []
        self._answers = QVBoxLayout()
        self.channel, self.unit, self.hint = QComboBox(), QComboBox(), _words("question")
        self.unit.setEditable(True)
        self.unit.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
        self.choice_words, self.unit_words = QLabel("This column is"), QLabel("written in")
        self._lay_out()
        self.channel.activated.connect(self._channel_chosen)
        self.unit.activated.connect(self._unit_chosen)
        edit = self.unit.lineEdit()
        assert edit is not None
        edit.editingFinished.connect(self._unit_chosen)

    def _lay_out(self) -> None:
        choice = QGridLayout()
        choice.setColumnStretch(1, 1)
        for row, (words, box) in enumerate(((self.choice_words, self.channel), (self.unit_words, self.unit))):
            choice.addWidget(words, row, 0)
            choice.addWidget(box, row, 1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(16, 0, 4, 0)
        layout.setSpacing(8)
        for widget in (self.header, self.files, self.plot, self.question):
            layout.addWidget(widget)
        layout.addLayout(self._answers)
        layout.addWidget(self.proposal)
        layout.addWidget(self.test)
        layout.addLayout(choice)
        layout.addWidget(self.hint)
        layout.addStretch(1)

    def show_column(self, of: SeenColumns, seen: SeenColumn, values: Values | None) -> None:
        """Show this column of the logs."""
        self._seen, column = seen, seen.column
        self.header.setText(seen.header)
        more = len(seen.files) - 1
        self.files.setText(f"in {of.logs[seen.log].path.name}" + (f" and {more} more" if more else ""))
        self.plot.show_values(values)
        self.question.setText(column.question)
        self.question.setVisible(seen.open)
        unit = f", written in {column.unit}" if column.role == CHANNEL and column.unit else ""
        self.proposal.setText(f"Taken for: {taken_for(seen).removesuffix(' ?')}{unit}")
        self.proposal.setVisible(not seen.open)
        told = not column.reason or column.reason in column.question
        self.test.setText("" if told else f"Why: {column.reason}")
        self.test.setVisible(not told)
        self._entries = answers(of.logs[seen.log], column)
        self._show_answers()
        self._show_choice()

    def _show_answers(self) -> None:
        """A button for each answer that the question leaves."""
        for button in self.buttons:
            self._answers.removeWidget(button)
            button.deleteLater()
        self.buttons = []
        for entry in self._entries:
            button = QPushButton(in_words(entry))
            button.clicked.connect(self._answered)
            self._answers.addWidget(button)
            self.buttons.append(button)

    def _show_choice(self) -> None:
        assert self._seen is not None
        seen, column = self._seen, self._seen.column
        is_stamp = column.role == STAMP
        for widget in (self.choice_words, self.channel, self.unit_words, self.unit):
            widget.setVisible(not is_stamp)
        self.choice_words.setText("Or else it is" if self.buttons else "This column is")
        self.channel.clear()
        self.channel.addItem(NOT_SETTLED if seen.open else AS_PROPOSED, None)
        for channel in CHANNELS:
            self.channel.addItem(channel.label, channel.name)
        self.channel.addItem(KEEP, EXTRA)
        self.channel.addItem(LEAVE, IGNORE)
        entry = seen.stated
        self.channel.setCurrentIndex(max(self.channel.findData(entry.channel), 0) if entry else 0)
        self._offer_units(entry.unit if entry else "")
        self.hint.setText("")
        self.hint.hide()

    def _offer_units(self, current: str) -> None:
        name = self.channel.currentData()
        units = unit_names(name) if name in BY_NAME else ()
        self.unit.clear()
        self.unit.addItems(units)
        self.unit.setCurrentIndex(-1)
        self.unit.setEditText(current)
        self.unit.setEnabled(bool(units))

    @Slot()
    def _answered(self) -> None:
        self._state(self._entries[self.buttons.index(self.sender())])  # type: ignore[arg-type]

    @Slot()
    def _channel_chosen(self) -> None:
        name = self.channel.currentData()
        self._offer_units("")
        if name is None:
            self._state(None)
        elif name not in BY_NAME or not BY_NAME[name].unit:
            self._state(Entry(name))
        else:
            self._ask(CHOOSE_UNIT)
            self.unit.setFocus()

    @Slot()
    def _unit_chosen(self) -> None:
        name, unit = self.channel.currentData(), self.unit.currentText().strip()
        if name not in BY_NAME or not unit:
            return
        if measures(unit, name):
            self._state(Entry(name, unit))
        else:
            self._ask(f"{unit!r} is no known unit of {BY_NAME[name].quantity}.")

    def _ask(self, words: str) -> None:
        self.hint.setText(words)
        self.hint.show()

    def _state(self, entry: Entry | None) -> None:
        if self._seen is not None and entry != self._seen.stated:
            self.stated.emit(self._seen.header, entry)


def in_words(entry: Entry) -> str:
    """An answer, as a button says it."""
    if entry.channel == EXTRA:
        return KEEP
    label = BY_NAME[entry.channel].label
    return f"{label}, written in {entry.unit}" if entry.unit else label


def _words(name: str) -> QLabel:
    label = QLabel()
    label.setObjectName(name)
    label.setWordWrap(True)
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    return label
