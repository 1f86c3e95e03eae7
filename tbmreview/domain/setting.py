"""A setting of drive.toml: a dataclass field that carries its unit, range, meaning and source."""

from collections.abc import Mapping
from dataclasses import MISSING, Field, dataclass, field, fields
from typing import Any, TypeVar

T = TypeVar("T")

OURS = "program default, professional judgement"  # the source of a default that no publication gives


@dataclass(frozen=True, slots=True)
class Setting:
    """What a person may state under one key."""

    what: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    above_low: bool = False
    choices: tuple[str, ...] = ()
    source: str = ""

    def expected(self) -> str:
        """The allowed values in words."""
        if self.choices:
            return "one of " + ", ".join(f'"{choice}"' for choice in self.choices)
        unit = f" {self.unit}" if self.unit else ""
        if self.low is not None and self.high is not None:
            over = "over " if self.above_low else ""
            return f"a number from {over}{self.low:g} to {self.high:g}{unit}"
        return f"a value{unit}"


def setting(what: str, *, default: Any = MISSING, **facts: Any) -> Any:
    """A dataclass field with a Setting; no default means the key is required."""
    return field(default=default, metadata={"setting": Setting(what, **facts)})


def settings_of(section: type) -> dict[str, tuple[Field[Any], Setting]]:
    """Key -> (field, setting) of a section, in the order of the file."""
    return {f.name: (f, f.metadata["setting"]) for f in fields(section)}


def read_section(section: type[T], name: str, given: Mapping[str, Any], problems: list[str]) -> T | None:
    """The section's dataclass from a mapping; mistakes are added to `problems`, one line each."""
    known = settings_of(section)
    before = len(problems)
    for key in given:
        if key not in known:
            problems.append(f"[{name}] {key}: unknown key; known keys are {', '.join(known)}")
    values: dict[str, Any] = {}
    for key, (spec, facts) in known.items():
        if key not in given:
            if spec.default is MISSING:
                problems.append(f"[{name}] {key}: missing; expected {facts.expected()} ({facts.what})")
            continue
        problem, value = _checked(given[key], spec, facts)
        if problem:
            problems.append(f"[{name}] {key} = {given[key]!r}: {problem}")
        values[key] = value
    return section(**values) if len(problems) == before else None


def _checked(value: Any, spec: Field[Any], facts: Setting) -> tuple[str, Any]:
    """(problem or '', value in the field's type)."""
    kind = spec.type.__name__ if isinstance(spec.type, type) else str(spec.type)
    if "tuple[float" in kind:
        return _checked_numbers(value, facts)
    if "tuple" in kind:
        allowed = isinstance(value, list) and (value or spec.default == ())
        good = allowed and all(isinstance(v, str) for v in value)
        return ("" if good else "expected a list of texts"), tuple(value) if good else value
    if kind.startswith("bool"):
        return ("" if isinstance(value, bool) else "expected true or false"), value
    if kind.startswith("str"):
        if not isinstance(value, str) or not value.strip():
            return "expected a text" + (f", {facts.expected()}" if facts.choices else ""), value
        good = not facts.choices or value in facts.choices
        return ("" if good else f"expected {facts.expected()}"), value
    return _checked_number(value, whole=kind.startswith("int"), facts=facts)


def _checked_numbers(value: Any, facts: Setting) -> tuple[str, Any]:
    if not isinstance(value, list):
        return f"expected a list, each {facts.expected()}", value
    checked = [_checked_number(item, whole=False, facts=facts) for item in value]
    wrong = [f"{item!r}" for item, (problem, _) in zip(value, checked, strict=True) if problem]
    if wrong:
        return f"{', '.join(wrong)}: expected {facts.expected()}", value
    return "", tuple(number for _, number in checked)


def _checked_number(value: Any, *, whole: bool, facts: Setting) -> tuple[str, Any]:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not number or value != value or (whole and value != int(value)):
        return f"expected {'a whole number' if whole else 'a number'}, {facts.expected()}", value
    too_low = facts.low is not None and (value <= facts.low if facts.above_low else value < facts.low)
    if too_low or (facts.high is not None and value > facts.high):
        return f"expected {facts.expected()}", value
    return "", int(value) if whole else float(value)
