"""Which strips are shown, and their values under the pointer: one table for both, a heading a family."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFont
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableView, QWidget

from tbmreview.viewer.headed import HeadedModel
from tbmreview.viewer.notes_panel import CONTENTS

NUMBER_PIXELS = 76
Check = Qt.CheckState


@dataclass(frozen=True, slots=True)
class StripRow:
    """A strip that can be shown; without a name, the heading of those below."""

    name: str
    label: str
    unit: str = ""
    what: str = ""


def heading(label: str) -> StripRow:
    """A heading."""
    return StripRow("", label.capitalize())


class StripsModel(HeadedModel):
    """All strips with a tick for those shown; `ticked` carries the names after a change, in the order of rows."""

    HEADINGS = ("strip", "at pointer", "net", "unit")
    RIGHT = (1, 2)
    NOTES = (CONTENTS, CONTENTS, "load", CONTENTS)

    ticked = Signal(object)

    def __init__(self, rows: Sequence[StripRow], parent: QWidget) -> None:
        super().__init__(parent)
        self.rows = tuple(rows)
        self._bold = QFont(parent.font())
        self._bold.setBold(True)
        self._shown: tuple[str, ...] = ()
        self._values: Mapping[str, tuple[str, str]] = {}

    def offer(self, rows: Sequence[StripRow]) -> None:
        """Other rows to choose from."""
        self.beginResetModel()
        self.rows = tuple(rows)
        self.endResetModel()

    def show(self, names: Sequence[str]) -> None:
        """Tick exactly these."""
        if tuple(names) != self._shown:
            self._shown = tuple(names)
            self._changed(0, 0)

    def read(self, values: Mapping[str, tuple[str, str]]) -> None:
        """By strip, the value under the pointer and its net twin, as texts."""
        if values != self._values:
            self._values = values
            self._changed(*self.RIGHT)

    def _changed(self, first: int, last: int) -> None:
        if self.rows:
            self.dataChanged.emit(self.index(0, first), self.index(len(self.rows) - 1, last))

    def rowCount(self, parent: Any = None) -> int:
        return 0 if parent is not None and parent.isValid() else len(self.rows)

    def flags(self, index: Any) -> Qt.ItemFlag:
        if not self.rows[index.row()].name:
            return Qt.ItemFlag.ItemIsEnabled
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        return flags | Qt.ItemFlag.ItemIsUserCheckable if index.column() == 0 else flags

    def data(self, index: Any, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        row = self.rows[index.row()]
        if role == Qt.ItemDataRole.DisplayRole:
            return (row.label, *self._values.get(row.name, ("", "")), row.unit)[index.column()]
        if role == Qt.ItemDataRole.CheckStateRole and index.column() == 0 and row.name:
            return Check.Checked if row.name in self._shown else Check.Unchecked
        if role == Qt.ItemDataRole.ToolTipRole:
            return row.what or None
        if role == Qt.ItemDataRole.FontRole and not row.name:
            return self._bold
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return self.alignment(index.column())
        return None

    def setData(self, index: Any, value: Any, role: int = Qt.ItemDataRole.EditRole) -> bool:
        name, on = self.rows[index.row()].name, Check(value) == Check.Checked
        if role != Qt.ItemDataRole.CheckStateRole or index.column() != 0 or not name:
            return False
        names = tuple(r.name for r in self.rows if (on if r.name == name else r.name in self._shown))
        self.show(names)
        self.ticked.emit(names)
        return True


def strips_table(model: StripsModel) -> QTableView:
    """The table over the model."""
    table = QTableView()
    table.setModel(model)
    span_headings(table, model)
    table.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
    table.setShowGrid(False)
    table.setWordWrap(False)
    table.verticalHeader().hide()
    table.verticalHeader().setMinimumSectionSize(18)
    table.verticalHeader().setDefaultSectionSize(20)
    header = table.horizontalHeader()
    header.setHighlightSections(False)
    header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
    header.setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
    for column in StripsModel.RIGHT:
        header.setSectionResizeMode(column, QHeaderView.ResizeMode.Fixed)
        header.resizeSection(column, NUMBER_PIXELS)
    return table


def span_headings(table: QTableView, model: StripsModel) -> None:
    """Give each heading its whole line."""
    table.clearSpans()
    for row, strip in enumerate(model.rows):
        if not strip.name:
            table.setSpan(row, 0, 1, model.columnCount())
