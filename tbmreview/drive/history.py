"""Who does what is done to a drive: the name that its history records."""

import getpass
import os


def person() -> str:
    """The name under which what is done now is recorded: the user's name on this computer."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a user without a name, as in some containers
        return f"user {os.getuid()}"
