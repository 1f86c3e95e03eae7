"""A block of rows as read from a file, before units, clock and cleaning."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tbmreview.ingest.arrow import ArrowArray
from tbmreview.ingest.report import Quarantined


@dataclass(frozen=True, slots=True)
class RawBlock:
    """n rows in file order.

    lines: (n,) int64 line or row numbers from 1. stamps: arrow arrays of the stamp columns. numbers:
    column index -> (n,) float64, NaN where there is no number. torn: rows that are no rows; they are
    not among the n. bad: column index -> (count, first line) of texts where a number belongs.
    row_text: row 0 <= i < n as written.
    """

    lines: NDArray[np.int64]
    stamps: tuple[ArrowArray, ...]
    numbers: dict[int, NDArray[np.float64]]
    torn: tuple[Quarantined, ...]
    bad: dict[int, tuple[int, int]]
    row_text: Callable[[int], str]

    def __len__(self) -> int:
        return len(self.lines)


def join_blocks(parts: Sequence[RawBlock]) -> RawBlock:
    """Blocks of the same columns that follow each other, as one."""
    if len(parts) == 1:
        return parts[0]
    ends = np.cumsum([len(part) for part in parts])

    def row_text(i: int) -> str:
        k = int(np.searchsorted(ends, i, side="right"))
        return parts[k].row_text(i - (int(ends[k - 1]) if k else 0))

    bad: dict[int, tuple[int, int]] = {}
    for part in parts:
        for column, (count, line) in part.bad.items():
            before, first = bad.get(column, (0, line))
            bad[column] = (before + count, min(first, line))
    return RawBlock(
        np.concatenate([part.lines for part in parts]),
        tuple(pa.concat_arrays([p.stamps[k] for p in parts]) for k in range(len(parts[0].stamps))),
        {c: np.concatenate([part.numbers[c] for part in parts]) for c in parts[0].numbers},
        tuple(row for part in parts for row in part.torn),
        bad,
        row_text,
    )


def cut_block(block: RawBlock, start: int, end: int) -> RawBlock:
    """Rows start <= i < end; what is torn or bad goes with the first row."""
    return RawBlock(
        block.lines[start:end],
        tuple(array.slice(start, end - start) for array in block.stamps),
        {c: v[start:end] for c, v in block.numbers.items()},
        () if start else block.torn,
        {} if start else block.bad,
        lambda i: block.row_text(start + i),
    )
