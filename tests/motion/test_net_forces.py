"""Drag and no-load torque of strokes that showed none: figure, spread, source."""

import numpy as np
import pytest

from tbmreview.domain.states import PushingSet
from tbmreview.domain.table import Table
from tbmreview.motion.net_forces import SEEN_NEAR, SEEN_NONE, SEEN_SETUP, SEEN_STROKE, with_net_forces
from tbmreview.motion.stroke_table import STROKE_COLUMNS
from tests.support.blocks import machine

BARE = machine(drag_kN=None, aux_drag_kN=None, no_load_torque_kNm=None)


def strokes_with(drag_kN: list[float], *, pushing_set: PushingSet = PushingSet.MAIN) -> Table:
    """Strokes of 1.5 m; NaN: it showed no drag."""
    n, values = len(drag_kN), np.array(drag_kN)
    filler = {np.float64: np.nan, object: SEEN_NONE}
    columns = {name: np.full(n, filler.get(of, 0), of) for name, of, _, _ in STROKE_COLUMNS}
    seen = np.isfinite(values)
    return Table(columns).with_columns(
        {
            "position_from_m": 1.5 * np.arange(n),
            "pushing_set": np.full(n, pushing_set, np.int8),
            "drag_kN": values,
            "drag_sd_kN": np.where(seen, 30.0, np.nan),
            "drag_n": np.where(seen, 20, 0),
            "drag_source": np.where(seen, SEEN_STROKE, SEEN_NONE).astype(object),
        }
    )


def test_a_bare_stroke_lies_on_the_line_between_its_neighbours() -> None:
    found = with_net_forces(strokes_with([1000.0, np.nan, np.nan, 1600.0, 1700.0]), BARE)
    assert found["drag_kN"].tolist() == pytest.approx([1000, 1200, 1400, 1600, 1700])
    assert found["drag_source"].tolist() == [SEEN_STROKE, SEEN_NEAR, SEEN_NEAR, SEEN_STROKE, SEEN_STROKE]
    assert found["drag_n"].tolist() == [20, 3, 3, 20, 20]
    assert found["drag_sd_kN"][[0, 3]].tolist() == [30.0, 30.0]
    assert with_net_forces(strokes_with([np.nan, 900.0]), BARE)["drag_kN"].tolist() == [900.0, 900.0]


def test_steady_rise_is_no_scatter() -> None:
    rising = strokes_with([np.nan if k == 6 else 1000.0 + 50 * k for k in range(13)])
    found = with_net_forces(rising, BARE)
    assert found["drag_kN"][6] == pytest.approx(1300.0)
    assert found["drag_sd_kN"][6] == pytest.approx(0.0, abs=1e-6)


def test_nineteen_in_twenty_bare_strokes_lie_within_two_deviations() -> None:
    """Strokes that scatter about 1 100 kN by 140 kN, six in ten of which show it."""
    rng = np.random.default_rng(5)
    true = rng.normal(1100, 140, 2000)
    shown = np.where(rng.random(2000) < 0.6, true, np.nan)
    found = with_net_forces(strokes_with(shown.tolist()), BARE)
    bare = np.isnan(shown)
    within = np.abs(found["drag_kN"] - true)[bare] <= 1.96 * found["drag_sd_kN"][bare]
    assert within.mean() == pytest.approx(0.95, abs=0.015)
    assert np.median(found["drag_sd_kN"][bare]) == pytest.approx(140 * np.sqrt(1.5), rel=0.15)


def test_the_setup_speaks_where_hardly_any_stroke_does() -> None:
    """Its constant has the spread it assumes; one stroke of a drive tells only where it is silent."""
    few = strokes_with([np.nan, np.nan, 3000.0, np.nan])
    stated = with_net_forces(few, machine(drag_kN=600.0, constant_spread=0.25))
    assert stated["drag_kN"].tolist() == [600.0, 600.0, 3000.0, 600.0]
    assert stated["drag_sd_kN"].tolist() == [150.0, 150.0, 30.0, 150.0]
    assert stated["drag_source"].tolist() == [SEEN_SETUP, SEEN_SETUP, SEEN_STROKE, SEEN_SETUP]
    silent = with_net_forces(few, BARE)
    assert silent["drag_kN"].tolist() == [3000.0] * 4
    assert silent["drag_sd_kN"][0] == pytest.approx(600.0)


def test_each_set_has_its_own_drag_and_none_stays_none() -> None:
    both = strokes_with([1000.0, 1010.0, 1020.0, np.nan])
    both = both.with_columns({"pushing_set": np.array([1, 1, 1, PushingSet.AUX], np.int8)})
    found = with_net_forces(both, BARE)
    assert np.isnan(found["drag_kN"][3])
    assert found["drag_source"][3] == SEEN_NONE
    assert with_net_forces(both, machine(aux_drag_kN=2500.0))["drag_kN"][3] == 2500.0


def test_drag_is_no_more_than_the_thrust_that_bored() -> None:
    """A held shield let go: the next stroke bored with less than the last drag that was seen."""
    strokes = strokes_with([3000.0, 9000.0, 11_000.0, np.nan, np.nan])
    strokes = strokes.with_columns({"thrust_least_kN": np.array([4e3, 1e4, 1.2e4, 1.3e4, 5e3])})
    found = with_net_forces(strokes, machine(drag_kN=3200.0))
    assert found["drag_kN"].tolist() == [3000.0, 9000.0, 11_000.0, 11_000.0, 3200.0]
    assert found["drag_source"].tolist() == [*[SEEN_STROKE] * 3, SEEN_NEAR, SEEN_SETUP]
    assert found["drag_n"].tolist() == [20, 20, 20, 3, 0]
    assert with_net_forces(strokes, BARE)["drag_kN"][4] == 11_000.0
