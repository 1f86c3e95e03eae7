"""Headings of single pads: which are known, by what number and unit, and that none passes for the force of a whole set."""

import pytest

from tbmreview.ingest.headers import parse_header
from tbmreview.ingest.pads import pad_columns
from tbmreview.ingest.synonyms import meaning


@pytest.mark.parametrize(
    ("heading", "label", "unit"),
    [
        ("aux pad force 1 kN", "1", "kN"),
        ("Auxiliary thrust pad A [kN]", "A", "kN"),
        ("pad 03 pressure (bar)", "3", "bar"),
        ("Pad No. 12 force [MN]", "12", "MN"),
        ("AuxPad7_Force_kN", "7", "kN"),
        ("Hilfspresse Druckschuh 4 Kraft [kN]", "4", "kN"),
        ("Druck Druckplatte B [bar]", "B", "bar"),
        ("Pressenschuh Nr. 5 Druck (MPa)", "5", "MPa"),
        ("[21] Thrust shoe 2 force", "2", None),
    ],
)
def test_a_pad_its_number_and_its_unit(heading: str, label: str, unit: str | None) -> None:
    (column,) = pad_columns([f"extra:{heading}"])
    assert (column.label, column.unit.name if column.unit else None) == (label, unit)
    means = meaning(parse_header(heading))
    assert means.channels == ()
    assert "of a single pad" in means.set_aside


@pytest.mark.parametrize(
    "heading",
    [
        *(
            "Pad 1 stroke [mm]",
            "pad 2 temperature [°C]",
            "Gripper pad 1 pressure [bar]",
            "pad 3 force set-point [kN]",
        ),
        *("Aux thrust [kN]", "pad force limit 2 kN", "Pad force [kN]", "Pad A cylinder 2 force [kN]"),
    ],
)
def test_what_is_no_force_of_one_pad(heading: str) -> None:
    assert pad_columns([f"extra:{heading}"]) == ()


def test_words_for_all_pads_still_name_the_auxiliary_thrust_and_gripper_pads_the_grippers() -> None:
    assert meaning(parse_header("Aux. pads total force [kN]")).channels[0] == "aux_thrust_kN"
    assert meaning(parse_header("Gripper pad pressure [bar]")).channels == ("gripper_pressure_bar",)
    assert meaning(parse_header("Gripper pad 1 pressure [bar]")).channels == ("gripper_pressure_bar",)


def test_columns_come_in_the_order_of_their_pads() -> None:
    names = [f"extra:pad {n} force [kN]" for n in ("10", "2", "B", "1", "A")]
    assert [column.label for column in pad_columns(names)] == ["1", "2", "10", "A", "B"]
