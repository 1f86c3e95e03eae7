"""drive.toml: read with every mistake named; written once, by `start`, with every default stated."""

import json
import tomllib
from collections.abc import Mapping
from dataclasses import MISSING, Field
from pathlib import Path
from typing import Any

from tbmreview.domain.errors import SetupError
from tbmreview.domain.setting import Setting, settings_of
from tbmreview.domain.setup import SECTIONS, Setup, read_setup

HEADER = """\
# Setup of a drive, written once when the drive was made; from then on it is yours to edit.
# A key that begins with # is not given. Tables and sheets follow what is written here.
"""


def read_text(path: Path) -> str:
    """The text of a setup file; SetupError if there is none to read."""
    try:
        return path.read_text(encoding="utf-8")
    except OSError as error:
        raise SetupError(f"{path}: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise SetupError(f"{path}: byte {error.start} is no UTF-8; save the file as UTF-8") from error


def parse(text: str, source: str) -> tuple[Setup, Mapping[str, Any]]:
    """(setup, what the text states) of a setup file; SetupError names `source`, key and value."""
    try:
        given = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SetupError(f"{source}: not valid TOML: {error}") from error
    return read_setup(given, source), given


def read_setup_file(path: Path) -> Setup:
    """The setup in a file; SetupError names file, key, value and what was expected."""
    return parse(read_text(path), str(path))[0]


def full_text(setup: Setup, given: Mapping[str, Any]) -> str:
    """The text of drive.toml: what was given keeps its value, all else is stated as a default."""
    parts = [HEADER]
    for name, section in SECTIONS.items():
        parts.append(f"\n[{name}]\n")
        values, stated = getattr(setup, name), given.get(name, {})
        for key, (spec, facts) in settings_of(section).items():
            parts.append(_entry(key, getattr(values, key), spec, facts, key in stated))
    return "".join(parts)


def _entry(key: str, value: Any, spec: Field[Any], facts: Setting, given: bool) -> str:
    notes = [facts.what]
    if facts.unit or facts.choices or facts.low is not None:
        notes.append(facts.expected())
    if spec.default is not MISSING and not given:
        notes.append(
            "not given" if value is None else f"default{f' ({facts.source})' if facts.source else ''}"
        )
    line = f"# {key} =" if value is None else f"{key} = {_toml(value)}"
    return f"# {'; '.join(notes)}\n{line}\n"


def _toml(value: Any) -> str:
    if isinstance(value, tuple):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return json.dumps(value)
