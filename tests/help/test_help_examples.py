"""The worked examples against figures worked out here, by other sums or by hand."""

import re
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from tbmreview.help import page
from tbmreview.help.blocks import Grid, blocks_of
from tbmreview.help.examples import ACCURACY, GROUND, OF_FAMILY
from tbmreview.help.stated import GIVEN, VALUES, machine_of, sums_of
from tbmreview.indicators import INDICATORS, Indicator, indicator_columns
from tbmreview.indicators.models import MODELS
from tbmreview.indicators.uncertainty import PIECES, uncertainties
from tests.support import blocks

BLOCK = blocks.Block(
    drag_kN=600.0, no_load_kNm=180.0, drag_sd_kN=150.0, no_load_sd_kNm=25.0, spread_kNm=90.0, spread_mm=0.5
)
SPACE = "\N{NO-BREAK SPACE}"


def shown(name: str) -> dict[str, tuple[str, ...]]:
    """The rows of the last grid of a page, by the cell that names the column or what it is."""
    grid = [block for block in blocks_of(page(name).markdown) if isinstance(block, Grid)][-1]
    at = grid.rows[0].index("column") if "column" in grid.rows[0] else 0
    return {row[at].strip("`"): row[at + 1 :] for row in grid.rows[1:]}


def test_the_interval_has_the_sums_of_a_block_bored_at_its_figures() -> None:
    sums = blocks.sums_of(BLOCK)
    quarter = {"ring_reacted_advance_m": sums["advance_m"] / 4}
    found = sums_of()
    assert found.keys() == sums.keys()
    for name, values in {**sums, **quarter}.items():
        assert found[name] == pytest.approx(values, rel=1e-12), name


@pytest.mark.parametrize("indicator", INDICATORS, ids=lambda i: i.name)
def test_each_indicator_has_its_worked_example(indicator: Indicator) -> None:
    sums = blocks.sums_of(BLOCK)
    sums["ring_reacted_advance_m"] = sums["advance_m"] / 4
    value = float(indicator.function(sums, blocks.machine())[0])
    told, unit = shown(indicator.family)[indicator.name]
    assert told.replace(SPACE, "") == f"{value:.{indicator.decimals}f}"
    assert unit == (indicator.unit or "–")


@pytest.mark.parametrize("family", OF_FAMILY)
def test_what_is_given_is_exactly_what_the_figures_depend_on(family: str) -> None:
    def figures(values: dict[str, float]) -> np.ndarray:
        columns = indicator_columns(sums_of(values), machine_of(values))
        return np.array([columns[i.name][0] for i in INDICATORS if i.family == family])

    plain, moved = figures(dict(VALUES)), set()
    for given in GIVEN:
        if not np.allclose(figures({**VALUES, given.name: given.value * 2}), plain, rtol=1e-9, atol=0):
            moved.add(given.name)
    assert moved == set(OF_FAMILY[family])


def test_uncertainty() -> None:
    sums = {**blocks.sums_of(BLOCK), PIECES: np.ones(1)}
    found, rows = uncertainties(sums, blocks.machine(), ACCURACY), shown("uncertainty")
    assert len(rows) == 3
    for name, (whole, random, _) in rows.items():
        of = found[name.removesuffix("_u95")]
        assert float(whole) == pytest.approx(of.u95[0], rel=0.05)
        assert float(random) == pytest.approx(of.u95_random[0], rel=0.05)


def test_the_penetration_test_is_the_regression_of_its_loads() -> None:
    loads, told = [block for block in blocks_of(page("response").markdown) if isinstance(block, Grid)][-3:-1]
    x, y, fitted = np.array([[float(cell) for cell in row] for row in loads.rows[1:]]).T
    line = stats.linregress(np.log(x), np.log(y))
    rows = {row[0].strip("`"): row[1:] for row in told.rows[1:]}
    assert float(rows["slope"][0]) == pytest.approx(
        line.slope, abs=0.03
    )  # loads and penetrations are shown rounded
    assert float(rows["critical_load_kN"][0]) == pytest.approx(np.exp(-line.intercept / line.slope), abs=1.5)
    assert fitted == pytest.approx(np.exp(line.intercept) * x**line.slope, abs=0.02)


def test_response_gives_back_the_law_of_its_points() -> None:
    assert shown("response") == {
        "response_slope": ("2.00", "–"),
        "critical_load_kN": ("150", "kN"),
        "response_points": ("21", "–"),
    }


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("wear", "2 356.2 m/m, 1 413.7 m/m, 235.6 km, 150.8 m/min, 7.96 rpm, 2 827.4 m3, 33.66 m3/mm"),
        ("balance", "42.41 m3, 114.51 t, 69.98 m3, 9.16 %, 4.35 m3, 0.97 m3, 3.46 m3, 15.0 l/min"),
        ("pads", "5 000 kN, 520 mm, 0 mm, 520 mm, 90 deg, 0.80 of limit, 1 800 kN"),
        ("position", "784 mm, 20.0 per mille, 1.510 m"),
        ("marks", "1.45 –, 1 089 kNm, 7.4 %, 48.6 deg, 2.65 m"),
        ("time", "0.400 –, 2.88 m/h, 1.152 m/h"),
    ],
)
def test_figures_worked_by_hand(name: str, told: str) -> None:
    """Derived; those of wear and of the shift of ten hours are values of the trade's text books, from memory."""
    rows = [" ".join(row).replace(SPACE, " ") for row in shown(name).values()]
    assert rows == told.split(", ")


def test_every_model_has_its_example_and_every_input_a_figure() -> None:
    rows = shown("expected")
    assert rows.keys() == {model.name for model in MODELS}
    assert all(re.fullmatch(rf"[\d{SPACE}]+\.\d\d", row[0]) for row in rows.values()), rows
    by_hand = {
        "hassanpour-2011": np.exp(0.008 * 125 + 0.015 * 82 + 1.384),
        "graham-1976": 3.94 * 250 / 125,
        "delisio-zhao-2014": np.exp(6) * 6**-0.82 * 125**0.17,
    }
    for name, value in by_hand.items():
        assert rows[name][0] == f"{value:.2f}"
    grids = [block for block in blocks_of(page("expected").markdown) if isinstance(block, Grid)]
    given = {row[1].strip("`"): row[2] for row in grids[-2].rows[1:]}
    assert given == {i.name: f"{GROUND[i.name]:.4g}" for model in MODELS for i in model.inputs}


def test_without_accuracy_nothing_is_certain() -> None:
    """An accuracy that is not stated is not taken for an exact sensor; the page states each that its rows need."""
    lost = uncertainties(
        {**sums_of(), PIECES: np.ones(1)}, machine_of(), replace(ACCURACY, thrust_systematic_percent=None)
    )
    assert np.isnan(lost["net_fpi_kN_per_mm_rev"].u95[0])
