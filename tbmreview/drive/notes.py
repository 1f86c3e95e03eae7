"""What a drive's logs have too little to tell (the words: motion.notes), and clocks that went back in a file."""

from collections.abc import Iterator
from itertools import pairwise
from typing import Protocol

import numpy as np

from tbmreview.domain.table import Table
from tbmreview.drive.reading import Readable
from tbmreview.ingest.settle import SAME_STAMP
from tbmreview.motion.notes import Logged, Note, notes_of

LEAST_ROWS = 10  # fewer are rows that were written twice


class Noted(Readable, Protocol):
    """A drive that knows which channels were logged."""

    @property
    def channels(self) -> tuple[str, ...]:
        """Every channel that some chunk has, by name."""

    def quarantine(self) -> Table:
        """Rows that were not taken in: file, line, reason, text."""


def notes(drive: Noted, shift_start_us: int | None = None) -> tuple[Note, ...]:
    """What the log does not show and what is done about it, in the drive or in the shift of a start; none for one
    that has not bored. Clocks that went back are told of the whole drive: a row that was left out has a line, no
    shift."""
    strokes, cells, periods = drive.strokes, drive.cells, drive.periods
    if shift_start_us is not None:
        cells = cells.rows(cells["shift_start_us"] == shift_start_us)
        periods = periods.rows(periods["shift_start_us"] == shift_start_us)
        strokes = strokes.rows(np.isin(strokes["stroke_start_us"], cells["stroke_start_us"]))
    found = notes_of(Logged(drive.channels, drive.setup, strokes, cells, periods))
    return (*found, *_set_back(drive.quarantine())) if shift_start_us is None else found


def _set_back(rows: Table) -> Iterator[Note]:
    """Rows of a file that follow each other and whose stamps it had before."""
    again = rows.rows((rows["reason"] == SAME_STAMP) & np.isfinite(rows["line"]))
    if not len(again):
        return
    file, line = again["file"], again["line"].astype(np.int64)
    begins = np.flatnonzero(np.r_[True, (file[1:] != file[:-1]) | (np.diff(line) != 1)])
    for first, stop in pairwise([*begins.tolist(), len(line)]):
        if stop - first >= LEAST_ROWS:
            yield Note(
                "clock_set_back",
                f"{file[first]}, lines {line[first]} to {line[stop - 1]}: {stop - first} rows in a row have stamps that the "
                "file had before, with other values (the first are kept): the clock of its recorder may have been set back "
                "there, or a part was written twice. Compare with the shift's handwritten times; every time after it may "
                "be off by as much.",
            )


def notes_text(drive: Noted) -> str:
    """The notes on the whole drive for a terminal, a line each under a heading; '' where there is none."""
    found = notes(drive)
    return (
        "\n".join(["what the log does not show, in the whole drive", *(f"  {note.text}" for note in found)])
        if found
        else ""
    )
