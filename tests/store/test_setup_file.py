"""drive.toml: what a person gave stays, every default is stated with its unit and source."""

import tomllib
from pathlib import Path

import pytest

from tbmreview.domain.errors import SetupError
from tbmreview.domain.setting import settings_of
from tbmreview.domain.setup import SECTIONS
from tbmreview.store.setup_file import full_text, parse, read_setup_file

GIVEN = r"""
[drive]
name = 'East "drive" \ Österdal'
timezone = "Europe/Oslo"
chainage_start_m = 4180
chainage_direction = "decreasing"
[machine]
kind = "open gripper"
bore_diameter_m = 6.4
disc_count = 42
[shifts]
start = ["06:00", "18:00"]
names = ["day", "night"]
[motion]
turning_rpm = 0.3
"""


def test_what_was_given_stays_and_every_default_is_stated() -> None:
    setup, given = parse(GIVEN, "mine.toml")
    text = full_text(setup, given)
    again, stated = parse(text, "drive.toml")
    assert again == setup
    for name, section in SECTIONS.items():
        for key, (_, facts) in settings_of(section).items():
            assert (key in stated[name]) == (getattr(getattr(setup, name), key) is not None)
            line = next(
                i for i, t in enumerate(text.splitlines()) if t.removeprefix("# ").startswith(f"{key} =")
            )
            note = text.splitlines()[line - 1]
            assert facts.what in note
            assert facts.unit in note
            if key not in given.get(name, {}):
                assert "default" in note or "not given" in note or facts.source in note


def test_writing_again_what_was_written_changes_values_nowhere() -> None:
    setup, given = parse(GIVEN, "mine.toml")
    once = full_text(setup, given)
    twice = full_text(*parse(once, "drive.toml"))
    assert tomllib.loads(twice) == tomllib.loads(once)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"[drive\n", "not valid TOML"),
        (b"[drive]\nname = '\xe4'", "UTF-8"),
        (GIVEN.replace("bore_diameter_m = 6.4", "bore_diameter_m = -6").encode(), "bore_diameter_m = -6"),
        (GIVEN.replace("disc_count", "discs").encode(), "discs: unknown key"),
    ],
)
def test_a_mistake_names_the_file(tmp_path: Path, content: bytes, told: str) -> None:
    path = tmp_path / "site.toml"
    path.write_bytes(content)
    with pytest.raises(SetupError, match=r"site\.toml") as error:
        read_setup_file(path)
    assert told in str(error.value)


def test_no_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(SetupError, match=r"site\.toml: No such file"):
        read_setup_file(tmp_path / "site.toml")
