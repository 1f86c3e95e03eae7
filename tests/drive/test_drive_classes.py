"""Classes of ground tables in tables by ground: mapped or named predicted, each with its scheme; conversions."""

import numpy as np
import pytest

from tbmreview.domain.errors import DriveError, UsageError
from tbmreview.drive.classes import ground_says
from tbmreview.drive.table import Asked, table_beside
from tests.support.cells import setup_of, steady, strokes_of
from tests.support.grounded import GroundDrive, ground_with

GNEISS, FAULT = (0.0, 12.0, "gneiss"), (12.0, 20.0, "fault")


@pytest.fixture
def drive() -> GroundDrive:
    """Bored from 0 to 30 m; mapped to 20 m with CERCHAR by one scheme, predicted in one piece without any."""
    setup = setup_of()
    cells = steady(setup.drive.axis, (0.0, 30.0))
    mapped = ground_with(
        GNEISS, FAULT, rmr=[66.0, 15.0], q=[10.0, 0.05], cai=[2.5, np.nan], jv_per_m3=[6.0, 20.0]
    )
    mapped = mapped.with_columns({"cai_scheme": np.array(["ASTM D7625", ""], object)})
    predicted = ground_with((0.0, 25.0, "gneiss"), rmr=[72.0], cai=[3.0])
    return GroundDrive(setup, cells, strokes_of(cells), mapped=mapped, predicted=predicted)


def test_mapped_classes_stand_beside_the_indicators_and_outside_has_none(drive: GroundDrive) -> None:
    rows = table_beside(drive, Asked("ground"))
    assert rows["ground"].tolist() == ["gneiss", "fault", "outside"]
    assert rows["rmr_class"].tolist() == ["II good", "V very poor", ""]
    assert rows["rmr_scheme"].tolist() == ["RMR 1989", "RMR 1989", ""]
    np.testing.assert_array_equal(rows["rmr"], [66, 15, np.nan])
    assert (rows["cai_class"][0], rows["cai_scheme"][0]) == ("high", "ASTM D7625")
    assert rows["boreability_class"].tolist() == ["B-II good-fair"] * 3  # net FPI 29.4, from memory
    assert set(rows["ground_name"]) == {"faces"}
    said = ground_says(rows)
    assert said[0] == "by mapped ground 'faces', without a date of issue"
    assert any(line.startswith("RMR class: RMR 1989 (Bieniawski 1989; ") for line in said)
    assert not any("CERCHAR has no class" in line for line in said)


def test_a_named_prediction_is_the_table_asked_for(drive: GroundDrive) -> None:
    rows = table_beside(drive, Asked("ground", ground="predicted", ground_name="tender"))
    assert rows["ground"].tolist() == ["gneiss", "outside"]
    assert rows["rmr_class"].tolist() == ["II good", ""]
    assert rows["cai_class"].tolist() == ["", ""]
    told = [set(rows[f"ground_{what}"]) for what in ("kind", "name", "issued")]
    assert told == [{"predicted"}, {"tender"}, {"2030-05-01"}]
    said = ground_says(rows)
    assert said[0] == "by predicted ground 'tender', issued 2030-05-01"
    assert any("CERCHAR has no class: names differ between ISRM 2014" in line for line in said)
    with pytest.raises(DriveError, match="there is no probed ground"):
        table_beside(drive, Asked("ground", ground="probed"))
    with pytest.raises(UsageError, match="ground 'guessed'"):
        table_beside(drive, Asked("ground", ground="guessed"))


def test_a_class_never_stands_without_its_scheme(drive: GroundDrive) -> None:
    for kind in ("mapped", "predicted"):
        rows = table_beside(drive, Asked("ground", ground=kind))
        pairs = [name for name in rows if name.endswith("_class")]
        assert len(pairs) == 9
        for name in pairs:
            assert ((rows[name] == "") == (rows[name.replace("_class", "_scheme")] == "")).all(), name


def test_conversions_come_on_request_with_their_source(drive: GroundDrive) -> None:
    rows = table_beside(drive, Asked("ground", convert=("rmr_from_q", "rqd_from_jv_115")))
    np.testing.assert_allclose(rows["rmr_from_q"], [64.7233, 17.0384, np.nan], atol=5e-5)
    np.testing.assert_allclose(rows["rqd_from_jv_115"], [95.2, 49.0, np.nan])
    assert "rqd_from_jv_110" not in rows
    assert (
        "rmr_from_q: 9 ln Q + 44 (Bieniawski; formula from a text that transcribes the source)"
        in ground_says(rows)
    )
    with pytest.raises(UsageError, match="there is no conversion 'rqd'"):
        table_beside(drive, Asked("ground", convert=("rqd",)))
