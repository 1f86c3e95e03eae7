"""Tables of the window: rows under fixed headings, numbers to the right."""

from collections.abc import Sequence
from typing import Any, ClassVar

from PySide6.QtCore import QAbstractTableModel, Qt
from PySide6.QtWidgets import QWidget

Role = Qt.ItemDataRole


class HeadedModel(QAbstractTableModel):
    """A table model whose columns have HEADINGS; those numbered in RIGHT hold numbers. NOTES names the method note
    of each column, in their order.
    """

    HEADINGS: ClassVar[tuple[str, ...]] = ()
    RIGHT: ClassVar[tuple[int, ...]] = ()
    NOTES: ClassVar[tuple[str, ...]] = ()

    def columnCount(self, parent: Any = None) -> int:
        return len(self.HEADINGS)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Role.DisplayRole) -> Any:
        if orientation == Qt.Orientation.Vertical:
            return None
        if role == Role.TextAlignmentRole:
            return self.alignment(section)
        return self.HEADINGS[section] if role == Role.DisplayRole else None

    def alignment(self, column: int) -> int:
        """How the cells of a column and its heading are aligned."""
        side = Qt.AlignmentFlag.AlignRight if column in self.RIGHT else Qt.AlignmentFlag.AlignLeft
        return int(side | Qt.AlignmentFlag.AlignVCenter)


class TextsModel(HeadedModel):
    """Rows of texts, and a longer text of each row that is shown where the pointer rests on it."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self._texts: tuple[tuple[str, ...], ...] = ()
        self._longer: tuple[str, ...] = ()

    def lay(self, texts: Sequence[tuple[str, ...]], longer: Sequence[str]) -> None:
        """Replace the rows."""
        self.beginResetModel()
        self._texts, self._longer = tuple(texts), tuple(longer)
        self.endResetModel()

    def rowCount(self, parent: Any = None) -> int:
        return 0 if parent is not None and parent.isValid() else len(self._texts)

    def data(self, index: Any, role: int = Role.DisplayRole) -> Any:
        if role == Role.DisplayRole:
            return self._texts[index.row()][index.column()]
        if role == Role.TextAlignmentRole:
            return self.alignment(index.column())
        return self._longer[index.row()] if role == Role.ToolTipRole else None
