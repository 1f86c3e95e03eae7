"""Reading the fits that people kept in a drive."""

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tbmreview.store.versions import version_of

_SINCE_VERSION = 4


@dataclass(frozen=True, slots=True)
class KeptFit:
    """A fit as it was kept: content is what `drive.fits` made of it, fingerprint that of its data."""

    name: str
    content: Mapping[str, Any]
    fingerprint: str
    note: str
    decided_by: str
    decided_us: int


def kept_fits(db: sqlite3.Connection) -> tuple[KeptFit, ...]:
    """The last fit of each name, the one kept last at the end."""
    if version_of(db) < _SINCE_VERSION:
        return ()
    found = db.execute(
        "SELECT name, content, fingerprint, note, decided_by, decided_us FROM current_fit ORDER BY number"
    )
    return tuple(KeptFit(name, json.loads(content), *rest) for name, content, *rest in found)
