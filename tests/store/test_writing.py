"""What is written in a transaction comes back; what people decided is never lost."""

import os
import sqlite3
import time
from pathlib import Path

import numpy as np
import pytest

from tbmreview.domain.errors import DriveError, GroundError
from tbmreview.domain.findings import AGREED, OPEN, Finding
from tbmreview.domain.ground import MAPPED, PREDICTED, empty_ground
from tbmreview.domain.samples import Samples
from tbmreview.domain.table import Table
from tbmreview.store import catalogue, judged
from tbmreview.store.catalogue import connect, reading
from tbmreview.store.importing import Import
from tbmreview.store.rows_around import Preference
from tbmreview.store.writing import Writing, create_catalogue, writing

NAN = float("nan")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    create_catalogue(tmp_path)
    (tmp_path / "drive.toml").write_text("# any text: what it says is not the store's to read")
    return tmp_path


def ground(rock: str) -> Table:
    columns = {
        name: np.array(["", "x"], object) if column.dtype == object else np.array([NAN, 3.5])
        for name, column in empty_ground().columns.items()
    }
    text = {
        "rock": np.array([rock, "Glimmerschiefer"], object),
        "hatch": np.array(["massive", "other"], object),
    }
    bounds = {"position_from_m": np.array([0.0, 0.1]), "position_to_m": np.array([0.1, 100.0])}
    return Table({**columns, **text, **bounds, "note": np.array(["", 'said "so"'], object)})


def add_ground(folder: Path, kind: str, name: str, rock: str) -> None:
    with writing(folder, "me") as work:
        work.add_ground(kind, name, "2030-01-31", ("g.csv", "abc"), ground(rock))


def test_a_ground_table_comes_back_as_it_was(folder: Path) -> None:
    add_ground(folder, PREDICTED, "tender", "gneiss")
    with reading(folder) as db:
        (entry,) = catalogue.ground_entries(db, PREDICTED)
        back = catalogue.ground_table(db, entry.id)
        assert catalogue.ground_entries(db, MAPPED) == ()
    assert (entry.name, entry.issued, entry.source_name, entry.source_sha256) == (
        "tender",
        "2030-01-31",
        "g.csv",
        "abc",
    )
    assert back.names == empty_ground().names
    for name in back:
        assert back[name].dtype == empty_ground()[name].dtype
        np.testing.assert_array_equal(back[name], ground("gneiss")[name])


def test_the_latest_of_a_name_is_current_and_the_one_imported_last_comes_last(folder: Path) -> None:
    for name, rock in (("a", "old"), ("b", "other"), ("a", "new")):
        add_ground(folder, MAPPED, name, rock)
    with reading(folder) as db:
        entries = catalogue.ground_entries(db, MAPPED)
        assert [entry.name for entry in entries] == ["b", "a"]
        assert catalogue.ground_table(db, entries[-1].id)["rock"][0] == "new"
        assert db.execute("SELECT count(*) FROM ground").fetchone() == (3,)  # the earlier one is still there


def test_a_prediction_is_never_overwritten(folder: Path) -> None:
    add_ground(folder, PREDICTED, "tender", "gneiss")
    with pytest.raises(GroundError, match=r"'tender'.*--name"):
        add_ground(folder, PREDICTED, "tender", "granite")
    add_ground(folder, PREDICTED, "revised", "granite")
    with reading(folder) as db:
        assert [entry.name for entry in catalogue.ground_entries(db, PREDICTED)] == ["tender", "revised"]


CHANGE: dict[str, list[str]] = {"new": [], "gone": [], "moved": []}


def finding(number: str, at_m: float = 10.0) -> Finding:
    figures = {"ratio": 2.5, "spread": NAN}
    return Finding(
        "fpi low", at_m, at_m + 3, 5, 2**60, 4.2, "FPI 8 against 20 kN/(mm/rev)", figures, id=number
    )


def test_findings_are_replaced_and_their_verdicts_stay(folder: Path) -> None:
    with writing(folder, "anna") as work:
        judged.replace_findings(work, [finding("F2", 40.0), finding("F1")], CHANGE)
        judged.add_verdict(work, "F1", "set aside", "at first", "anna")
        judged.add_verdict(work, "F1", AGREED, "seen in the face", "anna")
    with writing(folder, "anna") as work:
        judged.replace_findings(work, [finding("F1"), finding("F3", 50.0)], CHANGE)
    with reading(folder) as db:
        found = judged.findings(db)
        assert [f.id for f in judged.findings(db, gone=True)] == ["F2"]
        assert [c.who for c in judged.changes_seen(db)] == ["anna", "anna"]
    assert [(f.id, f.verdict, f.decided_by, f.note) for f in found] == [
        ("F1", AGREED, "anna", "seen in the face"),
        ("F3", OPEN, "", ""),
    ]
    assert repr(found[0].figures) == repr(finding("F1").figures)
    assert (found[0].start_us, found[0].end_us, found[0].strength) == (5, 2**60, 4.2)
    assert found[0].decided_us is not None
    assert found[1].decided_us is None


ROWS = {
    "history": "(1, 'me', 1, 'add', '{}')",
    "verdict": "(1, 'F1', 'agreed', 'me', 1, '')",
    "act": "(1, 'drawn', 'me', 1, '', 0)",
    "mark": "(1, 'M1', 'fault zone', 1.0, 2.0, '{}', 0)",
    "signoff": "(1, 1, 'me', 1, '', '[]', '{}', 0)",
    "change_seen": "(1, 1, 'me', '{}')",
}


@pytest.mark.parametrize("table", ROWS)
def test_what_was_decided_can_only_be_added_to(folder: Path, table: str) -> None:
    db = connect(folder, 1)
    db.execute("PRAGMA foreign_keys = OFF")
    db.execute(f"INSERT INTO {table} VALUES {ROWS[table]}")
    for change in (
        f"DELETE FROM {table}",
        f"UPDATE {table} SET {'act' if table == 'mark' else 'number'} = 2",
    ):
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            db.execute(change)
    db.close()


def test_an_exception_undoes_all(folder: Path) -> None:
    def fail(work: Writing) -> None:
        work.record("add", {})
        work.add_quarantine(1, [(3, "why", "text", None)])
        importing = Import(work, 1)
        importing.put(0, Samples(np.array([5]), {"a": np.array([1.0])}), np.array([1]))
        importing.merge(Preference([0]), lambda *_: None, lambda *_: None)
        assert list(folder.rglob("*.parquet"))
        raise ValueError("in the middle")

    before = (folder / "catalogue.sqlite").read_bytes()
    with pytest.raises(ValueError, match="in the middle"), writing(folder, "me") as work:
        fail(work)
    assert (folder / "catalogue.sqlite").read_bytes() == before
    assert sorted(p for p in folder.rglob("*") if p.is_file()) == [
        folder / "catalogue.sqlite",
        folder / "drive.toml",
    ]


def test_the_next_writer_sweeps_what_is_the_stores_and_nothing_else(folder: Path) -> None:
    month = folder / "samples" / "2030" / "05"
    month.mkdir(parents=True)
    (folder / "incoming").mkdir()
    (folder / "derived").mkdir()
    left = [
        month / "2030-05-01-0123456789abcdef.parquet",
        folder / "incoming" / "00000001.arrow",
        folder / "derived" / ".cells.1.passing",
    ]
    others = [month / "notes.txt", folder / "mine.parquet", folder / "derived" / ".rings.2.passing"]
    for path in (*left, *others):
        path.write_text("x")
    long_ago = time.time() - 7200
    os.utime(left[2], (long_ago, long_ago))
    with writing(folder, "me") as work:
        work.record("nothing", {})
    assert [path.exists() for path in left] == [False] * 3
    assert [path.exists() for path in others] == [True] * 3


def test_a_drive_of_a_newer_version_is_refused(folder: Path) -> None:
    db = connect(folder, 1)
    db.execute("PRAGMA user_version = 9")
    db.close()
    with pytest.raises(DriveError, match="version 9"):
        connect(folder, 1)


def test_a_reader_cannot_write(folder: Path) -> None:
    with pytest.raises(DriveError), reading(folder) as db:
        db.execute("DELETE FROM finding")


@pytest.mark.parametrize("names", [["b", "a"], ["a", "b"]])
def test_blocks_written_out_in_between_make_one_chunk(folder: Path, names: list[str]) -> None:
    with writing(folder, "me") as work:
        importing = Import(work, 2, buffer_bytes=0)
        for origin, name in enumerate(names):
            samples = Samples(np.array([1, 2]), {name: np.array([1.0, NAN])})
            importing.put(origin, samples, np.array([2, 3]))
        assert len(list((folder / "incoming").iterdir())) == 2
        outcome = importing.merge(Preference([0, 1]), lambda *_: None, lambda *_: None)
        (chunk,) = work.chunks().values()
    assert (outcome.kept.tolist(), outcome.duplicates.tolist()) == ([2, 1], [0, 1])
    assert chunk.channels == ("a", "b")
    assert not (folder / "incoming").exists()
