"""Penetration tests: found in a record, stated, refused in words, kept, and known when the record changed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tbmreview.domain.errors import DriveError, FitError, UsageError
from tbmreview.domain.samples import Samples
from tbmreview.drive import penetration_tests as tests
from tbmreview.drive.fits import keep as keep_fit
from tbmreview.drive.fits_text import AS_KEPT, CHANGED
from tbmreview.drive.opened import open_drive
from tbmreview.drive.penetration_text import all_tests, loads_table, table_of, text_of, text_of_all
from tbmreview.store.fits import KeptFit
from tests.support.cells import TableDrive
from tests.support.sketch import DRAG_KN, Sketch, reduced_sketch, sketch_setup
from tests.support.small_drive import new_drive

DISCS, SLOPE, CRITICAL_KN = 42, 2.0, 100.0
LOADS = (180.0, 210.0, 240.0, 160.0)
ZONE = ZoneInfo("Europe/Oslo")


@dataclass(frozen=True)
class SampledDrive(TableDrive):
    """A drive of tables with the samples they were made of, and kept tests."""

    logged: Samples | None = None
    kept: tuple[KeptFit, ...] = ()

    def samples(self, start_us: int, end_us: int, channels: Sequence[str] | None = None) -> Samples:
        assert self.logged is not None
        return self.logged.between(start_us, end_us)

    def kept_tests(self) -> tuple[KeptFit, ...]:
        return self.kept


def hold(sketch: Sketch, seconds: int, load_kN: float, rpm: float = 6.0) -> None:
    """A net disc load held, penetration by the law of SLOPE and CRITICAL_KN."""
    rate = (load_kN / CRITICAL_KN) ** SLOPE * rpm / 60
    sketch.add(
        seconds, main=rate, head=rate, head_speed_rpm=rpm, torque_kNm=1200.0,
        main_thrust_kN=DISCS * load_kN + DRAG_KN, advance_speed_mm_min=60 * rate,
    )  # fmt: skip


@cache
def drive(loads: tuple[float, ...] = LOADS, rpm: tuple[float, ...] = (6.0,) * 4) -> SampledDrive:
    """A stroke of normal boring at 200 kN with a test in it, thrust scattering by 1 %."""
    sketch = Sketch().turn(60).approach(40)
    hold(sketch, 600, 200.0)
    for load, speed in zip(loads, rpm, strict=True):
        hold(sketch, 150, load, speed)
    hold(sketch, 420, 200.0)
    sketch.regrip(1200)
    rng = np.random.default_rng(2)
    thrust = np.array(sketch.columns["main_thrust_kN"])
    sketch.columns["main_thrust_kN"] = (thrust * (1 + 0.01 * rng.standard_normal(len(thrust)))).tolist()
    setup = sketch_setup("double shield", drag_kN=DRAG_KN)
    made = reduced_sketch(sketch, "double shield", noise_mm=0.5)
    logged = sketch.samples(noise_mm=0.5)
    return SampledDrive(setup, made.cells, made.strokes, periods=made.periods, logged=logged)


def test_a_test_is_found_in_the_record_with_its_law() -> None:
    (one,) = tests.found(drive())
    np.testing.assert_allclose(one.loads["net_disc_load_kN"], [200, *LOADS, 200], rtol=0.01)
    np.testing.assert_allclose(
        one.loads["penetration_mm_rev"], (one.loads["net_disc_load_kN"] / CRITICAL_KN) ** SLOPE, rtol=0.03
    )
    assert one.curve is not None
    assert one.curve.slope == pytest.approx(SLOPE, rel=0.03)
    assert one.curve.critical_load_kN == pytest.approx(CRITICAL_KN, rel=0.03)
    assert one.curve.slope_low < SLOPE < one.curve.slope_high
    assert one.robust is not None
    assert np.all(np.diff(one.loads["chainage_from_m"]) > 0.02)
    again = tests.stated(drive(), one.start_us, one.end_us)
    np.testing.assert_allclose(again.load_kN, one.load_kN, rtol=0.005)


def test_normal_boring_has_none() -> None:
    assert tests.found(drive((200.0,) * 4)) == ()


def test_gross_holds_the_drag() -> None:
    (net,), (gross,) = tests.found(drive()), tests.found(drive(), gross=True)
    np.testing.assert_allclose(gross.load_kN - net.load_kN, DRAG_KN / DISCS, rtol=0.02)
    assert "the load holds drag" in text_of(gross, ZONE)


def at(one: SampledDrive, from_s: float, to_s: float) -> tuple[int, int]:
    """Seconds after the first sample of the record, as instants."""
    assert one.logged is not None
    start = int(one.logged.time_us[0])
    return start + round(from_s * 1e6), start + round(to_s * 1e6)


@pytest.mark.parametrize(
    ("of", "span_s", "says"),
    [
        (drive(), (700, 1000), r"[23] different loads were held; a penetration test has 4 or more"),
        (drive((200.0, 212.0, 224.5, 237.0)), (692, 1292), "the load hardly varies"),
        (drive(rpm=(6.0, 6.0, 5.0, 6.0)), (692, 1292), "the head speed did not hold, 5.00 to 6.00 rpm"),
    ],
    ids=["few", "narrow", "speed"],
)
def test_what_a_person_states_is_refused_where_it_is_no_test(
    of: SampledDrive, span_s: tuple[float, float], says: str
) -> None:
    with pytest.raises(FitError, match=says):
        tests.stated(of, *at(of, *span_s))


def test_a_time_without_boring_is_told() -> None:
    with pytest.raises(DriveError, match="nothing was bored in that time"):
        tests.stated(drive(), *at(drive(), 0, 50))


def test_a_kept_test_comes_back_as_it_was_and_knows_when_the_record_changed(tmp_path: Path) -> None:
    span = at(drive(), 692, 1292)
    one = tests.stated(drive(), *span, discs="gauge discs new")
    stored = new_drive(tmp_path / "drive")
    with pytest.raises(UsageError, match="state of its discs"):
        tests.keep(stored, replace(one, discs=" "), "May")
    tests.keep(stored, one, "May", "quiet shift")
    stored = open_drive(stored.folder)
    (kept,) = stored.kept_tests()
    assert stored.kept_fits() == ()
    assert (kept.name, kept.note, kept.fingerprint) == ("May", "quiet shift", one.fingerprint)
    back = tests.kept_test(kept)
    assert replace(back, loads=one.loads) == one
    for name in one.loads:
        np.testing.assert_array_equal(back.loads[name], one.loads[name])
    assert "penetration test" in {entry.what for entry in stored.history()}
    of = replace(drive(), kept=(kept,))
    ((name, _, state),) = all_tests(of, tests.found(of))
    assert (name, state) == ("May", AS_KEPT)
    assert "discs: gauge discs new" in text_of_all(of, (), ZONE)
    other = replace(of, cells=of.cells, logged=drive((180.0, 211.0, 244.0, 160.0)).logged)
    assert all_tests(other, ())[0][2] == CHANGED


def test_a_name_is_a_fits_or_a_tests(tmp_path: Path) -> None:
    one = tests.stated(drive(), *at(drive(), 692, 1292), discs="new")
    stored = new_drive(tmp_path / "drive")
    tests.keep(stored, one, "May")
    with pytest.raises(UsageError, match="no test has"):
        keep_fit(open_drive(stored.folder), None, "May")  # type: ignore[arg-type]  # the name is looked at first


def test_tables_have_a_row_a_test_and_a_row_a_load() -> None:
    (one,) = tests.found(drive())
    rows = table_of([("May", one, "")])
    assert one.curve is not None
    assert rows["slope"].tolist() == [one.curve.slope]
    assert rows["loads"].tolist() == [6.0]
    assert rows["load"].tolist() == ["net"]
    assert len(table_of([])) == 0
    loads = loads_table(one)
    np.testing.assert_allclose(loads["seconds"], [180, *[130] * 4, 180], atol=21)
    np.testing.assert_allclose(loads["fitted_mm_rev"], loads["penetration_mm_rev"], rtol=0.03)
    text = text_of(one, ZONE)
    assert "controlled, 6 loads" in text
    assert "robust (Huber)" in text
