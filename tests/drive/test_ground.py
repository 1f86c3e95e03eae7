"""Ground tables are taken in; a prediction stays as it was issued."""

import json
import sqlite3
from pathlib import Path

import pytest

from tbmreview.domain.errors import GroundError, UsageError
from tbmreview.domain.ground import GROUND_NUMBERS, empty_ground
from tbmreview.drive.classes import class_columns
from tbmreview.drive.ground import import_ground
from tbmreview.drive.opened import open_drive
from tbmreview.drive.start import start

SETUP = """
[drive]
name = "Larkfell, test"
timezone = "Europe/Oslo"
chainage_start_m = 4500.0
chainage_direction = "decreasing"
[machine]
kind = "double shield"
bore_diameter_m = 6.4
disc_count = 42
"""
TABLE = "from [m],to [m],rock,UCS [MPa]\n4500,4460,gneiss,125\n4460,4450,fault zone,15\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    setup = tmp_path / "setup.toml"
    setup.write_text(SETUP, encoding="utf-8")
    start(tmp_path / "drive", setup)
    return tmp_path / "drive"


def written(folder: Path, text: str, name: str = "ground.csv") -> Path:
    path = folder.parent / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_mapped_table_is_the_drives_ground(folder: Path) -> None:
    said = import_ground(folder, written(folder, TABLE), "mapped")
    assert said == "mapped ground 'ground': 2 intervals, chainage 4500.00 to 4450.00 m"
    ground = open_drive(folder).ground("mapped")
    assert ground["rock"].tolist() == ["gneiss", "fault zone"]
    assert ground["position_from_m"].tolist() == [0.0, 40.0]
    assert open_drive(folder).history()[-1].details["intervals"] == 2


def test_a_mapped_table_is_replaced_by_the_next_of_its_name(folder: Path) -> None:
    import_ground(folder, written(folder, TABLE), "mapped")
    import_ground(folder, written(folder, TABLE.replace("gneiss", "schist")), "mapped")
    drive = open_drive(folder)
    assert drive.ground("mapped")["rock"].tolist() == ["schist", "fault zone"]
    assert drive.ground_names("mapped") == ("ground",)


def test_a_prediction_is_never_overwritten(folder: Path) -> None:
    import_ground(folder, written(folder, TABLE), "predicted", name="tender", issued="2030-05-01")
    again = import_ground(folder, written(folder, TABLE), "predicted", name="tender", issued="2030-05-01")
    assert again == "predicted ground 'tender': in the drive already, nothing changed"
    other = written(folder, TABLE.replace("125", "130"))
    for path, issued in ((other, "2030-05-01"), (written(folder, TABLE, "same.csv"), "2031-01-01")):
        with pytest.raises(GroundError, match="never overwritten"):
            import_ground(folder, path, "predicted", name="tender", issued=issued)
    assert open_drive(folder).ground("predicted", "tender")["ucs_MPa"].tolist() == [125.0, 15.0]
    import_ground(folder, other, "predicted", name="design", issued="2031-01-01")
    assert open_drive(folder).ground_names("predicted") == ("tender", "design")


def test_the_same_prediction_is_known_behind_a_later_one(folder: Path) -> None:
    import_ground(folder, written(folder, TABLE), "predicted", name="tender")
    import_ground(folder, written(folder, TABLE.replace("125", "130")), "predicted", name="design")
    assert "nothing changed" in import_ground(folder, written(folder, TABLE), "predicted", name="tender")


@pytest.mark.parametrize(
    ("kind", "issued"), [("guessed", None), ("mapped", "May 2030"), ("mapped", "2030-02-30")]
)
def test_a_wrong_kind_or_date_is_wrong_usage(folder: Path, kind: str, issued: str | None) -> None:
    before = (folder / "catalogue.sqlite").read_bytes()
    with pytest.raises(UsageError):
        import_ground(folder, written(folder, TABLE), kind, issued=issued)
    assert (folder / "catalogue.sqlite").read_bytes() == before


def test_a_file_that_is_no_ground_table_changes_nothing(folder: Path) -> None:
    before = (folder / "catalogue.sqlite").read_bytes()
    for path in (written(folder, "a,b\n1,2\n"), folder.parent / "none.csv"):
        with pytest.raises(GroundError):
            import_ground(folder, path, "mapped")
    assert (folder / "catalogue.sqlite").read_bytes() == before


def test_a_class_and_its_scheme_last_and_a_number_without_scheme_is_told(folder: Path) -> None:
    text = "from [m],to [m],rock,RMR,CAI,seen how,mapped on\n4500,4460,gneiss,III,4.1,window,2031-03-02\n4460,4450,fault,15,1,,\n"
    said = import_ground(folder, written(folder, text), "mapped")
    assert said.splitlines()[1].startswith("note: CERCHAR has no class: names differ between ISRM 2014, ASTM")
    ground = open_drive(folder).ground("mapped")
    assert ground["rmr_class"].tolist() == ["III fair", ""]
    assert ground["rmr_scheme"].tolist() == ["RMR 1989", ""]
    assert ground["rmr"].tolist()[1:] == [15.0]
    assert (ground["seen_how"][0], ground["seen_when"][0]) == ("window", "2031-03-02")
    columns = class_columns(ground)
    assert columns["rmr_class"].tolist() == ["III fair", "V very poor"]
    assert columns["cai_class"].tolist() == columns["cai_scheme"].tolist() == ["", ""]
    assert "nothing changed" in import_ground(folder, written(folder, text), "mapped")
    stated = text.replace("CAI", "CAI (ISRM 2014)")
    assert "note" not in import_ground(folder, written(folder, stated), "mapped")
    assert class_columns(open_drive(folder).ground("mapped"))["cai_class"].tolist() == ["very high", "low"]


def test_a_table_taken_in_before_there_were_classes_is_read_as_it_was(folder: Path) -> None:
    import_ground(folder, written(folder, TABLE), "mapped")
    with sqlite3.connect(folder / "catalogue.sqlite") as db:
        rows = db.execute("SELECT rowid, content FROM ground_interval").fetchall()
        for rowid, content in rows:
            known = {
                k: v
                for k, v in json.loads(content).items()
                if k in ("rock", "hatch", "note") or k in GROUND_NUMBERS
            }
            assert len(known) == 15
            db.execute("UPDATE ground_interval SET content = ? WHERE rowid = ?", (json.dumps(known), rowid))
    db.close()
    ground = open_drive(folder).ground("mapped")
    assert ground.names == empty_ground().names
    assert ground["rmr_class"].tolist() == ground["seen_how"].tolist() == ["", ""]
    assert class_columns(ground)["ucs_class"].tolist() == ["R5 very strong", "R2 weak"]
    assert "nothing changed" in import_ground(folder, written(folder, TABLE), "mapped")
