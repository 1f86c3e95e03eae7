"""Tables as files: exact, harmless, all or nothing; and as text."""

import csv
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tbmreview.domain.errors import TbmReviewError, UsageError
from tbmreview.domain.table import Table
from tbmreview.drive import export
from tbmreview.drive.export import iso_utc, text_table, write_table
from tbmreview.drive.reading import NO_TIME

OSLO = ZoneInfo("Europe/Oslo")
START = 1_900_000_000_000_000
TABLE = Table(
    {
        "chainage_from_m": np.array([4180.0, 0.1 + 0.2]),
        "start_utc": np.array([START, NO_TIME]),
        "stroke": np.array([7.0, np.nan]),
        "ground": np.array(["gneiss, massive", '=HYPERLINK("x")'], dtype=object),
        "fpi_kN_per_mm_rev": np.array([np.nan, -1.25]),
        "count": np.array([3, -4]),
    }
)


def test_csv(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    write_table(TABLE, path)
    assert path.read_bytes().decode("utf-8") == (
        "chainage_from_m,start_utc,stroke,ground,fpi_kN_per_mm_rev,count\n"
        '4180.0,2030-03-17T17:46:40Z,7,"gneiss, massive",,3\n'
        '0.30000000000000004,,,"\'=HYPERLINK(""x"")",-1.25,-4\n'
    )


def test_parquet(tmp_path: Path) -> None:
    path = tmp_path / "t.parquet"
    write_table(TABLE, path)
    table = pq.read_table(path)
    assert table.column_names == list(TABLE.names)
    assert table.schema.field("start_utc").type == pa.timestamp("us", tz="UTC")
    assert table["stroke"].to_pylist() == [7, None]
    assert table["fpi_kN_per_mm_rev"].to_pylist() == [None, -1.25]
    assert table["start_utc"].null_count == 1
    assert table["ground"].to_pylist()[1] == '=HYPERLINK("x")'  # text stays text where nothing runs it


def test_xlsx(tmp_path: Path) -> None:
    path = tmp_path / "t.xlsx"
    write_table(TABLE, path)
    frame = pd.read_excel(path, engine="calamine")
    assert list(frame.columns) == list(TABLE.names)
    np.testing.assert_allclose(frame["chainage_from_m"], TABLE["chainage_from_m"], rtol=2e-16)
    assert frame["start_utc"][0] == pd.Timestamp("2030-03-17 17:46:40")
    assert pd.isna(frame["start_utc"][1])
    assert frame["ground"].tolist() == ["gneiss, massive", '\'=HYPERLINK("x")']
    assert pd.isna(frame["fpi_kN_per_mm_rev"][0])
    assert frame["fpi_kN_per_mm_rev"][1] == -1.25


NUMBERS = st.one_of(st.just(np.nan), st.floats(allow_infinity=False, allow_nan=False))


@given(
    rows=st.lists(st.tuples(NUMBERS, st.text(st.characters(codec="utf-8", exclude_categories=["Cc"])))),
    suffix=st.sampled_from([".csv", ".parquet"]),
)
@settings(max_examples=50)
def test_what_is_written_is_read_back(
    rows: list[tuple[float, str]], suffix: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("out") / f"t{suffix}"
    numbers = np.array([number for number, _ in rows], np.float64)
    texts = np.array([*(text for _, text in rows), ""], dtype=object)[:-1]
    write_table(Table({"advance_m": numbers, "note": texts}), path)
    if suffix == ".csv":
        with path.open(encoding="utf-8", newline="") as file:
            read = list(csv.DictReader(file))
        back = [(float(r["advance_m"]) if r["advance_m"] else np.nan, r["note"]) for r in read]
        expected = ["'" + text if text[:1] in "=+-@" and text else text for text in texts.tolist()]
    else:
        read = pq.read_table(path).to_pylist()
        back = [(np.nan if r["advance_m"] is None else r["advance_m"], r["note"] or "") for r in read]
        expected = texts.tolist()
    np.testing.assert_array_equal([number for number, _ in back], numbers)
    assert [text for _, text in back] == expected


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t"])
def test_text_that_a_spreadsheet_would_run_is_neutralised(start: str, tmp_path: Path) -> None:
    table = Table({"note": np.array([f"{start}1+1"], dtype=object), "advance_m": np.array([-1.0])})
    write_table(table, tmp_path / "t.csv")
    with (tmp_path / "t.csv").open(encoding="utf-8", newline="") as file:
        assert list(csv.reader(file))[1] == [f"'{start}1+1", "-1.0"]


@pytest.mark.parametrize("name", ["t.txt", "t", "t.xls"])
def test_another_suffix_is_wrong_usage(name: str, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"\.csv, \.parquet, \.xlsx"):
        write_table(TABLE, tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(TbmReviewError, match="no folder"):
        write_table(TABLE, tmp_path / "none" / "t.csv")


@pytest.mark.parametrize("suffix", [".csv", ".parquet", ".xlsx"])
def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(
    suffix: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / f"t{suffix}"
    path.write_text("old")

    def fails(table: Table, part: Path, told: object) -> None:
        part.write_text("half")
        raise OSError("disk full")

    monkeypatch.setitem(export._WRITERS, suffix, fails)
    with pytest.raises(TbmReviewError, match="disk full"):
        write_table(TABLE, path)
    assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == [path.name]


def test_who_reads_the_old_file_keeps_it_whole(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("old")
    with path.open() as reader:
        write_table(TABLE, path)
        assert reader.read() == "old"


def test_more_rows_than_a_sheet_holds_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(export, "XLSX_ROWS", 2)
    with pytest.raises(TbmReviewError, match=r"write \.csv or \.parquet"):
        write_table(TABLE, tmp_path / "t.xlsx")


def test_times() -> None:
    assert iso_utc(START) == "2030-03-17T17:46:40Z"
    assert iso_utc(START + 250_000) == "2030-03-17T17:46:40.250000Z"
    assert iso_utc(START, "microseconds") == "2030-03-17T17:46:40.000000Z"
    assert iso_utc(-1_000_000) == "1969-12-31T23:59:59Z"
    assert iso_utc(NO_TIME) == ""


def test_text_is_aligned_with_units_and_blank_where_missing() -> None:
    assert text_table(TABLE, OSLO, ("stroke", "start_utc", "ground", "fpi_kN_per_mm_rev")) == (
        "stroke             start  ground                   FPI\n"
        "             Europe/Oslo                   kN/(mm/rev)\n"
        "     7  2030-03-17 18:46  gneiss, massive\n"
        '                          =HYPERLINK("x")         -1.2'
    )


def test_text_leaves_out_labels_that_are_empty_all_through() -> None:
    empty = {
        "stroke": np.full(2, np.nan),
        "ring": np.array([1.0, 2.0]),
        "advance_m": np.ones(2),
        "thrust_kN": np.ones(2),
    }
    lines = text_table(Table(empty), OSLO).splitlines()
    assert lines[0].split() == ["ring", "advance", "F"]
    assert text_table(TABLE.rows(slice(0, 0)), OSLO) == "no rows"


def test_text_of_hours_shows_every_state() -> None:
    from tbmreview.drive.columns_text import BY_NAME, TIME_COLUMNS

    hours = {
        n: np.full(1, START) if n == "shift_start_utc" else np.ones(1) for n in TIME_COLUMNS if n != "shift"
    }
    heading, units, _ = text_table(
        Table({**hours, "shift": np.array(["early"], dtype=object)}), OSLO
    ).splitlines()
    for name in TIME_COLUMNS:
        assert BY_NAME[name].heading in heading
        assert ("Europe/Oslo" if name == "shift_start_utc" else BY_NAME[name].unit) in units


def test_stamps_of_a_column_have_one_form_so_that_pandas_reads_them(tmp_path: Path) -> None:
    write_table(Table({"start_utc": np.array([START, START + 250_000, NO_TIME])}), tmp_path / "t.csv")
    stamps = pd.to_datetime(pd.read_csv(tmp_path / "t.csv")["start_utc"], utc=True)
    assert [stamp.value // 1000 for stamp in stamps[:2]] == [START, START + 250_000]
    assert pd.isna(stamps[2])


def test_a_place_that_cannot_be_written_is_named_as_it_was_asked_for(tmp_path: Path) -> None:
    (tmp_path / "folder.csv").mkdir()
    with pytest.raises(TbmReviewError, match=r"folder\.csv: cannot be written"):
        write_table(TABLE, tmp_path / "folder.csv")
    assert [p.name for p in tmp_path.iterdir()] == ["folder.csv"]
