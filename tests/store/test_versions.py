"""A catalogue of the first version is read as it is, and brought up to date by the first write."""

import sqlite3
from pathlib import Path

from tbmreview.drive.opened import open_drive
from tbmreview.store.catalogue import reading
from tbmreview.store.layout import Layout
from tbmreview.store.versions import SCHEMA_VERSION, version_of
from tbmreview.store.writing import writing
from tests.support.small_drive import new_drive


def test_the_first_version_is_read_and_then_brought_up_to_date(tmp_path: Path) -> None:
    folder = tmp_path / "drive"
    new_drive(folder)
    with sqlite3.connect(Layout(folder).catalogue) as db:
        db.execute("DROP TABLE numbered")
        db.execute("PRAGMA user_version = 1")
    db.close()
    assert open_drive(folder).days() == {}
    with writing(folder, "Ida") as work:
        work.record("look", {})
    with reading(folder) as db:
        assert version_of(db) == SCHEMA_VERSION
        assert db.execute("SELECT what, highest FROM numbered").fetchall() == [("finding", 0)]
    assert open_drive(folder).history()[-1].what == "look"
