"""Site tables and overrules come back as written; the last of a name counts, nothing is lost."""

import sqlite3
from pathlib import Path

import numpy as np
import pytest

from tbmreview.domain.overrules import Overrule
from tbmreview.domain.site import DELAYS, SITE_COLUMNS
from tbmreview.domain.table import Table
from tbmreview.store.catalogue import connect, reading
from tbmreview.store.site import overrules, site_entries, site_table
from tbmreview.store.writing import create_catalogue, writing

START_US = 1_900_000_000_000_001  # a float64 would keep it, a float32 not


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    create_catalogue(tmp_path)
    (tmp_path / "drive.toml").write_text("# any text: what it says is not the store's to read")
    return tmp_path


def delays(code: str) -> Table:
    return Table(
        {
            "start_us": np.array([START_US, START_US + 7]),
            "end_us": np.array([START_US + 5, START_US + 9]),
            "code": np.array([code, ""], object),
            "note": np.array(["", 'said "so"'], object),
        }
    )


def test_the_last_table_of_a_name_counts(folder: Path) -> None:
    for name, code in (("week 1", "discs"), ("week 2", "belt"), ("week 1", "discs and belt")):
        with writing(folder, "Ida") as work:
            work.add_site_table(DELAYS, name, (f"{name}.csv", "abc"), delays(code))
    with reading(folder) as db:
        back = site_table(db, DELAYS)
        assert [(e.name, e.decided_by) for e in site_entries(db, DELAYS)] == [
            ("week 2", "Ida"),
            ("week 1", "Ida"),
        ]
    assert back["code"].tolist() == ["belt", "", "discs and belt", ""]
    assert back["start_us"].tolist() == [START_US, START_US + 7] * 2
    assert [back[name].dtype for name, *_ in SITE_COLUMNS[DELAYS]] == [np.int64, np.int64, object, object]


def test_an_overrule_is_taken_back_but_stays(folder: Path) -> None:
    one = Overrule("state", START_US, START_US + 10, "standing", "cylinder test in the workshop")
    with writing(folder, "Ida") as work:
        assert work.add_overrule(one) == "O1"
        assert work.add_overrule(Overrule("ring", 1, 2, "12", "counter stuck", decided_by="Per")) == "O2"
    with writing(folder, "Per") as work:
        work.add_overrule(
            Overrule("state", START_US, START_US + 10, "standing", "no", withdrawn=True, id="O1")
        )
    with reading(folder) as db:
        found = overrules(db)
        assert db.execute("SELECT count(*) FROM overrule").fetchone() == (3,)
    assert [(o.id, o.value, o.decided_by, o.withdrawn, o.withdrawn_by) for o in found] == [
        ("O1", "standing", "Ida", True, "Per"),
        ("O2", "12", "Per", False, ""),
    ]
    db = connect(folder, 1.0)
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        db.execute("UPDATE overrule SET reason = 'another'")
    db.close()
