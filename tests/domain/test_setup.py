"""drive.toml: the least that works, and every mistake named with file, key, value and what was expected."""

from typing import Any

import pytest

from tbmreview.domain.errors import SetupError
from tbmreview.domain.setting import settings_of
from tbmreview.domain.setup import SECTIONS, read_setup

LEAST: dict[str, Any] = {
    "drive": {
        "name": "Larkfell",
        "timezone": "Europe/Oslo",
        "chainage_start_m": 4180.0,
        "chainage_direction": "increasing",
    },
    "machine": {"kind": "double shield", "bore_diameter_m": 6.4, "disc_count": 42},
}


PADS: dict[str, Any] = {"angles_deg": [0, 120, 240], "radius_m": 2.6, "pushes": "positive"}


def changed(section: str, key: str, value: Any) -> dict[str, Any]:
    known = {**LEAST, "pads": PADS}
    return {**LEAST, section: {**known.get(section, {}), key: value}}


def test_the_least_that_works_has_defaults_for_all_else() -> None:
    setup = read_setup(LEAST, "drive.toml")
    assert setup.machine.drag_kN is None
    assert setup.machine.disc_lever_arm == 0.3
    assert setup.shifts.start == ("06:00",)
    assert setup.drive.axis.direction == 1


@pytest.mark.parametrize(
    ("section", "key", "value"),
    [
        ("machine", "bore_diameter_m", -6),
        ("machine", "bore_diameter_m", float("nan")),
        ("machine", "bore_diameter_m", "6.4"),
        ("machine", "disc_count", 41.5),
        ("machine", "disc_count", True),
        ("machine", "kind", "open"),
        ("machine", "bore", 6.4),
        ("drive", "timezone", "Norway/Oslo"),
        ("drive", "chainage_direction", "up"),
        ("drive", "name", " "),
        ("drive", "ring_length_m", 0),
        ("shifts", "start", ["14:00", "06:00"]),
        ("shifts", "start", ["25:00"]),
        ("findings", "fpi_least_cells", 10),
        ("machine", "disc_radii_m", 3.0),
        ("machine", "disc_radii_m", [3.0, "2.9"]),
        ("machine", "disc_radii_m", [3.0, 2.9]),  # of 42 discs
        ("machine", "disc_radii_m", [3.6] * 42),  # beyond the bore
        ("pads", "radius_m", 9.0),  # beyond the bore
        ("pads", "radius_m", "2.6"),
        ("pads", "angles_deg", [0.0, 90.0, 360.0]),  # the crown twice
        ("pads", "angles_deg", [0.0]),
        ("pads", "angles_deg", [0.0, 400.0]),
        ("pads", "angles_deg", []),  # and yet a radius
        ("pads", "pushes", "forward"),
        ("pads", "unit", "t"),
        ("pads", "columns", ["one"]),
        ("pads", "columns", ["one", "one", "two"]),
        ("pads", "columns", ["", "", ""]),
        ("pads", "area_m2", 0),
        ("pads", "eccentricity_limit_mm", -1),
        ("pads", "limit_kN", 2000),
    ],
)
def test_a_wrong_key_or_value_is_named(section: str, key: str, value: Any) -> None:
    with pytest.raises(SetupError) as caught:
        read_setup(changed(section, key, value), "drive.toml")
    message = str(caught.value)
    assert message.startswith("drive.toml: ")
    assert f"[{section}] {key}" in message
    assert "expected" in message or "known keys" in message


def test_pads_need_where_they_are_and_which_way_they_push() -> None:
    """No unit, sign or place is taken for granted."""
    assert read_setup({**LEAST, "pads": PADS}, "drive.toml").pads.angles_deg == (0.0, 120.0, 240.0)
    assert read_setup({**LEAST, "pads": {}}, "drive.toml").pads.angles_deg == ()
    for key in ("radius_m", "pushes"):
        without = {name: value for name, value in PADS.items() if name != key}
        with pytest.raises(SetupError, match=rf"\[pads\] {key}: missing; expected"):
            read_setup({**LEAST, "pads": without}, "drive.toml")


def test_every_mistake_is_listed() -> None:
    with pytest.raises(SetupError) as caught:
        read_setup({"drive": {}, "machine": {"bore_diameter_m": 99}, "odd": {}}, "drive.toml")
    for part in ("[odd]", "[drive] timezone", "[machine] kind", "[machine] bore_diameter_m = 99"):
        assert part in str(caught.value)


def test_a_default_says_where_it_comes_from() -> None:
    """A number that a person did not state needs a source."""
    for section in SECTIONS.values():
        for key, (spec, facts) in settings_of(section).items():
            if isinstance(spec.default, int | float):
                assert facts.source, f"{section.__name__}.{key}"
