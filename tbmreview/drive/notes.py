"""What a drive's logs have too little to tell (the words: motion.notes)."""

from typing import Protocol

import numpy as np

from tbmreview.drive.reading import Readable
from tbmreview.motion.notes import Logged, Note, notes_of


class Noted(Readable, Protocol):
    """A drive that knows which channels were logged."""

    @property
    def channels(self) -> tuple[str, ...]:
        """Every channel that some chunk has, by name."""


def notes(drive: Noted, shift_start_us: int | None = None) -> tuple[Note, ...]:
    """What the log does not show and what is done about it, in the drive or in the shift of a start; none for one
    that has not bored."""
    strokes, cells, periods = drive.strokes, drive.cells, drive.periods
    if shift_start_us is not None:
        cells = cells.rows(cells["shift_start_us"] == shift_start_us)
        periods = periods.rows(periods["shift_start_us"] == shift_start_us)
        strokes = strokes.rows(np.isin(strokes["stroke_start_us"], cells["stroke_start_us"]))
    return notes_of(Logged(drive.channels, drive.setup, strokes, cells, periods))


def notes_text(drive: Noted) -> str:
    """The notes on the whole drive for a terminal, a line each under a heading; '' where there is none."""
    found = notes(drive)
    return (
        "\n".join(["what the log does not show, in the whole drive", *(f"  {note.text}" for note in found)])
        if found
        else ""
    )
