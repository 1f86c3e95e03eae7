"""Discs along a small invented drive: lives between changes, wear over ground, what is due, the command."""

import csv
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from tbmreview.cli import main
from tbmreview.domain.setup import Machine
from tbmreview.domain.site import DISC_CHANGES, site_column
from tbmreview.domain.states import State
from tbmreview.domain.table import Table, stack
from tbmreview.drive.add import add
from tbmreview.drive.discs import disc_table
from tbmreview.drive.discs_text import disc_says, discs_text
from tests.support.cells import (
    HOUR_US,
    START_US,
    TableDrive,
    drive_of,
    ground_of,
    periods_of,
    setup_of,
    steady,
    without,
)
from tests.support.grounded import GroundDrive
from tests.support.small_drive import new_drive, small_log

RADII = (0.5, 1.0, 2.0, 3.0)
MACHINE = {"kind": "double shield", "bore_diameter_m": 6.0, "disc_count": 4}
FACE_M2 = np.pi * 9
AT = tuple(START_US + hours * HOUR_US for hours in (-1, 10, 30, 90))


def changes(*rows: tuple[int, int, float]) -> dict[str, Table]:
    """Changes from (time us, disc, wear mm)."""
    time, disc, wear = (list(column) for column in zip(*rows, strict=True)) if rows else ([], [], [])
    values = {
        "time_us": time,
        "disc": disc,
        "wear_mm": wear,
        "reason": ["worn"] * len(rows),
        "note": [""] * len(rows),
    }
    return {DISC_CHANGES: Table({name: site_column(DISC_CHANGES, name, values[name]) for name in values})}


def drive(*rows: tuple[int, int, float], **machine: object) -> TableDrive:
    """10 m, a change at 10 h, 20 m, a change at 30 h, 5 m: at 8 mm/rev 125 revolutions a metre, 6 rpm."""
    setup = setup_of(machine=Machine(**{**MACHINE, "disc_radii_m": RADII, **machine}))  # type: ignore[arg-type]
    stretches = ((0.0, 10.0, 0), (10.0, 30.0, 11), (30.0, 35.0, 31))
    cells = stack(
        [steady(setup.drive.axis, (low, high), start_us=START_US + h * HOUR_US) for low, high, h in stretches]
    )
    runs = periods_of(
        *((State.BORING, START_US + h * HOUR_US, START_US + (h + 8) * HOUR_US) for _, _, h in stretches)
    )
    ground = ground_of((0.0, 20.0, "gneiss"), (20.0, 30.0, "schist"))
    return drive_of(setup, cells, periods=runs, stated=changes(*rows), mapped=ground)


def test_what_a_disc_has_done_since_its_change() -> None:
    rows = disc_table(drive((AT[1], 4, 10.0), (AT[2], 4, 20.0), (AT[1], 1, 5.0)))
    assert rows["disc"].tolist() == [1, 2, 3, 4]
    assert rows["advance_m"] == pytest.approx([25, 35, 35, 5])
    assert rows["revolutions"] == pytest.approx([125 * m for m in (25, 35, 35, 5)])
    assert rows["rolling_km"] == pytest.approx(
        [2 * np.pi * r * 125 * m / 1000 for r, m in zip(RADII, (25, 35, 35, 5), strict=True)]
    )
    assert rows["bored_m3"][3] == pytest.approx(5 * FACE_M2)
    assert rows["installed_chainage_m"] == pytest.approx([4190, 4180, 4180, 4210])
    assert rows["installed_utc"].tolist()[3] == AT[2]
    assert rows["track_speed_m_min"] == pytest.approx([2 * np.pi * r * 6 for r in RADII])
    assert rows["changes"].tolist() == [1, 0, 0, 2]
    assert rows["face_m3_per_disc"][3] == pytest.approx(15 * FACE_M2)
    assert rows["face_m3_per_mm"][3] == pytest.approx(30 * FACE_M2 / 30)
    assert np.isnan(rows["face_m3_per_disc"][1])


def test_lives_by_change_and_a_first_disc_put_in_before_the_record() -> None:
    rows = disc_table(drive((AT[0], 4, np.nan), (AT[1], 4, 10.0), (AT[2], 4, np.nan)), "change")
    assert rows["installed_utc"].tolist() == [AT[0], AT[1]]
    assert rows["changed_chainage_m"] == pytest.approx([4190, 4210])
    assert rows["advance_m"] == pytest.approx([10, 20])
    assert rows["km_per_mm"][0] == pytest.approx(2 * np.pi * 3 * 1250 / 1000 / 10)
    assert np.isnan(rows["km_per_mm"][1])


def test_wear_over_ground_adds_up_to_the_changes() -> None:
    """Disc 4 used one life in 10 m of gneiss, and one over 10 m of gneiss and 10 m of schist."""
    rows = disc_table(drive((AT[1], 4, 10.0), (AT[2], 4, 20.0)), "ground")
    assert rows["ground"].tolist() == ["gneiss", "schist", "outside"]
    assert rows["discs_used"] == pytest.approx([1.5, 0.5, 0])
    assert rows["wear_mm"] == pytest.approx([20, 10, 0])
    assert rows["changes"].tolist() == [1, 1, 0]
    assert rows["bored_m3"].sum() == pytest.approx(35 * FACE_M2)
    assert rows["m3_per_disc"][:2] == pytest.approx([20 * FACE_M2 / 4 / 1.5, 10 * FACE_M2 / 4 / 0.5])
    assert rows["m3_per_mm"][0] == pytest.approx(20 * FACE_M2 / 4 / 20)
    assert np.isnan(rows["m3_per_disc"][2])


def test_wear_over_ground_is_by_the_table_that_is_asked_for_and_says_which() -> None:
    bored = drive((AT[1], 4, 10.0), (AT[2], 4, 20.0))
    tender = ground_of((0.0, 15.0, "granite"), (15.0, 30.0, "schist"))
    both = GroundDrive(
        bored.setup,
        bored.cells,
        bored.strokes,
        bored.periods,
        stated=bored.stated,
        mapped=bored.mapped,
        predicted=tender,
    )
    mapped, predicted = disc_table(both, "ground"), disc_table(both, "ground", "predicted", "tender")
    assert mapped["ground"].tolist() == ["gneiss", "schist", "outside"]
    assert predicted["ground"].tolist() == ["granite", "schist", "outside"]
    assert predicted["discs_used"] == pytest.approx([1.25, 0.75, 0])
    told = [set(predicted[f"ground_{what}"]) for what in ("kind", "name", "issued")]
    assert told == [{"predicted"}, {"tender"}, {"2030-05-01"}]
    assert "by mapped ground 'faces', without a date of issue" in discs_text(both, mapped).splitlines()
    assert "by predicted ground 'tender', issued 2030-05-01" in disc_says(both, predicted)
    unmapped = drive_of(bored.setup, bored.cells, stated=bored.stated)
    rows = disc_table(unmapped, "ground")
    assert set(rows["ground_kind"]) == {""}
    assert "by no ground table: nothing is mapped, so all is outside" in disc_says(unmapped, rows)


def test_every_disc_changed_once_is_the_volume_over_the_discs() -> None:
    """m3 a disc and a mm are the usual figures of a drive: 30 m over 4 discs and 40 mm (definition)."""
    rows = disc_table(drive(*((AT[2], disc, 10.0) for disc in (1, 2, 3, 4))), "ground")
    whole = rows["discs_used"].sum()
    assert whole == pytest.approx(4)
    assert 20 * FACE_M2 / rows["discs_used"][0] == pytest.approx(rows["m3_per_disc"][0])
    assert rows["m3_per_mm"][:2] == pytest.approx(30 * FACE_M2 / 40)


@pytest.mark.parametrize(
    ("machine", "limit_km", "source"),
    [
        ({"disc_life_km": 50.0}, 50.0, "drive.toml"),
        ({"disc_wear_limit_mm": 20.0}, None, "drive.toml, 20 mm, at the wear of 4 discs"),
        ({}, 2 * np.pi * 2 * 1250 / 1000, "usual, 4 discs of all positions"),
    ],
)
def test_what_is_due_next_and_where_its_limit_is_from(
    machine: dict[str, object], limit_km: float | None, source: str
) -> None:
    rows = disc_table(drive(*((AT[1], disc, 10.0) for disc in (1, 2, 3, 4)), **machine))
    if limit_km is None:
        limit_km = 20 / (40 / (2 * np.pi * sum(RADII) * 1250 / 1000))
    elif not machine:  # product limit over 4 ended lives and 4 still in, by way
        ways = sorted([(r * 10, True) for r in RADII] + [(r * 25, False) for r in RADII])
        assert ways[0][1]
        limit_km = float(rows["limit_km"][0])
        assert limit_km in [pytest.approx(2 * np.pi * r * 1250 / 1000) for r in RADII]
    assert rows["limit_km"] == pytest.approx(limit_km)
    assert set(rows["limit_source"]) == {source}
    assert rows["due"].tolist() == [4, 3, 2, 1]
    way_m = 2 * np.pi * 3 * 125 / 1000
    assert rows["left_m"][3] == pytest.approx((limit_km - 25 * way_m) / way_m)


def test_without_radii_or_head_speed_what_depends_on_them_is_missing() -> None:
    rows = disc_table(drive((AT[1], 4, 10.0), disc_radii_m=()))
    assert np.isnan(rows["rolling_km"]).all()
    assert rows["revolutions"][3] == pytest.approx(125 * 25)
    blind = drive((AT[1], 4, 10.0))
    blind = drive_of(blind.setup, without(blind.cells, "revolutions", "turned"), stated=blind.stated)
    rows = disc_table(blind)
    assert np.isnan(rows["revolutions"]).all()
    assert rows["advance_m"][3] == pytest.approx(25)
    assert any("not known" in line for line in disc_says(blind))


def test_changes_after_the_record_and_twice_stated_are_told() -> None:
    said = "\n".join(disc_says(drive((AT[1], 4, 10.0), (AT[1], 4, 10.0), (AT[3], 2, 9.0))))
    assert "1 changes lie after the record" in said
    assert "1 changes are stated twice" in said
    assert "as if it was new then" in said


def test_gauge_speed_against_its_limit() -> None:
    """6 rpm at 3 m: 113.1 m/min (derived)."""
    said = "\n".join(disc_says(drive(gauge_speed_limit_m_min=110.0)))
    assert "gauge speed: 113 m/min" in said
    assert "over the limit of 110 m/min, 5.84 rpm, for 100.0% of it" in said
    assert "for 0.0% of it" in "\n".join(disc_says(drive(gauge_speed_limit_m_min=120.0)))
    assert "no limit is given" in "\n".join(disc_says(drive()))


def test_a_drive_without_boring_has_rows_without_figures() -> None:
    empty = drive()
    rows = disc_table(drive_of(empty.setup, empty.cells.rows(slice(0, 0))))
    assert rows["advance_m"].tolist() == [0, 0, 0, 0]
    assert np.isnan(rows["due"]).all()


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = new_drive(tmp_path / "east").folder
    add(folder, [small_log(tmp_path / "a.csv", range(-600, 600))])
    file, when = tmp_path / "changes.csv", datetime(2030, 5, 2, tzinfo=UTC)
    stamps = [f"{when + timedelta(seconds=s):%Y-%m-%d %H:%M:%S}" for s in (-700, 0)]
    file.write_text(f"Time (UTC),Disc,Reason,Wear [mm]\n{stamps[0]},all,new,\n{stamps[1]},40-42,worn,15\n")
    assert main(["discs", str(folder), str(file)]) == 0
    assert main(["discs", str(folder), str(file)]) == 0
    assert "nothing changed" in capsys.readouterr().out
    assert main(["discs", str(folder)]) == 0
    assert "rolling distances are missing" in capsys.readouterr().out
    out = tmp_path / "discs.csv"
    assert main(["discs", str(folder), "--by", "change", "--out", str(out)]) == 0
    rows = list(csv.DictReader(out.read_text("utf-8").splitlines()))
    assert [row["disc"] for row in rows] == ["40", "41", "42"]
    assert rows[0]["installed_utc"] == f"{when - timedelta(seconds=700):%Y-%m-%dT%H:%M:%SZ}"
    assert main(["discs", str(folder), "--name", "week"]) == 2
    assert main(["discs", str(folder), "--ground", "predicted"]) == 2
    assert main(["discs", str(folder), str(file), "--ground", "mapped"]) == 2
    assert main(["discs", str(folder), str(file), "--by", "disc"]) == 2
    assert main(["discs", str(folder), str(tmp_path / "none.csv")]) == 1


def test_the_command_names_the_ground_that_it_is_by(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = new_drive(tmp_path / "east").folder
    add(folder, [small_log(tmp_path / "a.csv", range(-600, 600))])
    rock = tmp_path / "rock.csv"
    rock.write_text("from,to,rock\n4170,4190,gneiss\n")
    for words in (["mapped"], ["predicted", "--name", "tender", "--issued", "2030-01-31"]):
        assert main(["ground", str(folder), str(rock), "--as", *words]) == 0
    by_ground = ["discs", str(folder), "--by", "ground"]
    assert main(by_ground) == 0
    assert "by mapped ground 'rock', without a date of issue" in capsys.readouterr().out
    out = tmp_path / "discs.csv"
    assert main([*by_ground, "--ground", "predicted", "--name", "tender", "--out", str(out)]) == 0
    assert "by predicted ground 'tender', issued 2030-01-31" in capsys.readouterr().out
    (row,) = csv.DictReader(out.read_text("utf-8").splitlines())
    assert (row["ground"], row["ground_name"], row["ground_issued"]) == ("gneiss", "tender", "2030-01-31")
    assert main([*by_ground, "--ground", "predicted", "--name", "nobody"]) == 1
    assert "no predicted ground named 'nobody'; there is 'tender'" in capsys.readouterr().err
