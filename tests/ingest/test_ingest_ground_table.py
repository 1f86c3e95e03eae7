"""Ground tables (invented) in several dialects to intervals along the drive."""

from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.feather
import pyarrow.parquet as pq
import pytest
import xlsxwriter

from tbmreview.domain.errors import GroundError
from tbmreview.domain.ground import GROUND_COLUMNS, HATCHES
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table
from tbmreview.ingest.ground_table import hatch_of, read_ground

UTC = ZoneInfo("UTC")
RISING, FALLING = Axis(4180.0, 1), Axis(4230.0, -1)
ROWS = [
    ["From [m]", "To [m]", "Rock", "UCS [MPa]"],
    [4180.0, 4200.0, "gneiss", 120.0],
    [4200.0, 4230.5, "fault", 20.5],
]

TEXTS = {
    "english": ("From,To,Rock,UCS [MPa]\n4180,4200,gneiss,120\n4200,4230.5,fault,20.5\n", "utf-8"),
    "unsorted": ("From,To,Rock,UCS [MPa]\n4200,4230.5,fault,20.5\n4180,4200,gneiss,120\n", "utf-8"),
    "backwards": ("From,To,Rock,UCS [MPa]\n4230.5,4200,fault,20.5\n4200,4180,gneiss,120\n", "utf-8"),
    "german": ("von [m];bis [m];Gestein;Druckfestigkeit [MPa]\n4180,0;4200,0;gneiss;120,0\n4200,0;4230,5;fault;20,5\n", "cp1252"),
    "stations": ("Chainage from,Chainage to,Rock type,UCS\n4+180.00,4+200.00,gneiss,120\n4+200,4+230.50,fault,20.5\n", "utf-8"),
    "chinese": ("起始里程,终止里程,岩性,单轴抗压强度(MPa)\nDK4+180,DK4+200,gneiss,120\nDK4+200,DK4+230.5,fault,20.5\n", "gb18030"),
    "unit row": ("From\tTo\tLithology\tUCS\nm\tm\t\tkPa\n4180\t4200\tgneiss\t120000\n4200\t4230.5\tfault\t20500\n", "utf-8"),
    "kilometres": ("From [km],To [km],Rock,UCS [MPa]\n4.180,4.200,gneiss,120\n4.200,4.2305,fault,20.5\n", "utf-8"),
    "one column": ("Mapped ground\n\nChainage;Rock;UCS [MPa]\n4+180 - 4+200;gneiss;120\n4+200 - 4+230.5;fault;20.5\n", "utf-8"),
    "french": ("Début;Fin;Nature du terrain;Résistance à la compression (MPa)\n4180;4200;gneiss;120\n4200;4230,5;fault;20,5\n", "cp1252"),
    "zone first": ("Zone,From,To,Rock type,UCS,Remarks\n1,4180,4200,gneiss,120,\n2,4200,4230.5,fault,20.5,\n", "utf-8"),
}  # fmt: skip


def expect(table: Table) -> None:
    assert table.names == tuple(name for name, _, _ in GROUND_COLUMNS)
    np.testing.assert_allclose(table["position_from_m"], [0.0, 20.0], atol=1e-9)
    np.testing.assert_allclose(table["position_to_m"], [20.0, 50.5], atol=1e-9)
    assert table["rock"].tolist() == ["gneiss", "fault"]
    assert table["hatch"].tolist() == ["foliated", "fault"]
    np.testing.assert_allclose(table["ucs_MPa"], [120.0, 20.5])
    assert np.all(np.isnan(table["rmr"]))


@pytest.mark.parametrize("name", list(TEXTS))
def test_text_tables(name: str, tmp_path: Path) -> None:
    content, encoding = TEXTS[name]
    path = tmp_path / "ground.csv"
    path.write_bytes(content.encode(encoding))
    expect(read_ground(path, RISING, UTC))


def test_parquet_feather_and_workbook(tmp_path: Path) -> None:
    table = pa.table({str(h): list(c) for h, c in zip(ROWS[0], zip(*ROWS[1:], strict=True), strict=True)})
    pq.write_table(table, tmp_path / "g.parquet")
    pyarrow.feather.write_feather(table, str(tmp_path / "g.feather"))
    book = xlsxwriter.Workbook(str(tmp_path / "g.xlsx"))
    book.add_worksheet("cover").write(0, 0, "invented")
    sheet = book.add_worksheet("ground")
    for i, row in enumerate(ROWS):
        sheet.write_row(i + 2, 0, row)
    book.close()
    for suffix in ("parquet", "feather", "xlsx"):
        expect(read_ground(tmp_path / f"g.{suffix}", RISING, UTC))


def test_a_falling_drive_turns_the_intervals(tmp_path: Path) -> None:
    path = tmp_path / "g.csv"
    path.write_text("from,to,rock\n4180,4200,gneiss\n4200,4230,fault\n")
    table = read_ground(path, FALLING, UTC)
    assert table["rock"].tolist() == ["fault", "gneiss"]
    assert table["position_from_m"].tolist() == [0.0, 30.0]
    assert table["position_to_m"].tolist() == [30.0, 50.0]


def test_what_is_no_number_goes_into_the_note(tmp_path: Path) -> None:
    path = tmp_path / "g.csv"
    path.write_text("from,to,rock,UCS [MPa],RMR,Remarks\n4180,4200,schist,100-150,55,wet\n4210,4220,,>60,,\n")
    table = read_ground(path, RISING, UTC)
    assert table["note"].tolist() == ["wet; ucs_MPa: 100-150", "ucs_MPa: >60"]
    assert np.isnan(table["ucs_MPa"]).all()
    np.testing.assert_array_equal(table["rmr"], [55.0, np.nan])
    assert table["position_from_m"].tolist() == [0.0, 30.0]  # the gap between stays a gap


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("a,b\n1,2\n", "is no ground table"),
        ("from,to,rock\n", "no rows"),
        ("from,to,rock\n4180,4200,a\n4190,4210,b\n", "rows 2 and 3 overlap by 10.00 m"),
        ("from,to,rock\n4180,x,a\n", "row 2: where the interval"),
        ("from,to,rock\n4180,4180,a\n", "row 2: the interval begins and ends"),
        ("", "empty"),
        ("PK\x03\x04 junk", "cannot be read|no workbook"),
    ],
)
def test_what_cannot_be_used_is_said(content: str, said: str, tmp_path: Path) -> None:
    path = tmp_path / "g.csv"
    path.write_text(content)
    with pytest.raises(GroundError, match=said) as error:
        read_ground(path, RISING, UTC)
    assert str(path) in str(error.value)


def test_hatches_by_name() -> None:
    known = {
        "massive": "Quartzite, massive|Granit|花岗岩|cuarcita",
        "foliated": "Gneiss|Paragneis|片麻岩|gneis",
        "schistose": "Mica schist|Glimmerschiefer|片岩|Phyllit|skifer",
        "bedded": "Limestone|Kalkstein|砂岩|calcaire",
        "crushed": "Crushed granite|zerrütteter Gneis|破碎带",
        "fault": "Fault zone in gneiss|Störungszone|断层破碎带|faille|forkastning",
        "other": "Backfill||?",
    }
    assert set(known) == set(HATCHES)
    for hatch, rocks in known.items():
        for rock in rocks.split("|"):
            assert hatch_of(rock) == hatch, rock
