"""The print step of a column: the last decimal that its log shows.

Two logs of the same readings may show them with different decimals; the print step tells whether a
difference means anything.
"""

import re
from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from tbmreview.ingest.report import CHANNEL, EXTRA, Column

FULL = 9  # decimals from which a number counts as written in full
_OFF = 0.01  # of a step: a value as near to a multiple is one; the next decimal would be ten times as far


class PrintSteps:
    """Finds the decimals of each channel while a log is read, from its texts and from its values.

    The texts of a few rows show trailing zeros; the values of all rows show a decimal that those lack.
    """

    def __init__(self, columns: Iterable[Column]) -> None:
        """columns: as understood; those without a channel are passed over."""
        self._columns: dict[str, list[int]] = {}
        self._factors: dict[str, float] = {}
        self._decimals: dict[str, int] = {}
        for column in columns:
            if column.role in (CHANNEL, EXTRA):
                unit = column.conversion
                self._columns.setdefault(column.name, []).append(column.index)
                self._factors[column.name] = unit.factor if unit else 1.0
                self._decimals[column.name] = FULL if unit and unit.tangent else 0

    def see_texts(self, rows: Sequence[Sequence[str]], mark: str) -> None:
        """Count the decimals in the cells of rows; mark: between whole number and decimals."""
        number = re.compile(rf"\s*[-+]?\d*{re.escape(mark)}(\d+)\s*")
        for name, indices in self._columns.items():
            if len(indices) == 1:  # a mean of columns has decimals of its own
                cells = (number.fullmatch(row[indices[0]]) for row in rows)
                found = [len(cell[1]) for cell in cells if cell]
                self._decimals[name] = min(FULL, max([self._decimals[name], *found]))

    def see(self, values: Mapping[str, NDArray[np.float64]]) -> None:
        """Look at values, (n,) in canonical units; NaN is passed over."""
        for name, column in values.items():
            factor = self._factors[name]
            written = column if factor == 1.0 else column / factor
            self._decimals[name] = _decimals(written, self._decimals[name])

    def steps(self) -> dict[str, float]:
        """Channel -> print step in its canonical unit; a channel that is written in full is absent."""
        return {
            name: float(f"{self._factors[name] * 10.0**-decimals:.9g}")
            for name, decimals in self._decimals.items()
            if decimals < FULL
        }


def _decimals(values: NDArray[np.float64], least: int) -> int:
    """The fewest decimals, at least so many, with which all values can be written; FULL if none do."""
    with np.errstate(invalid="ignore", over="ignore"):
        for decimals in range(least, FULL):
            scaled = values * 10.0**decimals
            if not np.any(np.abs(scaled - np.rint(scaled)) > _OFF):
                return decimals
    return FULL
