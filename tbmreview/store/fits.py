"""Reading the fits and penetration tests that people kept in a drive."""

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tbmreview.store.versions import version_of

_SINCE_VERSION = 4
TEST = "penetration test"  # the kind of its content; that of a fit names none


@dataclass(frozen=True, slots=True)
class KeptFit:
    """A fit or test as it was kept: content is what `drive.fits` or `drive.penetration_tests` made of it,
    fingerprint that of its data."""

    name: str
    content: Mapping[str, Any]
    fingerprint: str
    note: str
    decided_by: str
    decided_us: int


def kept_fits(db: sqlite3.Connection, kind: str = "") -> tuple[KeptFit, ...]:
    """The last fit of each name, the one kept last at the end; kind: TEST for penetration tests."""
    if version_of(db) < _SINCE_VERSION:
        return ()
    found = db.execute(
        "SELECT name, content, fingerprint, note, decided_by, decided_us FROM current_fit ORDER BY number"
    )
    kept = (KeptFit(name, json.loads(content), *rest) for name, content, *rest in found)
    return tuple(one for one in kept if one.content.get("kind", "") == kind)
