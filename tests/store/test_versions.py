"""A catalogue of the first version is read as it is, and brought up to date by the first write."""

import sqlite3
from pathlib import Path

from tbmreview.domain.site import DELAYS
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
        for view in (
            "current_site_table",
            "current_overrule",
            "current_fit",
            "current_mark",
            "current_signoff",
        ):
            db.execute(f"DROP VIEW {view}")
        for table in (
            "site_row",
            "site_table",
            "overrule",
            "numbered",
            "fit",
            "mark",
            "act",
            "signoff",
            "change_seen",
        ):
            db.execute(f"DROP TABLE {table}")
        db.execute("ALTER TABLE quarantine DROP COLUMN time_us")
        for column in ("together", "gone_us"):
            db.execute(f"ALTER TABLE finding DROP COLUMN {column}")
        for table in ("mark", "signoff"):  # as they were
            db.execute(f"CREATE TABLE {table} (number INTEGER PRIMARY KEY)")
            db.execute(f"CREATE VIEW current_{table} AS SELECT * FROM {table}")
        db.execute("PRAGMA user_version = 1")
    db.close()
    old = open_drive(folder)
    assert old.days() == {}
    assert len(old.site_table(DELAYS)) == 0
    assert old.overrules() == ()
    assert old.kept_fits() == ()
    assert len(old.stamped_again()) == 0
    assert (old.stored_findings(), old.stored_findings(gone=True), old.changes_seen()) == ((), (), ())
    assert (old.marks(), old.acts(), old.sign_offs()) == ((), (), ())
    with writing(folder, "Ida") as work:
        work.record("look", {})
    with reading(folder) as db:
        assert version_of(db) == SCHEMA_VERSION
        assert db.execute("SELECT what, highest FROM numbered").fetchall() == [("finding", 0)]
    assert open_drive(folder).history()[-1].what == "look"
    new_drive(tmp_path / "new")
    with reading(folder) as db, reading(tmp_path / "new") as new:
        assert _objects(db) == _objects(new)


def _objects(db: sqlite3.Connection) -> set[tuple[str, str]]:
    return set(db.execute("SELECT type, name FROM sqlite_master").fetchall())
