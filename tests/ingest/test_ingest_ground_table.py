"""Ground tables (invented) in several dialects to intervals along the drive."""

import tomllib
from importlib.resources import files
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.feather
import pyarrow.parquet as pq
import pytest
import xlsxwriter

from tbmreview.domain.classes import BY_STEM, SCHEMES
from tbmreview.domain.errors import GroundError
from tbmreview.domain.ground import GROUND_COLUMNS, HATCHES, SEEN_HOW
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table
from tbmreview.ingest.ground_table import hatch_of, read_ground

NAN = float("nan")
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


def classes(folder: Path, head: str, *rows: str) -> Table:
    """A table of 10 m intervals with these columns."""
    path = folder / "g.csv"
    lines = [f"{4180 + 10 * i};{4190 + 10 * i};gneiss;{row}" for i, row in enumerate(rows)]
    path.write_text("\n".join([f"von;bis;Gestein;{head}", *lines]), encoding="utf-8")
    return read_ground(path, RISING, ZoneInfo("Europe/Oslo"))


@pytest.mark.parametrize(
    ("head", "cells", "column", "number", "texts", "schemes"),
    [
        ("RMR", "III|55|-", "rmr", [NAN, 55, NAN], ["III fair", "", ""], ["RMR 1989", "", ""]),
        ("RMR class", "II|fair|", "rmr", [NAN] * 3, ["II good", "III fair", ""], ["RMR 1989"] * 2 + [""]),
        ("UCS [MPa]", "R4|120|50-100", "ucs", [NAN, 120, NAN], ["R4 strong", "", ""], ["ISRM strength", "", ""]),
        ("CAI (ISRM 2014)", "mittel|2,5|", "cai", [NAN, 2.5, NAN], ["medium", "", ""], ["ISRM 2014"] * 3),
        ("CAI;CAI scheme", "2,5;ASTM|high;astm d7625|4;", "cai", [2.5, NAN, 4], ["", "high", ""], ["ASTM D7625"] * 2 + [""]),
        ("Verwitterung", "stark verwittert|W1|", "weathering", None, ["W4 highly weathered", "W1 fresh", ""], ["ISRM 1981"] * 2 + [""]),
        ("Weathering (ISO 14689-1)", "2|fresh|5", "weathering", None, ["2 moderately weathered", "0 fresh", "5 residual soil"], ["ISO 14689-1:2003"] * 3),
        ("风化程度", "强风化|未风化|", "weathering", None, ["W4 highly weathered", "W1 fresh", ""], ["ISRM 1981"] * 2 + [""]),
        ("Wasser [l/min]", "tropfend|15|dry", "water", [NAN, 15, NAN], ["dripping", "", "dry"], ["RMR 1989 inflow", "", "RMR 1989 inflow"]),
        ("Strength [MPa]", "120|80|", "ucs", [120, 80, NAN], ["", "", ""], ["", "", ""]),
        ("Strength [MPa]", "R3|80|unbekannt", "ucs", [NAN, 80, NAN], ["R3 medium strong", "", ""], ["ISRM strength", "", ""]),
        ("Verwitterung", "?|k. A.|–", "weathering", None, ["", "", ""], ["", "", ""]),
        ("Q", "good|0,5|poor", "q", [NAN, 0.5, NAN], ["good", "", "poor"], ["Q 1974", "", "Q 1974"]),
    ],
)  # fmt: skip
def test_classes_are_taken_in_with_their_scheme(
    head: str, cells: str, column: str, number: list[float] | None, texts: list[str], schemes: list[str], tmp_path: Path
) -> None:  # fmt: skip
    table = classes(tmp_path, head, *cells.split("|"))
    assert table[f"{column}_class"].tolist() == texts
    assert table[f"{column}_scheme"].tolist() == schemes
    if number is not None:
        np.testing.assert_array_equal(table[BY_STEM[column].column], number)
    assert all(note == "" or "50-100" in note for note in table["note"])


@pytest.mark.parametrize(
    ("head", "cell", "said"),
    [
        ("CAI", "medium", "row 2: CERCHAR 'medium' means different things by .*cai_scheme"),
        ("Verwitterungsgrad", "2", "row 2: Weathering '2' means different things"),
        (
            "CAI;CAI scheme",
            "2,5;house rules",
            "'house rules' is no scheme of CERCHAR.*expected ISRM 2014, ASTM",
        ),
        (
            "CAI (ASTM D7625)",
            "0,2",
            "row 2: CERCHAR 0.2 is outside the range of ASTM D7625; expected 0.3 to 7",
        ),
        ("RMR;RMR class", "55;II", "RMR 55 is III fair by RMR 1989, and the class says II good"),
        ("RMR", "VI", "row 2: 'VI' is no class of RMR"),
        ("RMR", "130", "row 2: RMR 130 is outside 0 to 100"),
        ("UCS [MPa]", "120000", "UCS 120000 is outside 0 to 1000 MPa"),
        ("RMR 1976", "55", r"the column 'RMR 1976' is of an edition \(1976\).*expected RMR 1989"),
        ("UCS class", "hard", "'hard' is no class of UCS; expected one of ISRM strength: R0"),
    ],
)
def test_a_class_that_is_none_is_refused(head: str, cell: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(GroundError, match=said):
        classes(tmp_path, head, cell)


def test_a_range_of_classes_is_no_class_and_goes_into_the_note(tmp_path: Path) -> None:
    table = classes(
        tmp_path,
        "Verwitterung;RMR;RMR class",
        "W2-W3;III/IV;",
        "frisch bis schwach verwittert;55-60;II to III",
    )
    assert table["weathering_class"].tolist() == table["rmr_class"].tolist() == ["", ""]
    assert table["note"].tolist() == [
        "rmr: III/IV; weathering_class: W2-W3",
        "rmr: 55-60; rmr_class: II to III; weathering_class: frisch bis schwach verwittert",
    ]


def test_how_and_when_an_interval_was_seen(tmp_path: Path) -> None:
    table = classes(
        tmp_path,
        "aufgenommen an;Aufnahmedatum",
        "Ortsbrust;02.03.2031",
        "Fenster 3;13.07.2031 07:30",
        "Haufwerk;",
        "interpoliert;-",
        "Brust und Haufwerk;im Winter",
    )
    assert table["seen_how"].tolist() == ["face", "window", "muck", "inferred", ""]
    assert table["seen_when"].tolist() == ["2031-03-02", "2031-07-13T05:30:00Z", "", "", ""]
    assert table["note"].tolist() == ["", "", "", "", "seen: Brust und Haufwerk; seen: im Winter"]


def test_every_word_of_a_class_has_its_spellings() -> None:
    """A class that the words do not know could be written in no other language."""
    data = tomllib.loads(files("tbmreview.ingest").joinpath("ground_words.toml").read_text("utf-8"))
    sections = {"weathering": "weathering", "water": "water", "ucs": "strength", "cai": "abrasivity", "rmr": "quality", "q": "quality", "rqd": "quality"}  # fmt: skip
    for scheme in SCHEMES:
        if scheme.quantity in sections:
            words = {name.word for name in scheme.names} - {""}
            assert words <= data[sections[scheme.quantity]].keys(), scheme.name
    assert data["seen"].keys() == set(SEEN_HOW)
    assert {f"{stem}_{part}" for stem in BY_STEM for part in ("class", "scheme")} <= data["columns"].keys()
