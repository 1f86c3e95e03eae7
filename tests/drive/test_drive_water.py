"""Water inflow and its class: as the site measured it over a stretch, and as mapped, by number or by word."""

import numpy as np
import pytest

from tbmreview.domain.site import WATER, empty_site_table
from tbmreview.domain.table import Table
from tbmreview.drive.water import water_says, water_table
from tests.support.cells import setup_of, steady, strokes_of
from tests.support.grounded import GroundDrive, ground_with


@pytest.fixture
def drive() -> GroundDrive:
    """30 m bored; 60 l/min measured over 20 m; mapped with a number, a word, and nothing."""
    setup = setup_of()
    cells = steady(setup.drive.axis, (0.0, 30.0))
    mapped = ground_with(
        (0, 10, "gneiss"), (10, 15, "fault"), (15, 30, "gneiss"), water_l_min=[5.0, np.nan, np.nan]
    )
    words = {"water_class": ["", "flowing", ""], "water_scheme": ["", "RMR 1989 inflow", ""]}
    mapped = mapped.with_columns({name: np.array(texts, object) for name, texts in words.items()})
    start = setup.drive.chainage_start_m
    stretch = {
        "chainage_from_m": np.array([start]),
        "chainage_to_m": np.array([start + 20.0]),
        "inflow_l_min": np.array([60.0]),
        "note": np.array(["weir"], object),
    }
    assert set(empty_site_table(WATER)) == set(stretch)
    return GroundDrive(setup, cells, strokes_of(cells), mapped=mapped, stated={WATER: Table(stretch)})


def test_inflow_by_source_with_its_class_and_scheme(drive: GroundDrive) -> None:
    rows = water_table(drive)
    assert rows["source"].tolist() == ["site", "mapped ground", "mapped ground"]
    np.testing.assert_array_equal(rows["inflow_10m_l_min"], [30.0, 5.0, np.nan])
    np.testing.assert_array_equal(rows["inflow_l_min"], [60.0, 5.0, np.nan])
    assert rows["water_class"].tolist() == ["dripping", "damp", "flowing"]
    assert rows["water_scheme"].tolist() == ["RMR 1989 inflow"] * 3
    assert water_says(drive, rows)[0] == (
        "classes: RMR 1989 inflow, l/min over 10 m: dry from 0, damp above 0, wet from 10, dripping from 25, flowing "
        "above 125"
    )
