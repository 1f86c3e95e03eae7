"""Mapped classes beside predicted ones: rows, lengths, schemes that can be compared and those that cannot, the command."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tbmreview.cli import main
from tbmreview.domain.classes import scheme_named
from tbmreview.domain.errors import DriveError, UsageError
from tbmreview.domain.table import Table
from tbmreview.drive.add import add
from tbmreview.drive.class_match import OUTCOMES, Asked, agreed_share, class_cross, class_match
from tbmreview.drive.class_match_text import match_says, match_text
from tbmreview.indicators.classes import same_classes
from tests.support.cells import drive_of, setup_of, steady, strokes_of
from tests.support.grounded import GroundDrive, ground_with
from tests.support.small_drive import new_drive, small_log


def drive(mapped: Table, predicted: Table, direction: str = "increasing") -> GroundDrive:
    """Bored from 0 to 30 m."""
    setup = setup_of(direction=direction)
    cells = steady(setup.drive.axis, (0.0, 30.0))
    return GroundDrive(setup, cells, strokes_of(cells), mapped=mapped, predicted=predicted)


def stated(ground: Table, stem: str, classes: list[str], scheme: str) -> Table:
    return ground.with_columns(
        {
            f"{stem}_class": np.array(classes, object),
            f"{stem}_scheme": np.array([scheme if c else "" for c in classes], object),
        }
    )


MAPPED = ground_with((0.0, 12.0, "gneiss"), (12.0, 20.0, "fault"), rmr=[66.0, 15.0], cai=[2.5, 2.5])
PREDICTED = ground_with((0.0, 5.0, "gneiss"), (5.0, 25.0, "gneiss"), rmr=[72.0, 64.0], cai=[2.5, 2.5])


@pytest.mark.parametrize("direction", ["increasing", "decreasing"])
def test_a_row_where_neither_class_changes_with_both_schemes_and_how_far_off(direction: str) -> None:
    found = class_match(drive(MAPPED, PREDICTED, direction), Asked(of=("rmr",)))
    rows = found.rows
    assert rows["mapped_class"].tolist() == ["II good", "V very poor", "", ""]
    assert rows["predicted_class"].tolist() == [
        "II good",
        "II good",
        "II good",
        "",
    ]  # 5 m: class does not change
    assert rows["outcome"].tolist() == ["equal", "differs", "not mapped", "neither"]
    np.testing.assert_array_equal(rows["classes_off"], [0, 3, np.nan, np.nan])
    assert rows["length_m"] == pytest.approx([12, 8, 5, 5])
    sign = 1 if direction == "increasing" else -1
    assert rows["chainage_from_m"] == pytest.approx([4180 + sign * m for m in (0, 12, 20, 25)])
    assert set(rows["mapped_scheme"][:2]) == set(rows["predicted_scheme"][:3]) == {"RMR 1989"}
    assert rows["compared_by"].tolist() == ["RMR 1989", "RMR 1989", "", ""]
    told = {(rows["mapped_name"][0], rows["predicted_name"][0], rows["predicted_issued"][0])}
    assert told == {("faces", "tender", "2030-05-01")}
    assert agreed_share(rows) == pytest.approx(12 / 20)


def test_lengths_crosswise_and_what_is_said_of_them() -> None:
    of = drive(MAPPED, PREDICTED)
    asked = Asked(of=("rmr",))
    found = class_match(of, asked)
    cross = class_cross(found.rows)
    pairs = list(
        zip(cross["predicted_class"], cross["mapped_class"], cross["length_m"].round(9), strict=True)
    )
    assert pairs == [
        ("II good", "II good", 12),
        ("II good", "V very poor", 8),
        ("II good", "", 5),
        ("", "", 5),
    ]
    assert cross["share"].sum() == pytest.approx(1)
    assert cross["agreed_share"] == pytest.approx([0.6] * 4)
    said = match_says(of, found, asked)
    assert (
        said[0]
        == "mapped ground 'faces', without a date of issue against predicted ground 'tender', issued 2030-05-01"
    )
    assert "other predictions, not compared here: 'outline'" in said
    assert (
        "RMR: 20.0 m of 30.0 m bored could be compared; 60.0% of them equal by length; mapped less favourable over 8.0 m, "
        "more favourable over 0.0 m; not mapped 5.0 m; neither 5.0 m" in said
    )
    crossed = match_text(of, found, asked, cross=True).splitlines()
    assert " ".join(crossed[1].split()) == "m; predicted down, mapped across II good V very poor no class sum"
    assert crossed[3].split() == ["II", "good", "12.00", "8.00", "5.00", "25.00"]
    assert crossed[5].split() == ["sum", "12.00", "8.00", "10.00", "30.00"]


def test_other_schemes_are_not_compared_and_a_number_without_a_scheme_has_no_class() -> None:
    """CERCHAR 2.5 is medium by ISRM 2014 and high by ASTM D7625: another name, and other limits."""
    mapped = MAPPED.with_columns({"cai_scheme": np.array(["ASTM D7625"] * 2, object)})
    predicted = PREDICTED.with_columns({"cai_scheme": np.array(["ISRM 2014", ""], object)})
    of = drive(mapped, predicted)
    found = class_match(of, Asked(of=("cai",)))
    rows = found.rows
    assert rows["outcome"].tolist() == ["not comparable", "not predicted", "neither"]
    assert np.isnan(rows["classes_off"]).all()
    assert rows["compared_by"].tolist() == ["", "", ""]
    assert np.isnan(agreed_share(rows))
    said = match_says(of, found, Asked(of=("cai",)))
    assert any(line.startswith("predicted: CERCHAR has no class: names differ") for line in said)
    assert (
        "CERCHAR: 0.0 m of 30.0 m bored could be compared; not comparable 5.0 m; not predicted 15.0 m; neither 10.0 m"
        in said
    )
    assert not any(line.startswith("mapped off") for line in said)


@pytest.mark.published("strength classes of ISRM and of ISO 14689: the same limits", "secondary")
def test_schemes_with_the_same_limits_or_the_same_words_are_compared_and_named() -> None:
    """ISO 14689 has the limits of ISRM strength (secondary); weathering W2 of ISRM is grade 1 of ISO, by its word."""
    mapped = stated(
        stated(MAPPED, "ucs", ["R5", "R2"], "ISRM strength"), "weathering", ["W2", "W4"], "ISRM 1981"
    )
    predicted = stated(PREDICTED, "ucs", ["very strong"] * 2, "ISO 14689")
    predicted = stated(predicted, "weathering", ["1", "1"], "ISO 14689-1:2003")
    rows = class_match(drive(mapped, predicted), Asked(of=("ucs", "weathering"))).rows
    strength, weathering = (rows.rows(rows["quantity"] == name) for name in ("UCS", "Weathering"))
    assert strength["classes_off"][:2].tolist() == [0, 3]
    assert strength["compared_by"][0] == "ISRM strength and ISO 14689: same limits"
    assert weathering["classes_off"][:2].tolist() == [0, 2]
    assert weathering["compared_by"][0] == "ISRM 1981 and ISO 14689-1:2003: same words"
    assert same_classes(scheme_named("cai", "ISRM 2014"), scheme_named("cai", "ASTM D7625")) == ""
    assert same_classes(scheme_named("rmr", "RMR 1989"), scheme_named("q", "Q 1974")) == ""


def test_a_conversion_fills_what_a_table_lacks_only_when_asked_and_is_named() -> None:
    """RMR = 9 ln Q + 44: of Q 10 it is 64.7, good (secondary)."""
    predicted = ground_with((0.0, 25.0, "gneiss"), q=[10.0])
    of = drive(MAPPED, predicted)
    assert class_match(of, Asked(of=("rmr",))).rows["outcome"].tolist()[:2] == [
        "not predicted",
        "not predicted",
    ]
    asked = Asked(of=("rmr",), convert=("rmr_from_q",))
    found = class_match(of, asked)
    assert found.rows["outcome"].tolist() == ["equal", "differs", "not mapped", "neither"]
    assert found.rows["compared_by"][0] == "RMR 1989; predicted rmr_from_q"
    assert any(
        line.startswith("rmr_from_q: 9 ln Q + 44 (Bieniawski") for line in match_says(of, found, asked)
    )
    for wrong, said in ((("qc",), "gives classes"), (("rqd_from_jv_115", "rqd_from_jv_110"), "choose one")):
        with pytest.raises(UsageError, match=said):
            class_match(of, Asked(convert=wrong))


def test_without_tables_or_classes() -> None:
    bare = drive_of(drive(MAPPED, PREDICTED).setup, drive(MAPPED, PREDICTED).cells)
    with pytest.raises(DriveError, match="there is no mapped ground; import"):
        class_match(bare, Asked())
    with pytest.raises(UsageError, match="'rock' has no classes; expected of rmr, q"):
        class_match(bare, Asked(of=("rock",)))
    nothing = drive(ground_with((0.0, 30.0, "gneiss")), ground_with((0.0, 30.0, "gneiss")))
    found = class_match(nothing, Asked())
    assert len(found.rows) == len(class_cross(found.rows)) == 0
    assert "neither table has a class where it was bored" in match_text(nothing, found, Asked(), cross=False)


INTERVALS = st.lists(
    st.tuples(
        st.integers(-50, 350), st.integers(1, 120), st.sampled_from([np.nan, 10.0, 30.0, 50.0, 70.0, 90.0])
    ),
    min_size=1,
    max_size=6,
)


@settings(deadline=None, max_examples=40)
@given(INTERVALS, INTERVALS)
def test_lengths_add_up_and_every_decimetre_has_the_classes_of_its_ground(
    one: list[tuple[int, int, float]], other: list[tuple[int, int, float]]
) -> None:
    """Against the slow way: each 0.1 m cell looked up by its middle, the first interval that holds it."""

    def ground(rows: list[tuple[int, int, float]]) -> Table:
        return ground_with(*((a / 10, (a + n) / 10, "x") for a, n, _ in rows), rmr=[v for *_, v in rows])

    def at(rows: list[tuple[int, int, float]], middle: float) -> float:
        return next((v for a, n, v in rows if a / 10 < middle < (a + n) / 10), np.nan)

    rows = class_match(drive(ground(one), ground(other)), Asked(of=("rmr",))).rows
    assert rows["length_m"].sum() == pytest.approx(30)
    assert class_cross(rows)["length_m"].sum() == pytest.approx(30)
    assert set(rows["outcome"]) <= set(OUTCOMES)
    assert rows["position_from_m"][1:] == pytest.approx(rows["position_to_m"][:-1])
    for middle in np.arange(0.05, 30, 0.1):
        row = np.searchsorted(rows["position_to_m"], middle)
        mapped, predicted = at(one, middle), at(other, middle)
        expected = (predicted - mapped) / 20  # RMR 1989: twenty points a class, a low one is less favourable
        assert rows["classes_off"][row] == pytest.approx(expected, nan_ok=True)


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = new_drive(tmp_path / "east").folder
    add(folder, [small_log(tmp_path / "a.csv", range(-600, 600))])
    for name, text in (
        ("mapped", "4170,4190,gneiss,III"),
        ("tender", "4170,4190,gneiss,72"),
        ("later", "4170,4190,x,55"),
    ):
        (tmp_path / f"{name}.csv").write_text(f"from,to,rock,RMR\n{text}\n", encoding="utf-8")
        words = ["--as", "mapped" if name == "mapped" else "predicted", "--name", name]
        assert main(["ground", str(folder), str(tmp_path / f"{name}.csv"), *words]) == 0
    capsys.readouterr()
    assert main(["classes", str(folder)]) == 0
    said = capsys.readouterr().out
    assert "III fair" in said
    assert "other predictions, not compared here: 'tender'" in said
    assert "100.0% of them equal" in said
    assert "decided on site, by local codes" in said
    for option, columns in (([], "classes_off"), (["--cross"], "agreed_share")):
        for suffix in (".csv", ".xlsx", ".parquet"):
            out = tmp_path / f"c{suffix}"
            assert main(["classes", str(folder), "--name", "tender", *option, "--out", str(out)]) == 0
        (row,) = csv.DictReader((tmp_path / "c.csv").read_text("utf-8").splitlines())
        assert columns in row
        assert (row["outcome"], row["classes_off"], row["predicted_name"]) == ("differs", "1", "tender")
    capsys.readouterr()
    assert main(["classes", str(folder), "--name", "nobody"]) == 1
    assert "no predicted ground named 'nobody'; there is 'tender', 'later'" in capsys.readouterr().err
    assert main(["classes", str(folder), "--mapped", "nobody"]) == 1
    assert main(["classes", str(folder), "--convert", "qc"]) == 2
