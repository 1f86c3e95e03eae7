"""Who did what to a drive, when."""

import getpass
import os
from pathlib import Path

from tbmreview.store.catalogue import HistoryEntry, history, reading


def person() -> str:
    """The name under which what is done now is recorded: the user's name on this computer."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a user without a name, as in some containers
        return f"user {os.getuid()}"


def read_history(folder: Path) -> tuple[HistoryEntry, ...]:
    """All entries, the oldest first."""
    with reading(folder) as db:
        return history(db)
