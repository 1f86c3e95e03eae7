"""Tables of the window: rows under fixed headings, numbers to the right."""

from typing import Any, ClassVar

from PySide6.QtCore import QAbstractTableModel, Qt

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
