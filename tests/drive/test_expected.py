"""Observed against expected along the drive: the same sums as the tables, the model's figures beside them."""

import numpy as np
import pytest

from tbmreview.domain.errors import DriveError, UsageError
from tbmreview.domain.ground import PREDICTED
from tbmreview.domain.table import stack
from tbmreview.drive.columns_text import EXPECTED_COLUMNS
from tbmreview.drive.expected import Asked, expected, expected_text
from tbmreview.drive.table import table
from tbmreview.indicators.models import BY_NAME, expected_of
from tests.support.cells import START_US, setup_of, steady, strokes_of
from tests.support.grounded import GroundDrive, ground_with

ROCK = {"ucs_MPa": [125.0, np.nan, 60.0, 15.0], "rqd_pct": [82.0, 50.0, 62.0, 8.0]}
ROCK |= {
    "bts_MPa": [9.5, 5.0, 1.0, 1.0],
    "jv_per_m3": [6.0, 8.0, 11.0, 26.0],
    "angle_deg": [50.0, 40, 35, 45],
}


@pytest.fixture
def drive() -> GroundDrive:
    """Bored from 0 to 30 m, soft from 20 m; mapped to 40 m with a gap, the second interval without strength."""
    setup = setup_of(direction="decreasing")
    hard = steady(setup.drive.axis, (0.0, 20.0))
    soft = steady(
        setup.drive.axis, (20.0, 30.0), thrust_kN=6000.0, penetration_mm=10.0, start_us=START_US + 10**11
    )
    cells = stack([hard, soft])
    mapped = ground_with((0, 10, "gneiss"), (10, 15, "?"), (18, 25, "schist"), (35, 40, "fault"), **ROCK)
    predicted = ground_with((0, 22, "gneiss"), ucs_MPa=[135.0], rqd_pct=[90.0])
    return GroundDrive(setup, cells, strokes_of(cells), mapped=mapped, predicted=predicted)


def test_a_row_a_bored_interval_with_the_figures_of_table_by_ground(drive: GroundDrive) -> None:
    rows = expected(drive, Asked("hassanpour-2011"))
    assert rows.names == EXPECTED_COLUMNS
    assert rows["ground"].tolist() == ["gneiss", "?", "schist"]  # nothing was bored in the fault
    by_ground = table(drive, "ground")
    by_ground = by_ground.rows(by_ground["ground"] != "outside")
    np.testing.assert_allclose(rows["observed"], by_ground["net_fpi_kN_per_mm_rev"])
    np.testing.assert_allclose(rows["advance_m"], [10.0, 5.0, 7.0])
    assert rows["chainage_from_m"].tolist() == pytest.approx([4180.0, 4170.0, 4162.0])
    assert rows["observed"][0] == pytest.approx((10_000 - 600) / 40 / 8)
    # From memory, unconfirmed: exp(0.008 UCS + 0.015 RQD + 1.384).
    assert rows["expected"][0] == pytest.approx(np.exp(0.008 * 125 + 0.015 * 82 + 1.384))
    ratio = rows["observed"] / rows["expected"]
    np.testing.assert_allclose(rows["observed_over_expected"], ratio, equal_nan=True)


def test_what_is_missing_is_named_and_nothing_is_made_up(drive: GroundDrive) -> None:
    rows = expected(drive, Asked("hassanpour-2011"))
    assert rows["missing"].tolist() == ["", "ucs_MPa", ""]
    assert np.isnan(rows["expected"]).tolist() == [False, True, False]
    assert np.isnan(rows["observed_over_expected"]).tolist() == [False, True, False]
    assert not np.isnan(rows["observed"]).any()
    filled = expected(drive, Asked("hassanpour-2011", stated={"ucs_MPa": 80.0}))
    assert filled["expected"][1] == pytest.approx(np.exp(0.008 * 80 + 0.015 * 50 + 1.384))
    assert filled["expected"][0] == rows["expected"][0]  # what is mapped is not overruled
    assert set(filled["stated"].tolist()) == {"ucs_MPa 80"}


def test_the_ground_used_the_source_and_the_label_stand_in_every_row(drive: GroundDrive) -> None:
    rows = expected(drive, Asked("hassanpour-2011", PREDICTED))  # the one imported last
    assert rows["ground_name"].tolist() == ["tender"]
    assert rows["ground_issued"].tolist() == ["2030-05-01"]
    assert rows["label"].tolist() == ["coefficients from memory, unconfirmed"]
    assert "TUST 26" in rows["source"][0]
    assert rows["advance_m"][0] == pytest.approx(22.0)
    turns = 20 / 8, 2 / 10  # in thousands; at one head speed, so they weigh as time does
    net_kN = (9400 * turns[0] + 5400 * turns[1]) / sum(turns)
    assert rows["observed"][0] == pytest.approx(net_kN / 40 / (22 / sum(turns)))


def test_range_flags_are_of_the_row(drive: GroundDrive) -> None:
    rows = expected(drive, Asked("gong-zhao-2009"))
    flags = rows["range"].tolist()
    assert flags[0].startswith("not known: ucs_MPa")
    assert flags[2] == "outside: brittleness"  # 60 / 1; worked out all the same
    assert np.isfinite(rows["expected"][2])


def test_without_a_model_all_that_have_their_inputs_along_the_drive(drive: GroundDrive) -> None:
    rows = expected(drive, Asked())
    names = set(rows["model"].tolist())
    assert {"hassanpour-2011", "gong-zhao-2009", "delisio-zhao-2014", "graham-1976"} <= names
    assert not {"khademi-hamidi-2010", "csm-force", "q-tbm"} & names
    assert np.all(np.diff(rows["position_from_m"]) >= 0)
    assert set(expected(drive, Asked(ground=PREDICTED))["model"].tolist()) == {
        "hassanpour-2011",
        "graham-1976",
        "gehring-1995",
        "hughes-1986",
    }


def test_each_quantity_is_compared_with_its_like(drive: GroundDrive) -> None:
    """10 000 kN gross, 9 400 net, on 6 m and 40 discs at 8 mm/rev, 6 rpm."""
    observed = {
        name: expected(drive, Asked(name))["observed"][0]
        for name in ("delisio-zhao-2014", "csm-force", "csm-torque", "graham-1976", "q-tbm", "yagiz-2008")
    }
    assert observed["delisio-zhao-2014"] == pytest.approx(9400 / 6 / 8)
    assert observed["csm-force"] == pytest.approx(235.0)
    assert observed["csm-torque"] == pytest.approx(1500 - 180)
    assert observed["graham-1976"] == pytest.approx(8.0)
    assert observed["q-tbm"] == observed["yagiz-2008"] == pytest.approx(0.06 * 8 * 6)
    gross = expected(drive, Asked("delisio-zhao-2014", gross=True))
    assert gross["observed"][0] == pytest.approx(10_000 / 6 / 8)
    assert gross["quantity"][0] == "thrust_index_kN_per_m_mm_rev"
    power = {"power_share": 0.85, "cutting_energy_kWh_m3": 10.0}
    cut = expected(drive, Asked("rostami-1994", stated=power))["expected"][0]
    assert cut == pytest.approx(0.85 * (2 * np.pi * 6 / 60 * 1500) / 10 / (np.pi / 4 * 36))
    speed = expected(drive, Asked("gokceoglu-2022-strength"))
    assert speed["observed"][0] == pytest.approx(48.0)


def test_the_machine_and_what_is_stated_feed_the_disc_model(drive: GroundDrive) -> None:
    stated = {"disc_tip_mm": 19.0, "pressure_exponent": 0.0}
    rows = expected(drive, Asked("csm-force", stated=stated))
    values = {
        **stated, "ucs_MPa": 125.0, "bts_MPa": 9.5, "penetration_mm_rev": 8.0, "disc_diameter_mm": 483.0,
        "disc_spacing_mm": 75.0,
    }  # fmt: skip
    assert rows["expected"][0] == pytest.approx(float(expected_of(BY_NAME["csm-force"], values)))
    assert rows["stated"][0] == "disc_tip_mm 19; pressure_exponent 0; disc_spacing_mm 75.0 = D/(2 N)"
    wider = expected(drive, Asked("csm-force", stated={**stated, "disc_spacing_mm": 90.0}))
    assert wider["expected"][0] == pytest.approx(rows["expected"][0] * (90 / 75) ** (1 / 3))


def test_the_text_says_what_was_left_out_and_which_ground_it_is(drive: GroundDrive) -> None:
    text = expected_text(drive, Asked(ground=PREDICTED))
    assert "left out: khademi-hamidi-2010, nothing says joint_condition, angle_deg" in text
    assert "compared with predicted ground 'tender', issued 2030-05-01" in text
    assert text.count("coefficients from memory, unconfirmed") == 4
    assert "missing: ucs_MPa" in expected_text(drive, Asked("hassanpour-2011"))


@pytest.mark.parametrize(
    ("asked", "error", "says"),
    [
        (Asked("crystal-ball"), UsageError, "hassanpour-2011"),
        (Asked(stated={"colour": 1.0}), UsageError, "joint_condition"),
        (Asked("graham-1976", stated={"disc_load_kN": 250.0}), UsageError, "can be stated"),
        (Asked(ground="dreamt"), UsageError, "mapped"),
        (Asked(ground="probed"), DriveError, "there is no probed ground"),
    ],
)
def test_what_will_not_do(asked: Asked, error: type[Exception], says: str, drive: GroundDrive) -> None:
    with pytest.raises(error, match=says):
        expected(drive, asked)
