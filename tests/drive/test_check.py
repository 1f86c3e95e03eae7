"""Check: a whole drive is whole; each kind of damage is told by the file it is in."""

import hashlib
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tbmreview.domain.errors import DriveError
from tbmreview.domain.states import State
from tbmreview.domain.table import Table
from tbmreview.drive.add import add
from tbmreview.drive.check import check, total_problems
from tbmreview.store.aside import Aside, to_text
from tests.support.small_drive import bytes_of, new_drive, small_log

Damage = Callable[[Path], object]


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A drive of two days; to be copied, not changed."""
    place = tmp_path_factory.mktemp("whole")
    folder = new_drive(place / "east").folder
    add(folder, [small_log(place / "a.csv")])
    return folder


def _chunk(folder: Path) -> Path:
    return min((folder / "samples").rglob("*.parquet"))


def _flip(path: Path, at: int) -> None:
    content = bytearray(path.read_bytes())
    content[at] ^= 255
    path.write_bytes(content)


def _tell(folder: Path, statement: str) -> None:
    with sqlite3.connect(folder / "catalogue.sqlite") as db:
        db.execute(statement)
    db.close()


def _rewrite(folder: Path, change: Callable[[pa.Table], pa.Table]) -> None:
    """Write the chunk anew and tell the catalogue its new hash."""
    path = _chunk(folder)
    pq.write_table(change(pq.read_table(path)), path)
    _tell(
        folder,
        f"UPDATE chunk SET file_sha256 = '{hashlib.sha256(path.read_bytes()).hexdigest()}' WHERE utc_day = 22035",
    )


def _with_aside(table: pa.Table, text: str = "") -> pa.Table:
    """A table that says of its first reading, which is there, that it was set aside."""
    first = Aside(np.array([table["time_utc"].cast(pa.int64())[0].as_py()]), np.array([1.0]))
    told = text or to_text({("stuck", "torque_kNm"): first})
    return table.replace_schema_metadata({"set_aside": told})


def _spoil_setup(folder: Path) -> None:
    (folder / "drive.toml").write_text("[drive]\nname = 3\n")


DAMAGES: dict[str, tuple[Damage, str]] = {
    "a chunk gone": (lambda f: _chunk(f).unlink(), "parquet: the file is missing"),
    "a bit turned": (lambda f: _flip(_chunk(f), 300), "parquet: the file is not the one that was written"),
    "cut off": (
        lambda f: _chunk(f).write_bytes(_chunk(f).read_bytes()[:-9]),
        "parquet: the file is not the one",
    ),
    "turned rows": (
        lambda f: _rewrite(f, lambda t: t.take(list(range(len(t)))[::-1])),
        "parquet: its stamps do not rise",
    ),
    "a row gone": (lambda f: _rewrite(f, lambda t: t.slice(1)), "parquet: 89 rows, the catalogue says 90"),
    "set aside and there": (
        lambda f: _rewrite(f, _with_aside),
        "parquet: what a rule set aside of torque_kNm is not missing among its rows (stuck)",
    ),
    "set aside unreadably": (
        lambda f: _rewrite(f, lambda t: _with_aside(t, "[{}]")),
        "what was set aside cannot be read",
    ),
    "another content": (
        lambda f: _tell(f, "UPDATE chunk SET content_hash = 'x' WHERE utc_day = 22035"),
        "parquet: its content is not what was imported",
    ),
    "another count": (lambda f: _tell(f, "UPDATE chunk SET rows = 7"), "90 rows, the catalogue says 7"),
    "a stranger": (
        lambda f: (f / "samples" / "notes.txt").write_text("mine"),
        "samples/notes.txt: no file of the drive",
    ),
    "a spoilt setup": (_spoil_setup, "drive.toml: [drive] name = 3"),
    "no setup": (lambda f: (f / "drive.toml").unlink(), "drive.toml: No such file"),
}


def test_a_whole_drive_is_whole_and_stays_as_it_is(whole: Path) -> None:
    before = bytes_of(whole)
    report = check(whole)
    assert report.problems == ()
    assert report.notes == (
        "positions are sums of strokes: there are no surveyed stations, and no chainage in the logs",
    )
    assert (report.chunks, report.rows) == (2, 180)
    assert report.text().endswith("2 chunks, 180 rows checked: whole")
    assert bytes_of(whole) == before


@pytest.mark.parametrize("damage", DAMAGES)
def test_each_damage_is_told(whole: Path, tmp_path: Path, damage: str) -> None:
    folder = tmp_path / "east"
    shutil.copytree(whole, folder)
    do, told = DAMAGES[damage]
    do(folder)
    report = check(folder)
    assert any(told in problem for problem in report.problems), report.problems
    assert f"damaged: {report.problems[0]}" in report.text()


def test_leftovers_of_a_stopped_writer_are_a_note(whole: Path, tmp_path: Path) -> None:
    folder = tmp_path / "east"
    shutil.copytree(whole, folder)
    shutil.copy(_chunk(folder), _chunk(folder).with_name("2030-05-01-0123456789abcdef.parquet"))
    (folder / "incoming").mkdir()
    report = check(folder)
    assert report.problems == ()
    assert [note.split(":")[0] for note in report.notes] == [
        "incoming",
        "samples/2030/05/2030-05-01-0123456789abcdef.parquet",
        "positions are sums of strokes",
    ]


def test_damage_in_the_catalogue_itself_is_told(whole: Path, tmp_path: Path) -> None:
    folder = tmp_path / "east"
    shutil.copytree(whole, folder)
    (folder / "catalogue.sqlite").write_bytes(b"no database at all" * 500)
    with pytest.raises(DriveError, match=r"catalogue\.sqlite is damaged"):
        check(folder)


def test_what_is_no_drive_is_told(tmp_path: Path) -> None:
    with pytest.raises(DriveError, match="tbmreview start"):
        check(tmp_path)


def _tables(boring_s: float, advance_m: float, end_us: int) -> tuple[Table, Table, Table]:
    cells = Table({"boring_s": np.array([boring_s, 20.0]), "advance_m": np.array([advance_m, 0.5])})
    strokes = Table({"advance_m": np.array([1.5])})
    periods = Table(
        {
            "state": np.array([State.BORING, State.STANDING, State.BORING], np.int8),
            "start_us": np.array([0, 40, 70]) * 1_000_000,
            "end_us": np.array([end_us, 70_000_000, 90_000_000]),
        }
    )
    return cells, strokes, periods


def test_totals_that_agree_are_no_problem() -> None:
    assert total_problems(*_tables(40.0, 1.0, 40_000_000)) == []


@pytest.mark.parametrize(
    ("tables", "told"),
    [
        (_tables(41.0, 1.0, 40_000_000), "boring seconds: cells say 61.000000, periods say 60.000000"),
        (_tables(40.0, 1.1, 40_000_000), "advance in m: cells say 1.600000, strokes say 1.500000"),
        (_tables(float("nan"), 1.0, 40_000_000), "boring seconds: cells say nan"),
        (_tables(39.0, 1.0, 39_000_000), "hole or an overlap"),
    ],
)
def test_totals_that_do_not_agree_are_told(tables: tuple[Table, Table, Table], told: str) -> None:
    assert any(told in problem for problem in total_problems(*tables))
