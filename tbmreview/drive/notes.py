"""What a drive's logs have too little to tell (the words: motion.notes)."""

from typing import Protocol

from tbmreview.drive.reading import Readable
from tbmreview.motion.notes import Logged, Note, notes_of


class Noted(Readable, Protocol):
    """A drive that knows which channels were logged."""

    @property
    def channels(self) -> tuple[str, ...]:
        """Every channel that some chunk has, by name."""


def notes(drive: Noted) -> tuple[Note, ...]:
    """What the log does not show and what is done about it; none for a drive that has not bored."""
    return notes_of(Logged(drive.channels, drive.setup, drive.strokes, drive.cells, drive.periods))


def notes_text(drive: Noted) -> str:
    """The notes for a terminal, a line each under a heading; '' where there is none."""
    found = notes(drive)
    return "\n".join(["what the log does not show", *(f"  {note.text}" for note in found)]) if found else ""
