"""Reducing a drive day by day: order does not matter, what holds is reused, nothing must be writable."""

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from support.motion_signals import MemoryDrive, samples_of, setup_of
from support.samplegen import simulate
from support.sketch import Sketch, sketch_setup

from tbmreview.domain.samples import DAY_US, Samples
from tbmreview.domain.setup import Setup
from tbmreview.domain.states import State
from tbmreview.drive.reduce import NAMES, Reduced, reduced, settings_read
from tbmreview.motion.carry import Carry
from tbmreview.motion.reduce import reduce_window

DAYS = 2.6


@pytest.fixture(scope="module")
def made() -> tuple[Setup, Samples]:
    truth, log = simulate(51, DAYS, sample_s=5)  # enough to see every stroke
    return setup_of(truth.options), samples_of(log)


@pytest.fixture
def drive(tmp_path: Path, made: tuple[Setup, Samples]) -> MemoryDrive:
    return MemoryDrive(tmp_path / "drive", *made)


@pytest.fixture(scope="module")
def expected(made: tuple[Setup, Samples], tmp_path_factory: pytest.TempPathFactory) -> Reduced:
    return reduced(MemoryDrive(tmp_path_factory.mktemp("once") / "drive", *made))


def same(ours: Reduced, theirs: Reduced) -> None:
    for name in NAMES:
        one, other = getattr(ours, name), getattr(theirs, name)
        assert len(one) == len(other), name
        for column in one:
            assert np.array_equal(one[column], other[column], equal_nan=one[column].dtype.kind == "f"), (
                name,
                column,
            )


def test_days_added_one_by_one_in_any_order_give_the_same(drive: MemoryDrive, expected: Reduced) -> None:
    days = drive.every_day()
    order = [days[i] for i in np.random.default_rng(3).permutation(len(days))]
    assert order != sorted(order)
    for count in range(1, len(order) + 1):
        ours = reduced(drive.keep(order[:count]))
    same(ours, expected)


def test_a_late_day_gives_the_same_and_leaves_the_days_before_it_alone(
    drive: MemoryDrive, expected: Reduced
) -> None:
    days = drive.every_day()
    reduced(drive.keep(d for d in days if d != days[2]))
    drive.read.clear()
    same(reduced(drive.keep(days)), expected)
    assert min(drive.read) == days[2]


def test_a_corrected_day_rebuilds_until_the_carry_repeats(
    tmp_path: Path, made: tuple[Setup, Samples]
) -> None:
    setup, samples = made
    drive = MemoryDrive(tmp_path / "drive", setup, samples)
    before = reduced(drive)
    days = drive.every_day()
    thrust = samples.values["main_thrust_kN"].copy()
    thrust[np.searchsorted(samples.time_us, days[1] * DAY_US) + np.arange(12_000)] *= 1.1
    drive.all = Samples(samples.time_us, {**samples.values, "main_thrust_kN": thrust})
    drive.read.clear()
    after = reduced(drive)
    assert set(drive.read) == {days[1], days[2]}  # the window of the day after may begin in the corrected one
    fresh = reduced(MemoryDrive(tmp_path / "fresh", setup, drive.all))
    same(after, fresh)
    assert after.cells["thrust_work_kJ"].sum() > before.cells["thrust_work_kJ"].sum()


def test_days_that_are_gone_leave_nothing_behind(drive: MemoryDrive, tmp_path: Path) -> None:
    days = drive.every_day()
    reduced(drive)
    fewer = MemoryDrive(tmp_path / "fewer", drive.setup, drive.all).keep(days[:-1])
    same(reduced(drive.keep(days[:-1])), reduced(fewer))


def test_what_holds_is_not_computed_again(drive: MemoryDrive, expected: Reduced) -> None:
    reduced(drive)
    drive.read.clear()
    same(reduced(drive), expected)
    assert drive.read == []


def test_days_meet_without_a_seam(expected: Reduced, made: tuple[Setup, Samples]) -> None:
    """No stroke is lost or doubled where days meet; states are those of one window over all days."""
    periods, cells, rings = expected.periods, expected.cells, expected.rings
    assert periods["start_us"][1:].tolist() == periods["end_us"][:-1].tolist()
    total = cells["advance_m"].sum()
    assert expected.strokes["advance_m"].sum() == pytest.approx(total, abs=1e-9)
    assert periods["advance_m"].sum() == pytest.approx(total, abs=1e-9)
    assert (rings["position_to_m"] - rings["position_from_m"]).sum() == pytest.approx(total, abs=1e-9)
    starts = expected.strokes["stroke_start_us"]
    assert len(np.unique(starts)) == len(starts)
    assert set(cells["stroke_start_us"]) == set(starts)
    once = reduce_window(made[1], Carry(), made[0])
    assert np.array_equal(once.strokes["stroke_start_us"], starts)
    assert once.cells["advance_m"].sum() == pytest.approx(total, abs=1e-6)
    for state in State:
        ours, theirs = (
            (t["end_us"] - t["start_us"])[t["state"] == state].sum() / 1e6 for t in (periods, once.periods)
        )
        assert ours == pytest.approx(theirs, abs=10), state


def test_a_ring_that_ends_where_the_next_day_starts_from_is_kept(tmp_path: Path) -> None:
    sketch = Sketch().add(60).turn(60).bore(1500).turn(20).add(120).regrip(1500).turn(60).bore(1200).turn(60)
    samples, setup = sketch.samples(), sketch_setup("double shield")
    resume_us = reduced(MemoryDrive(tmp_path / "one", setup, samples)).strokes["stroke_start_us"][1]
    ring = np.where(samples.time_us >= resume_us, 8.0, 7.0)
    samples = Samples(samples.time_us, {**samples.values, "ring_number": ring})
    drive = MemoryDrive(tmp_path / "two", setup, samples)
    assert len(drive.every_day()) == 2
    rings = reduced(drive).rings
    assert rings["ring"].tolist() == [7, 8]
    assert rings["end_us"][0] == rings["start_us"][1] == resume_us


@pytest.mark.parametrize(
    ("section", "change", "rebuilds"),
    [
        ("drive", {"name": "another name"}, False),
        ("machine", {"drag_kN": 1500.0}, False),
        ("machine", {"disc_count": 50}, False),
        ("machine", {"bore_diameter_m": 7.0}, False),
        ("machine", {"stroke_length_m": 1.5}, True),
        ("motion", {"gap_intervals": 4.0}, True),
        ("shifts", {"start": ("07:00", "15:00", "23:00")}, True),
    ],
)
def test_only_settings_that_are_read_rebuild(
    tmp_path: Path, made: tuple[Setup, Samples], section: str, change: dict[str, object], rebuilds: bool
) -> None:
    setup, _ = made
    part = replace(getattr(setup, section), **change)
    assert (settings_read(replace(setup, **{section: part})) != settings_read(setup)) is rebuilds


def test_another_drag_is_applied_without_rebuilding(tmp_path: Path) -> None:
    log = Sketch().add(60).turn(60).bore(800).turn(20)  # shows no drag
    setup = sketch_setup("open gripper", drag_kN=1100.0)
    drive = MemoryDrive(tmp_path / "drive", setup, log.samples())
    assert reduced(drive).strokes["drag_kN"].tolist() == [1100.0]
    assert reduced(drive).strokes["drag_source"].tolist() == ["setup"]
    drive.read.clear()
    drive.setup = sketch_setup("open gripper", drag_kN=1300.0)
    assert reduced(drive).strokes["drag_kN"].tolist() == [1300.0]
    assert drive.read == []


def test_a_folder_that_cannot_be_written_still_gives_results(drive: MemoryDrive, expected: Reduced) -> None:
    (drive.folder / "derived").write_text("in the way: no folder can be made here")
    same(reduced(drive), expected)
    assert os.listdir(drive.folder) == ["derived"]


@pytest.mark.parametrize("name", NAMES[::4])
def test_a_kept_file_that_is_gone_or_of_another_reduction_is_made_again(
    drive: MemoryDrive, expected: Reduced, name: str
) -> None:
    days = drive.every_day()
    reduced(drive.keep(days[:2]))
    file = drive.folder / "derived" / f"{name}.arrow"
    old = file.read_bytes()
    same(reduced(drive.keep(days)), expected)
    file.write_bytes(old)
    same(reduced(drive), expected)
    file.unlink()
    same(reduced(drive), expected)


def test_a_drive_without_samples(tmp_path: Path, made: tuple[Setup, Samples]) -> None:
    drive = MemoryDrive(tmp_path / "drive", made[0], Samples(np.empty(0, np.int64), {}))
    result = reduced(drive)
    assert all(len(getattr(result, name)) == 0 for name in NAMES)


def test_a_long_stop_within_a_stroke_does_not_make_windows_grow(tmp_path: Path) -> None:
    sketch = Sketch().add(60).turn(60).bore(700).turn(20)
    stop_s = 5 * 86_400
    samples = sketch.samples()
    after = Sketch(main_mm=740.0, head_mm=700.0).turn(60).bore(600).turn(20).add(60).samples()
    still = Sketch(main_mm=740.0, head_mm=700.0).add(1).samples()
    start = int(samples.time_us[-1]) + 1_000_000
    time_us = [samples.time_us, start + 10_000_000 * np.arange(stop_s // 10)]
    time_us.append(start + stop_s * 1_000_000 + after.time_us - after.time_us[0])
    values = {
        n: np.concatenate([samples.values[n], np.repeat(still.values[n], stop_s // 10), after.values[n]])
        for n in samples.values
    }
    setup = replace(
        sketch_setup("open gripper"), motion=replace(sketch_setup("open gripper").motion, gap_intervals=12)
    )
    drive = MemoryDrive(tmp_path / "drive", setup, Samples(np.concatenate(time_us), values))
    result = reduced(drive)
    assert 1000 * result.strokes["advance_m"] == pytest.approx([1300], abs=2.5)
    assert result.periods["start_us"][1:].tolist() == result.periods["end_us"][:-1].tolist()
    assert max(drive.rows_read) < 86_400 / 10 + 8000
