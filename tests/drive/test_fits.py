"""Fits of the site's own: from the right data, refused in words, kept, and known when their data changed."""

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tbmreview.domain.errors import FitError, UsageError
from tbmreview.domain.ground import PREDICTED
from tbmreview.domain.table import Table, stack
from tbmreview.drive.expected import Asked, expected
from tbmreview.drive.fits import content_of, data_changed, fit, fit_of, keep, wanted_of
from tbmreview.drive.fits_text import (
    AS_KEPT,
    CHANGED,
    coefficient_table,
    equation,
    fit_text,
    interval_table,
    kept_table,
    kept_text,
)
from tbmreview.drive.opened import open_drive
from tbmreview.drive.table import table
from tbmreview.store.catalogue import connect
from tbmreview.store.fits import KeptFit
from tests.support.cells import START_US, setup_of, steady, strokes_of
from tests.support.grounded import GroundDrive, ground_with
from tests.support.small_drive import new_drive

UCS = [40.0, 60.0, 80.0, 110.0, 150.0, 180.0, 220.0, 90.0, 130.0]
RQD = [30.0, 80.0, 45.0, 90.0, 60.0, 95.0, 70.0, 20.0, 85.0]
NOISE = [1.02, 0.97, 1.01, 0.99, 1.03, 0.98, 1.0, 1.01, 0.99]
LENGTH_M = 5.0


def drive_with(fpi: np.ndarray, **columns: list[float]) -> GroundDrive:
    """A drive of 5 m intervals with these net indices, bored at 5 mm/rev, and mapped columns."""
    setup, cells = setup_of(), []
    for i, one in enumerate(fpi.tolist()):
        ends = LENGTH_M * i, LENGTH_M * (i + 1)
        thrust_kN = one * 40 * 5 + 600  # 40 discs, 600 kN of drag
        at = START_US + i * 10**11
        cells.append(steady(setup.drive.axis, ends, thrust_kN=thrust_kN, penetration_mm=5.0, start_us=at))
    intervals = [(LENGTH_M * i, LENGTH_M * (i + 1), f"rock {i}") for i in range(len(fpi))]
    together = stack(cells)
    mapped = ground_with(*intervals, **columns)
    return GroundDrive(setup, together, strokes_of(together), mapped=mapped)


FPI = np.exp(0.6 + 0.008 * np.array(UCS) + 0.01 * np.array(RQD)) * np.array(NOISE)


@pytest.fixture
def drive() -> GroundDrive:
    return drive_with(FPI, ucs_MPa=UCS, rqd_pct=RQD)


def test_a_fit_is_of_what_the_tables_show(drive: GroundDrive) -> None:
    found = fit(drive, wanted_of("fpi", ["ucs"]))
    by_ground = table(drive, "ground")["net_fpi_kN_per_mm_rev"]
    np.testing.assert_allclose(found.rows["observed"], by_ground)
    line = stats.linregress(UCS, by_ground)
    np.testing.assert_allclose(found.values, [line.intercept, line.slope], rtol=1e-9)
    np.testing.assert_allclose(found.standard_errors, [line.intercept_stderr, line.stderr], rtol=1e-9)
    assert len(found) == 9
    assert found.wanted.name == "faces"
    np.testing.assert_allclose(found.rows["residual"], found.rows["observed"] - found.rows["fitted"])


@pytest.mark.parametrize("robust", [False, True])
def test_forms_find_the_law_that_made_the_data(robust: bool) -> None:
    exact = np.exp(0.6 + 0.008 * np.array(UCS)) * np.array(NOISE) ** 0.1
    found = fit(drive_with(exact, ucs_MPa=UCS), wanted_of("fpi", ["ucs"], "exponential", robust=robust))
    assert found.values == pytest.approx([0.6, 0.008], rel=0.02)
    power = 2.0 * np.array(UCS) ** 0.5 * np.array(NOISE) ** 0.1
    found = fit(drive_with(power, ucs_MPa=UCS), wanted_of("fpi", ["ucs_MPa"], "power", robust=robust))
    assert found.values == pytest.approx([np.log(2.0), 0.5], rel=0.02)
    assert equation(found).startswith("ln net_fpi_kN_per_mm_rev = 0.69")
    rows = found.rows
    for low, high in (("fitted_low", "fitted_high"), ("new_low", "new_high")):
        assert np.all((rows[low] < rows["fitted"]) & (rows["fitted"] < rows[high]))
    assert np.all(rows["new_low"] < rows["fitted_low"])
    assert found.rows["fitted"] == pytest.approx(power, rel=0.02)


def test_the_error_with_one_left_out_is_that_of_fits_to_the_others(drive: GroundDrive) -> None:
    found = fit(drive, wanted_of("fpi", ["ucs"]))
    told = []
    for one in range(9):
        others = np.arange(9) != one
        line = stats.linregress(np.array(UCS)[others], FPI[others])
        told.append(line.intercept + line.slope * UCS[one])
    np.testing.assert_allclose(found.rows["left_out"], told, rtol=1e-8)
    assert found.left_out_error == pytest.approx(np.sqrt(np.mean((FPI - told) ** 2)))


def test_penetration_and_gross(drive: GroundDrive) -> None:
    gross = fit(drive, wanted_of("fpi", ["ucs"], gross=True)).rows["observed"]
    np.testing.assert_allclose(gross, FPI + 600 / 40 / 5)
    with pytest.raises(FitError, match="penetration_mm_rev is the same in all 9 intervals"):
        fit(drive, wanted_of("penetration", ["ucs"]))


def test_what_was_passed_over_is_told(drive: GroundDrive) -> None:
    ucs = [np.nan, *UCS[1:-1], 0.0]
    found = fit(drive_with(FPI, ucs_MPa=ucs), wanted_of("fpi", ["ucs"], "power"))
    assert found.passed_over == ("1 without ucs_MPa", "1 ucs_MPa not above 0, so it has no logarithm")
    assert len(found) == 7
    begin = drive.mapped["position_from_m"] + np.array([4.5] + [0.0] * 8)
    short = replace(drive, mapped=drive.mapped.with_columns({"position_from_m": begin}))
    assert fit(short, wanted_of("fpi", ["ucs"])).passed_over == ("1 bored for less than 1 m",)


@pytest.mark.parametrize(
    ("columns", "on", "says"),
    [
        (
            {"ucs_MPa": [*UCS[:5], *[np.nan] * 4]},
            ["ucs"],
            r"5 intervals can be used \(passed over: 4 without ucs_MPa\)",
        ),
        ({"ucs_MPa": UCS, "rqd_pct": RQD, "rmr": RQD}, ["ucs", "rqd", "rmr"], "3 columns need 12 or more"),
        ({"ucs_MPa": [125.0] * 9}, ["ucs"], "ucs_MPa is 125 in all 9 intervals"),
        ({"ucs_MPa": [125.0, 60.0, 60.0] * 3}, ["ucs"], "ucs_MPa is 60 and 125"),
        ({"rqd_pct": RQD, "rmr": [2 * r + 1 for r in RQD]}, ["rqd", "rmr"], "move together"),
        ({}, ["ucs"], "0 intervals can be used"),
    ],
)
def test_refused_in_words(columns: dict[str, list[float]], on: list[str], says: str) -> None:
    with pytest.raises(FitError, match=says):
        fit(drive_with(FPI, **columns), wanted_of("fpi", on))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("torque", ["ucs"]), "fpi, penetration"),
        (("fpi", ["hardness"]), "rqd_pct"),
        (("fpi", ["ucs", "ucs_MPa"]), "each once"),
        (("fpi", []), "one or more"),
        (("fpi", ["ucs"], "cubic"), "exponential"),
    ],
)
def test_wrong_words(words: tuple[str, list[str]], says: str) -> None:
    with pytest.raises(UsageError, match=says):
        wanted_of(*words)


# --- kept ---------------------------------------------------------------------------------------


def kept_of(drive: GroundDrive, name: str = "spring", **more: object) -> KeptFit:
    found = fit(drive, wanted_of("fpi", ["ucs", "rqd"], "exponential", **more))
    return KeptFit(name, content_of(found), found.fingerprint, "", "Ida", START_US)


def test_a_kept_fit_comes_back_as_it_was(tmp_path: Path, drive: GroundDrive) -> None:
    stored = new_drive(tmp_path / "drive")
    found = fit(drive, wanted_of("fpi", ["ucs", "rqd"], robust=True))
    keep(stored, fit(drive, wanted_of("fpi", ["ucs"])), "spring")
    keep(stored, found, "spring", "without the crushed stretch")
    (kept,) = open_drive(stored.folder).kept_fits()
    assert (kept.name, kept.note) == ("spring", "without the crushed stretch")
    back = fit_of(kept)
    for name in (
        "wanted",
        "issued",
        "residual_sd",
        "condition",
        "left_out_error",
        "passed_over",
        "fingerprint",
    ):
        assert getattr(back, name) == getattr(found, name), name
    assert np.isnan(back.r_squared)
    np.testing.assert_array_equal(back.values, found.values)
    for name in found.rows:
        np.testing.assert_array_equal(back.rows[name], found.rows[name])
    for wrong in ("", " x", "hassanpour-2011"):
        with pytest.raises(UsageError, match="will not do"):
            keep(stored, found, wrong)
    assert open_drive(stored.folder).history()[-1].what == "fit"
    with closing(connect(stored.folder, 1.0)) as db:
        assert db.execute("SELECT count(*) FROM fit").fetchone() == (2,)
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            db.execute("UPDATE fit SET note = 'better'")


def test_data_that_changed_since_are_told(drive: GroundDrive) -> None:
    kept = kept_of(drive)
    assert not data_changed(drive, kept)
    noise = Table({n: c * (1 + 1e-14) if n.endswith("_s") else c for n, c in drive.cells.columns.items()})
    assert not data_changed(replace(drive, cells=noise), kept)  # the last digit of a sum is no change
    other = drive.mapped["ucs_MPa"] + np.array([5.0] + [0.0] * 8)
    more = replace(drive, mapped=drive.mapped.with_columns({"ucs_MPa": other}))
    thrust = drive.cells.with_columns({"thrust_kN_s": drive.cells["thrust_kN_s"] * 1.001})
    fewer = replace(drive, mapped=drive.mapped.rows(slice(0, 8)))
    for changed in (more, fewer, replace(drive, cells=thrust)):
        assert data_changed(changed, kept)
        assert CHANGED in kept_text(replace(changed, kept=(kept,)), drive.setup.drive.zone)
    assert set(kept_table(replace(drive, kept=(kept,)))["data"].tolist()) == {AS_KEPT}


def test_a_kept_fit_is_a_model_whose_range_is_that_of_its_data(drive: GroundDrive) -> None:
    predicted = ground_with((0, 20, "a"), (20, 45, "b"), ucs_MPa=[100.0, 300.0], rqd_pct=[50.0, 50.0])
    with_fit = replace(drive, kept=(kept_of(drive),), predicted=predicted)
    rows = expected(with_fit, Asked("spring", PREDICTED))
    values = fit_of(with_fit.kept[0]).values
    np.testing.assert_allclose(rows["expected"], np.exp(values @ [[1, 1], [100, 300], [50, 50]]))
    assert rows["range"].tolist() == ["within", "outside: ucs_MPa"]
    assert rows["label"][0] == (
        "site fit, 9 intervals of mapped ground 'faces', without a date of issue, uncontrolled"
    )
    again = expected(with_fit, Asked("spring"))
    np.testing.assert_allclose(again["expected"], fit_of(with_fit.kept[0]).rows["fitted"], rtol=1e-12)


def test_tables_and_text_carry_what_a_reader_needs(drive: GroundDrive) -> None:
    found = fit(drive, wanted_of("fpi", ["ucs", "rqd"]))
    terms = coefficient_table([("", found, "")])
    assert terms["term"].tolist() == ["constant", "ucs_MPa", "rqd_pct"]
    assert np.all((terms["low_95"] < terms["value"]) & (terms["value"] < terms["high_95"]))
    assert set(terms["intervals"].tolist()) == {9.0}
    rows = interval_table(found)
    assert {"ucs_MPa", "new_low", "new_high", "left_out", "ground_issued"} <= set(rows)
    text = fit_text(found, drive.setup.drive.zone)
    for words in (
        "ordinary least squares, uncontrolled: of normal boring; 9 intervals of mapped ground 'faces'",
        "R2 0.9",
        "left out",
    ):
        assert words in text
    assert "sets of columns" not in text
    twice = drive_with(np.r_[FPI, FPI * 1.01], ucs_MPa=UCS * 2)
    repeated = fit_text(fit(twice, wanted_of("fpi", ["ucs"])), drive.setup.drive.zone)
    assert "the 18 intervals have 9 different sets of columns" in repeated
    assert kept_text(drive, drive.setup.drive.zone) == "no fit is kept in this drive"
    assert len(kept_table(drive)) == 0
