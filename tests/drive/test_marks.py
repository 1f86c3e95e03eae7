"""Marks: acts with undo and redo, conflicts between people, the table, what they hold, ground beside them."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tbmreview.cli import main
from tbmreview.domain.errors import DriveError, Overtaken, UsageError
from tbmreview.domain.marks import Mark
from tbmreview.drive import marks
from tbmreview.drive.mark_match import mark_matches
from tbmreview.drive.marks_table import mark_table
from tbmreview.drive.opened import Drive, open_drive
from tests.support.judged import judged_drive

ZONE = Mark("fault zone", 10.0, 16.4)


@pytest.fixture
def drive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Drive:
    return judged_drive(tmp_path, monkeypatch)


def said(drive: Drive) -> list[tuple[object, ...]]:
    return [(m.id, m.kind, m.position_from_m, m.position_to_m, m.note) for m in drive.marks()]


def test_drawn_changed_and_taken_back_and_done_again(drive: Drive) -> None:
    one = marks.draw(drive, replace(ZONE, findings=("f1",), note=" gouge "), "Ida")
    assert (one.id, one.findings, one.note, one.decided_by) == ("M1", ("F001",), "gouge", "Ida")
    marks.change(drive, "m1", {"position_to_m": 18.0}, one.version, "Ida")
    assert said(drive) == [("M1", "fault zone", 10.0, 18.0, "gouge")]
    act, _ = marks.undo(drive, "Ida")
    assert act.what == "changed"
    assert said(drive) == [("M1", "fault zone", 10.0, 16.4, "gouge")]
    marks.undo(drive, "Ida")
    assert said(drive) == []
    with pytest.raises(DriveError, match="nothing to take back"):
        marks.undo(drive, "Ida")
    marks.redo(drive, "Ida")
    marks.redo(drive, "Ida")
    assert said(drive) == [("M1", "fault zone", 10.0, 18.0, "gouge")]
    with pytest.raises(DriveError, match="nothing to do again"):
        marks.redo(drive, "Ida")
    assert [m.position_to_m for m in drive.mark_versions("M1")] == [16.4, 18.0, 16.4, 16.4, 16.4, 18.0]


def test_an_end_that_passes_the_other_is_refused(drive: Drive) -> None:
    marks.draw(drive, ZONE)
    with pytest.raises(UsageError, match="would pass the other one"):
        marks.change(drive, "M1", {"position_to_m": 9.0})
    moved = marks.change(drive, "M1", {"position_from_m": 5.0, "position_to_m": 2.0})
    assert (moved.position_from_m, moved.position_to_m) == (2.0, 5.0)


def test_split_merge_withdraw(drive: Drive) -> None:
    marks.draw(drive, replace(ZONE, from_u95_m=0.5, to_u95_m=0.7, photos=("a.jpg",)))
    first, second = marks.split(drive, "M1", 12.0)
    assert (first.id, second.id, second.from_u95_m != second.from_u95_m, second.to_u95_m) == (
        "M1",
        "M2",
        True,
        0.7,
    )
    whole = marks.merge(drive, ["M1", "M2"])
    assert (whole.position_from_m, whole.position_to_m, whole.from_u95_m, whole.to_u95_m) == (
        10.0,
        16.4,
        0.5,
        0.7,
    )
    assert [m.id for m in drive.marks()] == ["M1"]
    assert [m.id for m in drive.marks(withdrawn=True)] == ["M1", "M2"]
    marks.undo(drive)
    assert [(m.id, m.position_to_m) for m in drive.marks()] == [("M1", 12.0), ("M2", 16.4)]
    with pytest.raises(UsageError, match="reason"):
        marks.withdraw_mark(drive, "M2", "")
    marks.withdraw_mark(drive, "M2", "nothing there")
    with pytest.raises(DriveError, match="there is M1"):
        marks.withdraw_mark(drive, "M2", "again")


def test_two_people_nothing_is_overwritten_in_silence(drive: Drive) -> None:
    one = marks.draw(drive, ZONE, "Ida")
    marks.change(drive, "M1", {"note": "wet"}, one.version, "Bo")
    with pytest.raises(Overtaken, match="M1 was changed by Bo"):
        marks.change(drive, "M1", {"note": "dry"}, one.version, "Ida")
    with pytest.raises(Overtaken, match="M1 was changed by Bo"):
        marks.undo(drive, "Ida")
    assert drive.marks()[0].note == "wet"
    marks.undo(drive, "Bo")
    marks.undo(drive, "Ida")
    assert drive.marks() == ()


moves = st.lists(
    st.one_of(
        st.tuples(st.just("draw"), st.integers(0, 50)),
        st.tuples(st.just("note"), st.integers(0, 9)),
        st.tuples(st.sampled_from(["undo", "redo"]), st.just(0)),
    ),
    max_size=12,
)


@given(moves)
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_undo_and_redo_walk_the_states_that_there_were(
    tmp_path_factory: pytest.TempPathFactory, given_moves: list[tuple[str, int]]
) -> None:
    from tests.support.small_drive import new_drive

    drive = new_drive(tmp_path_factory.mktemp("marks") / "d")
    states: list[list[tuple[object, ...]]] = [[]]
    at = 0
    for move, number in given_moves:
        if move == "draw":
            marks.draw(drive, Mark("water", float(number), number + 2.0))
        elif move == "note" and drive.marks():
            marks.change(drive, drive.marks()[0].id, {"note": f"{number}"})
        elif move == "undo" and at > 0:
            marks.undo(drive)
            at -= 1
            assert said(drive) == states[at]
            continue
        elif move == "redo" and at + 1 < len(states):
            marks.redo(drive)
            at += 1
            assert said(drive) == states[at]
            continue
        else:
            continue
        at += 1
        states[at:] = [said(drive)]


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"kind": "fold"}, "expected one of fault zone"),
        ({"position_to_m": 10.0}, "has a length"),
        ({"position_to_m": float("nan")}, "both its chainages"),
        ({"dip_deg": 91.0}, "dip"),
        ({"confidence": "sure"}, "confidence"),
        ({"findings": ("F044",)}, "no finding is called F044"),
        ({"from_u95_m": -1.0}, "half-width"),
    ],
)
def test_what_is_wrong_with_a_mark_is_said(drive: Drive, wrong: dict[str, object], told: str) -> None:
    with pytest.raises(UsageError, match=told):
        marks.draw(drive, replace(ZONE, **wrong))
    assert drive.acts() == ()


def test_the_face_meets_a_plane_at_45_degrees_one_bore_long(drive: Drive) -> None:
    """A plane at 45 degrees takes 6.4 m to cross a face of 6.4 m (geometry)."""
    setup = drive.folder / "drive.toml"
    setup.write_text(setup.read_text().replace("[machine]", "azimuth_deg = 30\n[machine]", 1))
    marks.draw(open_drive(drive.folder), replace(ZONE, dip_deg=45.0, dip_direction_deg=30.0))
    rows = mark_table(open_drive(drive.folder))
    assert rows["axis_angle_deg"][0] == pytest.approx(45.0)
    assert rows["first_contact_chainage_m"][0] == pytest.approx(4190.0 - 3.2)
    assert rows["last_contact_chainage_m"][0] == pytest.approx(4196.4 + 3.2)


def test_against_ground_matched_missed_and_shifted(drive: Drive, tmp_path: Path) -> None:
    ground = tmp_path / "g.csv"
    ground.write_text(
        "from [m],to [m],rock\n4180,4180.02,gneiss\n4180.02,4180.05,fault zone\n4180.05,4180.1,gneiss\n"
        "4180.1,4180.12,mica schist\n4180.12,4180.2,crushed gneiss\n"
    )
    assert main(["ground", str(drive.folder), str(ground), "--as", "mapped"]) == 0
    marks.draw(drive, Mark("fault zone", 0.03, 0.06))
    marks.draw(drive, Mark("change of rock", 0.11, 0.11))
    marks.draw(drive, Mark("shear zone", 40.0, 45.0))
    rows = mark_matches(open_drive(drive.folder))
    told = {
        m or g: (o, round(float(s), 6))
        for m, g, o, s in zip(*(rows[n] for n in ("mark", "ground", "outcome", "from_shift_m")), strict=True)
    }
    assert told["M1"] == ("matched", 0.01)
    assert told["M2"] == ("matched", 0.01)
    assert told["M3"][0] == "not in the ground table"
    assert told["crushed gneiss"][0] == "not marked"
    assert set(rows["compared_with"]) == {"mapped ground 'g', without a date of issue"}


def test_what_a_person_should_look_at_again_is_said(drive: Drive, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["mark", str(drive.folder), "draw", "--kind", "water", "--from", "9180", "--to", "9190"]
    assert main([*words, "--photo", "/no/such.jpg", "--dip", "45", "--strike", "10", "--note", "a\nb"]) == 0
    said = capsys.readouterr().err
    assert "M1 lies outside what is bored so far, 4+180.00 to " in said
    assert "there is no file /no/such.jpg" in said
    assert "without the direction of driving" in said
    assert drive.marks()[0].note == "a b"
    assert main(["mark", str(drive.folder), "draw", "--kind", "water", "--from", "9200", "--to", "9210"]) == 0
    capsys.readouterr()
    assert main(["mark", str(drive.folder), "merge", "M1", "M2"]) == 0
    assert "M1 covers 10.0 m that none of them did" in capsys.readouterr().err


def test_marks_that_were_taken_back_are_listed_where_asked_for(
    drive: Drive, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    marks.draw(drive, ZONE)
    marks.draw(drive, replace(ZONE, kind="water"))
    marks.withdraw_mark(drive, "M1", "drawn twice")
    listed = {}
    for more in ((), ("--withdrawn",)):
        assert main(["marks", str(drive.folder), *more]) == 0
        text = capsys.readouterr().out
        assert main(["marks", str(drive.folder), *more, "--out", str(tmp_path / "m.csv")]) == 0
        rows = pd.read_csv(tmp_path / "m.csv", keep_default_na=False)
        listed[more] = dict(zip(rows["id"], rows["withdrawn"], strict=True))
        assert ("M1" in text, "withdrawn" in text) == (bool(more), bool(more))
    assert listed == {(): {"M2": ""}, ("--withdrawn",): {"M1": "yes", "M2": ""}}


def test_a_photo_lies_in_the_drive_folder_or_in_the_current_one(
    drive: Drive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (drive.folder / "photos").mkdir()
    for file in (drive.folder / "photos" / "face.jpg", tmp_path / "wall.jpg"):
        file.write_bytes(b"")
    paths = ("photos/face.jpg", "wall.jpg", str(tmp_path / "wall.jpg"), "gone.jpg")
    photos = [word for path in paths for word in ("--photo", path)]
    drawn = ["mark", str(drive.folder), "draw", "--kind", "water", "--from", "4180", "--to", "4180.1"]
    assert main([*drawn, *photos]) == 0
    told = capsys.readouterr().err
    assert (
        told.strip()
        == "tbmreview: note: M1: there is no file gone.jpg in the drive folder or the current one"
    )
    assert main(["marks", str(drive.folder)]) == 0
    assert f"M1: photos: {'; '.join(paths)} (no such file)" in capsys.readouterr().out
    monkeypatch.chdir(drive.folder)
    assert main(["marks", str(drive.folder)]) == 0
    assert "wall.jpg (no such file); " in capsys.readouterr().out


def of_planes(drive: Drive, mark: Mark) -> list[str]:
    return [line for line in marks.doubts(open_drive(drive.folder), mark) if "planes" in line]


def test_what_the_angle_of_planes_lacks_is_said(drive: Drive, tmp_path: Path) -> None:
    assert of_planes(drive, ZONE) == []
    (told,) = of_planes(drive, replace(ZONE, dip_deg=60.0))
    assert told.endswith("is not known: dip and dip direction go together, give both")
    planes = replace(ZONE, dip_deg=60.0, dip_direction_deg=30.0)
    (told,) = of_planes(drive, planes)
    assert "without the direction of driving" in told
    axis = tmp_path / "axis.csv"
    axis.write_text("chainage,east,north\n4200,500000,6500000\n4300,500100,6500000\n")
    assert main(["alignment", str(drive.folder), str(axis), "--crs", "EPSG:25832"]) == 0
    (told,) = of_planes(drive, planes)
    assert "the alignment does not reach it" in told
    assert of_planes(drive, replace(planes, position_to_m=40.0)) == []


def test_a_mark_is_a_row_of_the_table_by_mark(drive: Drive) -> None:
    total = float(drive.table("drive")["advance_m"][0])
    marks.draw(drive, Mark("fault zone", 0.0, total / 2))
    marks.draw(drive, Mark("water", 0.0, total))  # they may overlap
    rows = open_drive(drive.folder).table("mark")
    assert rows["mark"].tolist() == ["M1 fault zone", "M2 water"]
    assert rows["advance_m"] == pytest.approx(np.array([total / 2, total]))


def test_the_commands(drive: Drive, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = str(drive.folder)
    drawn = ["mark", folder, "draw", "--kind", "fault-zone", "--from", "4196.4", "--to", "4+190.0"]
    assert main([*drawn, "--strike", "330", "--dip", "60", "--note", "=1+1", "--finding", "1"]) == 0
    assert main(["mark", folder, "draw", "--kind", "water", "--from-finding", "F002"]) == 0
    assert main(["mark", folder, "change", "M1", "--confidence", "probable"]) == 0
    assert main(["mark", folder, "undo"]) == 0
    assert main(["mark", folder, "redo"]) == 0
    for wrong in (["change"], ["change", "M1"], ["draw", "--kind", "water"], ["split", "M1"], ["undo", "M1"]):
        assert main(["mark", folder, *wrong]) == 2, wrong
    assert main(["mark", folder, "withdraw", "M9", "--reason", "no"]) == 1
    assert main(["marks", folder, "--out", str(tmp_path / "m.csv")]) == 0
    rows = pd.read_csv(tmp_path / "m.csv")
    assert rows["chainage_from_m"].tolist() == [4190.0, 4230.0]
    assert rows["dip_direction_deg"][0] == 60
    assert rows["note"][0] == "'=1+1"
    assert rows["confidence"][0] == "probable"
    for more in ([], ["--contrast"], ["--acts"]):
        assert main(["marks", folder, *more]) == 0
    assert "done again" in capsys.readouterr().out
    assert main(["marks", folder, "--against", "mapped"]) == 1
    assert "there is no mapped ground" in capsys.readouterr().err
    assert main(["marks", folder, "--out", str(tmp_path / "m.geojson")]) == 1
