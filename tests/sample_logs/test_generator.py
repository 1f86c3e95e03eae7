"""The sample generator: physics that hold together, a truth that follows from them, the committed files."""

import io
import tomllib
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from tbmreview.domain.setup import read_setup
from tests.support.samplegen import generator, make_drive, simulate

SAMPLES = Path(__file__).parents[2] / "sample_logs"
BORING, TURNING_FREE, REGRIP = 2, 3, 5
FREE_ADVANCE = 2
MAIN, AUX = 1, 2
GRIPPERS, RING, MIXED = 1, 2, 3
MEGABYTE = 1_000_000


@pytest.fixture(scope="module")
def drive() -> tuple[Any, pd.DataFrame]:
    """(truth, log) of three days."""
    return simulate(101, days=3)


@pytest.fixture(scope="module")
def sample() -> tuple[Any, pd.DataFrame]:
    """(truth, log) of the committed drive, made anew."""
    return simulate(22, days=10)


def test_a_seed_gives_the_same_drive_and_another_seed_another() -> None:
    truth, log = simulate(5, days=0.4)
    again, same = simulate(5, days=0.4)
    pd.testing.assert_frame_equal(log, same)
    pd.testing.assert_frame_equal(truth.strokes, again.strokes)
    assert not log["torque_kNm"].equals(simulate(6, days=0.4)[1]["torque_kNm"])


# -- physics of the log


def test_power_is_two_pi_n_torque(drive: tuple[Any, pd.DataFrame]) -> None:
    log = drive[1]
    log = log[(log["rpm"] > 1) & (log["torque_kNm"] > 300)]
    ratio = 2 * np.pi * log["rpm"] / 60 * log["torque_kNm"] / log["power_kW"]
    assert ratio.median() == pytest.approx(0.997, abs=0.001)
    assert ratio.between(0.98, 1.015).all()


def test_thrust_is_area_times_pressure(drive: tuple[Any, pd.DataFrame]) -> None:
    truth, log = drive
    for key, area in (
        ("main", truth.options.machine.main_area_m2),
        ("aux", truth.options.machine.aux_area_m2),
    ):
        assert np.abs(log[f"{key}_kN"] - 100 * area * log[f"{key}_bar"]).max() <= 0.51


def test_advance_speed_is_penetration_times_head_speed(drive: tuple[Any, pd.DataFrame]) -> None:
    log = drive[1]
    log = log[(log["rpm"] > 1) & (log["speed"] > 0)]
    bound = 0.006 * log["rpm"] + 0.006 * log["penetration"] + 0.06
    assert (np.abs(log["speed"] - log["penetration"] * log["rpm"]) <= bound).all()


def test_logged_strokes_step_by_the_logged_speed(drive: tuple[Any, pd.DataFrame]) -> None:
    truth, log = drive
    boring = (truth.seconds["state"] == BORING) & (truth.seconds["pushing_set"] == MAIN)
    for _, rows in log[boring].groupby(truth.seconds["stroke"][boring]):
        run = rows[rows.index < rows.index[0] + pd.Timedelta(seconds=len(rows))]
        if len(run) < 600 or (run.index[-1] - run.index[0]).total_seconds() != len(run) - 1:
            continue
        travelled = (run["speed"].iloc[:-1] / 60).sum()
        assert travelled == pytest.approx(
            run["main_mm"].iloc[-1] - run["main_mm"].iloc[0], rel=0.003, abs=1.0
        )


# -- how the machine moves


def test_the_head_is_where_the_rear_shield_and_the_mains_put_it(drive: tuple[Any, pd.DataFrame]) -> None:
    s = drive[0].seconds
    np.testing.assert_allclose(s["head_m"], s["rear_m"] + s["main_m"], atol=1e-9)
    np.testing.assert_allclose(s["position_m"], np.maximum.accumulate(s["head_m"]), atol=1e-9)


def test_nothing_is_bored_twice(drive: tuple[Any, pd.DataFrame]) -> None:
    s = drive[0].seconds
    boring = s["state"] == BORING
    np.testing.assert_allclose(s["head_m"][boring], s["position_m"][boring], atol=1e-9)
    assert (s["face_mm_s"][~boring] == 0).all()
    free = s[s["phase"] == FREE_ADVANCE]
    assert len(free) > 100
    assert (free["head_m"] < free["position_m"]).all()


def test_free_advance_needs_drag_and_no_load_torque_only(drive: tuple[Any, pd.DataFrame]) -> None:
    s = drive[0].seconds
    free = s[(s["phase"] == FREE_ADVANCE) & (s["reaction"] == GRIPPERS)]
    force = free.groupby("stroke")["main_kN"].median()
    assert force.between(780, 1530).all()
    ratio = (free["torque_kNm"] / free["no_load_kNm"]).groupby(free["stroke"]).mean()
    assert ratio.between(0.92, 1.08).all()


def test_a_regrip_moves_the_rear_shield_and_not_the_head(drive: tuple[Any, pd.DataFrame]) -> None:
    s = drive[0].seconds
    regrip = s["state"] == REGRIP
    run = (regrip != regrip.shift()).cumsum()[regrip]
    drawn_m = []
    for _, rows in s[regrip].groupby(run):
        closed = rows["main_m"].iloc[0] - rows["main_m"].iloc[-1]
        opened = rows["aux_m"].iloc[-1] - rows["aux_m"].iloc[0]
        assert 180 <= len(rows) <= 360
        assert 90 <= (rows["main_mm_s"] < 0).sum() <= 180
        assert closed > 1.3
        assert rows["head_m"].iloc[-1] - rows["head_m"].iloc[0] == pytest.approx(opened - closed, abs=1e-9)
        drawn_m.append(closed - opened)
    assert min(drawn_m) > -1e-9
    assert 0.008 < max(drawn_m) < 0.045  # in some the head comes back a little


def test_braced_boring_leaves_the_rear_shield_still(drive: tuple[Any, pd.DataFrame]) -> None:
    truth, log = drive
    s = truth.seconds
    braced = (s["state"] == BORING) & (s["reaction"] == GRIPPERS)
    assert (s["rear_mm_s"][braced] == 0).all()
    quiet = braced & ~s["ring_building"] & ~s["ring_building"].shift(fill_value=False)
    assert log["aux_mm"][quiet].groupby(s["stroke"][quiet]).std().max() < 0.3
    assert log["aux_kN"][braced].quantile(0.05) > 1000
    assert log["aux_kN"][braced].max() < 1700


def test_a_ring_takes_its_length_off_the_auxiliaries_in_steps(drive: tuple[Any, pd.DataFrame]) -> None:
    s = drive[0].seconds
    building = s["ring_building"] & (s["rear_mm_s"] == 0)
    per_ring = s["aux_m"].diff().shift(-1).fillna(0)[building].groupby(s["ring"][building]).sum()
    whole = s.groupby("ring")["ring_building"].sum()
    done = whole.index[(whole >= 25 * 60) & (whole <= 40 * 60)][1:-1]
    assert len(done) > 20
    assert per_ring[done].between(-1.51, -1.49).mean() > 0.9
    assert s["aux_m"].between(0, 2.0).all()
    assert s["main_m"].between(0, 1.6).all()


def test_on_the_ring_the_mains_are_closed_and_the_auxiliaries_push(drive: tuple[Any, pd.DataFrame]) -> None:
    s = drive[0].seconds
    rows = s[(s["state"] == BORING) & (s["reaction"] == RING)]
    assert len(rows) > 1000
    assert (rows["main_m"] < 0.005).all()
    assert (rows["rear_mm_s"] == rows["face_mm_s"]).all()
    assert not rows["ring_building"].any()


def test_in_a_slip_the_mains_extend_and_the_face_stands(drive: tuple[Any, pd.DataFrame]) -> None:
    s = drive[0].seconds
    slip = s[s["reaction"] == MIXED]
    assert len(slip) >= 60
    assert (slip["main_mm_s"] > 0).all()
    assert (slip["rear_mm_s"] == -slip["main_mm_s"]).all()
    assert np.ptp(slip["head_m"]) < 1e-9


@pytest.mark.parametrize("seed", [201, 202, 203])
def test_two_days_hold_every_kind_of_event(seed: int) -> None:
    truth, _ = simulate(seed, days=2)
    strokes = truth.strokes
    assert {"main", "auxiliary"} == set(strokes["pushing_set"])
    assert (strokes["reaction"] == "ring").sum() >= 4
    assert {"grippers", "head", "maintenance", "probing"} <= set(truth.delays["code"])
    s = truth.seconds
    runs = s[s["state"] == BORING].groupby("stroke").size()
    span = (
        s[s["state"] == BORING].groupby("stroke").apply(lambda g: (g.index[-1] - g.index[0]).total_seconds())
    )
    assert (span - runs > 100).sum() >= 3  # interrupted and gone on
    assert (s["position_m"] - s["head_m"]).max() > 0.18  # drawn back within a stroke


# -- truth


def test_truth_sums_agree_with_the_seconds(drive: tuple[Any, pd.DataFrame]) -> None:
    truth = drive[0]
    s, strokes = truth.seconds, truth.strokes
    end_m = s["position_m"].iloc[-1] + s["face_mm_s"].iloc[-1] / 1000
    assert strokes["advance_m"].sum() == pytest.approx(end_m, abs=1e-9)
    assert strokes["boring_s"].sum() == (s["state"] == BORING).sum()
    assert truth.periods["seconds"].sum() == len(s)
    assert truth.daily["advance_m"].sum() == pytest.approx(end_m)
    assert truth.daily.filter(regex=" h$").sum(axis=1).tolist() == pytest.approx([24.0] * 3)
    assert truth.delays["end_utc"].gt(truth.delays["start_utc"]).all()


def test_a_stroke_is_what_its_seconds_say(drive: tuple[Any, pd.DataFrame]) -> None:
    truth = drive[0]
    machine = truth.options.machine
    for number in (2, 9, int(truth.strokes["stroke"][truth.strokes["pushing_set"] == "auxiliary"].iloc[1])):
        row = truth.strokes.set_index("stroke").loc[number]
        s = truth.seconds
        b = s[(s["stroke"] == number) & (s["state"] == BORING)]
        force = b["aux_kN"] if row["pushing_set"] == "auxiliary" else b["main_kN"]
        energy_kJ = sum(
            f * v / 1000 + 2 * np.pi * n / 60 * t
            for f, v, n, t in zip(force, b["face_mm_s"], b["rpm"], b["torque_kNm"], strict=True)
        )
        advance_m, revolutions = b["face_mm_s"].sum() / 1000, b["rpm"].sum() / 60
        volume_m3 = np.pi / 4 * 6.4**2 * advance_m
        penetration_mm = 1000 * advance_m / revolutions
        assert row["specific_energy_MJ_m3"] == pytest.approx(energy_kJ / 1000 / volume_m3, rel=1e-9)
        assert row["fpi_kN_per_mm_rev"] == pytest.approx(
            force.mean() / machine.discs / penetration_mm, rel=1e-9
        )
        net_kN = (force - b["drag_kN"]).mean()
        assert row["net_fpi_kN_per_mm_rev"] == pytest.approx(
            net_kN / machine.discs / penetration_mm, rel=1e-9
        )


def test_a_perfect_reader_of_the_log_is_near_the_truth(drive: tuple[Any, pd.DataFrame]) -> None:
    truth, log = drive
    s = truth.seconds
    b = log[s["state"] == BORING].assign(stroke=s["stroke"], set=s["pushing_set"])
    force = b["main_kN"].where(b["set"] == MAIN, b["aux_kN"])
    advance_m = b["speed"] / 60_000
    sums = pd.DataFrame({
        "advance": advance_m, "energy": force * advance_m + 2 * np.pi / 60 * b["rpm"] * b["torque_kNm"],
        "revolutions": b["rpm"] / 60, "force": force, "s": 1.0, "stroke": b["stroke"],
    }).groupby("stroke").sum()  # fmt: skip
    strokes = truth.strokes.set_index("stroke")
    energy = sums["energy"] / 1000 / (np.pi / 4 * 6.4**2 * sums["advance"])
    index = sums["force"] / sums["s"] / 42 / (1000 * sums["advance"] / sums["revolutions"])
    assert np.abs(sums["advance"] / strokes["advance_m"] - 1).max() < 0.003
    assert np.abs(energy / strokes["specific_energy_MJ_m3"] - 1).max() < 0.005
    assert np.abs(index / strokes["fpi_kN_per_mm_rev"] - 1).max() < 0.005
    assert sums["advance"].sum() == pytest.approx(strokes["advance_m"].sum(), rel=0.0006)


# -- figures of the trade


def test_figures_of_each_ground_are_in_their_range(sample: tuple[Any, pd.DataFrame]) -> None:
    generator()
    from larkfell_generator.figures import COLUMNS, EXPECTED, by_ground  # type: ignore[import-not-found]

    strokes = by_ground(sample[0])
    strokes = strokes[strokes["advance_m"] > 1.2]
    assert len(EXPECTED) == 6
    for rock, ranges in EXPECTED.items():
        rows = strokes[strokes["rock"] == rock]
        assert len(rows) >= 4, rock
        for name, (low, high) in zip(COLUMNS, ranges, strict=True):
            assert low <= rows[name].median() <= high, (rock, name)
            assert rows[name].between(low, high).mean() >= 0.9, (rock, name)


def test_noise_from_second_to_second_is_as_on_site(sample: tuple[Any, pd.DataFrame]) -> None:
    """Thrust 2-4 %, penetration 10-20 %, torque 5-12 % and 20-40 % in blocky ground (judgement, no source)."""
    truth, log = sample
    s = truth.seconds
    steady = (s["phase"] == 4) & (s["reaction"] == GRIPPERS)
    group = log[steady].groupby(s["stroke"][steady])
    spread = (
        group[["main_kN", "penetration", "torque_kNm"]].std()
        / group[["main_kN", "penetration", "torque_kNm"]].mean()
    )
    assert 0.019 < spread["main_kN"].median() < 0.04
    assert 0.10 < spread["penetration"].median() < 0.20
    assert 0.05 < spread["torque_kNm"].median() < 0.12
    crushed = truth.strokes["net_fpi_kN_per_mm_rev"].between(5, 10) & (
        truth.strokes["reaction"] == "grippers"
    )
    blocky = spread.loc[truth.strokes["stroke"][crushed], "torque_kNm"]
    assert len(blocky) >= 4
    assert 0.2 < blocky.median() < 0.4


def test_where_the_shield_is_held_gross_rises_and_net_falls(sample: tuple[Any, pd.DataFrame]) -> None:
    truth = sample[0]
    at = truth.strokes["position_from_m"]
    held, before = truth.strokes[at.between(207, 215)], truth.strokes[at.between(190, 203)]
    assert held["fpi_kN_per_mm_rev"].min() > 1.2 * before["fpi_kN_per_mm_rev"].max()
    assert held["net_fpi_kN_per_mm_rev"].max() < 0.6 * before["net_fpi_kN_per_mm_rev"].min()
    assert held["drag_kN"].between(6_000, 12_000).all()


def test_days_and_belt_are_as_on_site(sample: tuple[Any, pd.DataFrame]) -> None:
    truth, log = sample
    advance = truth.daily["advance_m"]
    assert 240 < advance.sum() < 260
    assert (advance > 27).sum() >= 5
    assert 3 <= advance.nsmallest(2).max() <= 10
    hours = truth.delays.query("code == 'maintenance'").eval("end_utc - start_utc").dt.total_seconds() / 3600
    assert hours.between(4, 6).all()
    mass = log["belt_t"].iloc[-1] - log["belt_t"].iloc[0]
    assert mass / advance.sum() * 1.5 == pytest.approx(131, abs=2)  # the crushed zone gives some more


# -- other machines and loggers


@pytest.mark.parametrize("kind", ["open gripper", "single shield"])
def test_other_kinds_of_machine(kind: str) -> None:
    truth, log = simulate(11, days=1.2, kind=kind)
    assert (truth.strokes["pushing_set"] == "main").all()
    assert set(truth.strokes["reaction"]) == {"ring" if kind == "single shield" else "grippers"}
    assert "aux_kN" not in log
    assert truth.strokes["advance_m"].iloc[:-1].between(1.46, 1.54).all()
    advancing = truth.seconds["state"] == BORING
    moved = log["main_mm"].diff().shift(-1)[advancing].groupby(truth.seconds["stroke"][advancing]).sum()
    np.testing.assert_allclose(moved / 1000, truth.strokes["advance_m"], rtol=0.02)
    low, high = (2400, 12_500) if kind == "single shield" else (800, 1500)
    assert truth.strokes["drag_kN"].between(low, high).all()


def test_a_falling_chainage_a_slow_logger_and_lost_stretches() -> None:
    truth, log = simulate(
        12, days=1, direction=-1, sample_s=10, without=("aux_mm", "ring"), gaps=(120, 3), misclosure=0.015,
        stroke_noise_mm=2.0,
    )  # fmt: skip
    steps = np.diff(log.index.to_numpy()) / np.timedelta64(1, "s")
    assert np.median(steps) == 10
    assert steps.max() >= 120
    assert not {"aux_mm", "ring"} & set(log)
    s = truth.seconds
    assert (~s["recorded"]).sum() == 360
    assert truth.periods.query("state == 'no record'")["seconds"].sum() == 360
    fall = log["chainage"].iloc[0] - log["chainage"].iloc[-1]
    assert fall == pytest.approx(s["head_m"].iloc[-1] - s["head_m"].iloc[0], abs=0.02)
    still = log["main_mm"][s["main_mm_s"].rolling(10).sum() == 0].diff().dropna()
    assert still[still.abs() < 20].std() == pytest.approx(2 * np.sqrt(2), rel=0.1)
    assert truth.ground["chainage_from_m"].is_monotonic_decreasing


@pytest.mark.parametrize("kind", ["open gripper", "single shield", "double shield"])
def test_the_setup_is_one_that_the_program_takes(kind: str, tmp_path: Path) -> None:
    truth = make_drive(tmp_path, 3, days=0.1, kind=kind, direction=-1)
    setup = read_setup(tomllib.loads(truth.setup.read_text("utf-8")), "drive.toml")
    assert setup.machine.kind == kind
    assert setup.drive.chainage_direction == "decreasing"
    assert [path.suffix for path in truth.files] == [".parquet"]


# -- the committed files


def test_the_committed_sample_is_small_and_of_this_generator(sample: tuple[Any, pd.DataFrame]) -> None:
    files = [path for path in SAMPLES.rglob("*") if path.is_file() and "__pycache__" not in path.parts]
    assert sum(path.stat().st_size for path in files) < 25 * MEGABYTE
    assert len(list((SAMPLES / "logs").iterdir())) == 10
    committed = pd.read_csv(SAMPLES / "truth" / "strokes.csv", parse_dates=["start_utc", "end_utc"])
    made = sample[0].strokes
    assert len(committed) == len(made)
    for name in ("advance_m", "specific_energy_MJ_m3", "net_fpi_kN_per_mm_rev", "drag_kN"):
        np.testing.assert_allclose(committed[name], made[name], rtol=1e-6)
    assert (committed["start_utc"] == made["start_utc"]).all()


def test_the_committed_days_hold_the_log(sample: tuple[Any, pd.DataFrame]) -> None:
    log = sample[1]
    first = pd.read_parquet(SAMPLES / "logs" / "larkfell_2031-02-03.parquet")
    assert first["Time (UTC)"].iloc[0] == pd.Timestamp("2031-02-03T05:00Z")
    np.testing.assert_allclose(first["Cutterhead torque [kNm]"], log["torque_kNm"].iloc[:86_400])
    text = _text("larkfell_2031-02-05", "cp1252")
    german = pd.read_csv(io.StringIO(text), sep=";", decimal=",", nrows=5000)
    assert "Längsneigung [mm/m]" in german
    assert german["Datum"].iloc[0] == "05.02.2031"
    assert german["Uhrzeit"].iloc[0] == "06:00:00"
    np.testing.assert_allclose(
        german["Hub Hauptzylinder [mm]"], log["main_mm"].iloc[2 * 86_400 : 2 * 86_400 + 5000], atol=1e-9
    )


def test_the_spoilt_day_holds_the_defects_that_are_listed() -> None:
    lines = _text("larkfell_2031-02-10", "utf-8").rstrip("\n").split("\n")
    header, rows = lines[0].split(","), [line.split(",") for line in lines[1:]]
    listed = pd.read_csv(SAMPLES / "truth" / "defects.csv").groupby("kind")["rows"].sum()
    torn = [row for row in rows if len(row) != len(header)]
    whole = [row for row in rows if len(row) == len(header)]
    table = pd.DataFrame(whole, columns=header)
    stamps = pd.to_datetime(table["Time (UTC)"])
    assert len(torn) == listed["torn row"]
    assert (stamps.dt.year == 1970).sum() == listed["never stamp"]
    assert table.duplicated().sum() == listed["duplicate"]
    assert (table["Cutterhead torque [kNm]"] == "-9999").sum() == listed["sentinel"]
    assert (table["Aux. cylinder pressure [bar]"] == "").sum() == listed["empty"]
    assert (table["Penetration [mm/rev]"] == "inf").sum() == listed["infinite"]
    lost = listed[["gap", "hole", "never stamp", "torn row"]].sum()
    assert stamps[stamps.dt.year > 1970].nunique() == 86_400 - lost
    assert (
        stamps[stamps.dt.year > 1970].diff().dt.total_seconds() < 0
    ).sum() == 2  # out of order; written twice


def _text(name: str, encoding: str) -> str:
    with zipfile.ZipFile(SAMPLES / "logs" / f"{name}.zip") as archive:
        return archive.read(f"{name}.csv").decode(encoding)
