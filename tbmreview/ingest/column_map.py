"""The column map: what a person states about a log's columns and clock, as TOML."""

import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from tbmreview.domain.channels import BY_NAME
from tbmreview.domain.errors import LogError
from tbmreview.ingest.stamp_text import ORDERS
from tbmreview.ingest.units import for_channel, parse_unit

IGNORE, EXTRA = "ignore", "extra"
OPEN = "?"  # a unit still to be filled in


@dataclass(frozen=True, slots=True)
class Entry:
    """One header: a channel name, 'extra' or 'ignore'; unit of the file's values for a channel, OPEN where
    the data are to settle it or it is asked for again."""

    channel: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """columns: header as shown -> Entry. Clock entries are '' or () where not stated.

    zone: 'UTC', an offset '+01:00', 'drive' or an IANA name. order: 'ymd', 'dmy' or 'mdy'.
    stamp_marks: 'start' or 'end' of the interval that a row stands for; start where not stated.
    """

    columns: Mapping[str, Entry] = field(default_factory=dict)
    stamps: tuple[str, ...] = ()
    order: str = ""
    zone: str = ""
    stamp_marks: str = ""

    def as_toml(self, asked: Mapping[str, str] | None = None, clock: Sequence[str] = ()) -> str:
        """The map as text that `read_column_map` takes back. asked: the question on a header, written above it;
        clock: those on date and time, written with the lines that answer them."""
        lines = [
            "# What each column of the log is: a channel and the unit it is written in, 'extra' to keep it"
        ]
        lines += [
            "# under its own name, or 'ignore' to leave it out. Change what is wrong and give it to `add`."
        ]
        lines += [
            "# A unit '?' is open: fill it in as the file's values are written, such as 'kN' or '0.1 mm/rev'."
        ]
        lines += ["", "[clock]"]
        lines += [f"# {' '.join(question.split())}" for question in clock]
        lines += [f"stamps = {_quoted(list(self.stamps))}"] if self.stamps else []
        for name, said, choices in (
            ("order", self.order, "ymd, dmy or mdy"),
            ("zone", self.zone, "drive, UTC, +01:00 or an IANA name"),
        ):
            if said:
                lines.append(f"{name} = {_quoted(said)}  # {choices}")
            elif clock:
                lines.append(f'# {name} = "?"  # {choices}; take the first # away to state it')
        lines += (
            [f"stamp_marks = {_quoted(self.stamp_marks)}  # start or end of a row's interval"]
            if self.stamp_marks
            else ['# stamp_marks = "end"  # where a stamp ends the interval that its row stands for']
        )
        lines += ["", "[columns]"]
        for header, entry in self.columns.items():
            measured = entry.channel in BY_NAME and BY_NAME[entry.channel].unit
            unit = f", unit = {_quoted(entry.unit)}" if entry.unit and measured else ""
            question = " ".join((asked or {}).get(header, "").split())
            lines += [f"# {question}"] if question else []
            lines.append(f"{_quoted(header)} = {{ channel = {_quoted(entry.channel)}{unit} }}")
        return "\n".join(lines) + "\n"


def _quoted(value: str | list[str]) -> str:
    """A TOML string or array; JSON's escapes are TOML's."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def read_column_map(path: Path) -> ColumnMap:
    """The map in a file; LogError names the file, the entry and what was expected."""
    try:
        return parse_column_map(path.read_text("utf-8"), str(path))
    except OSError as error:
        raise LogError(f"{path}: the column map cannot be read ({error.strerror})") from error
    except UnicodeDecodeError as error:
        raise LogError(f"{path}: the column map is no UTF-8 text") from error


def parse_column_map(text: str, name: str) -> ColumnMap:
    """The map in a text; LogError on any mistake."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise LogError(f"{name}: is no column map in TOML ({error})") from error
    for key in data:
        if key not in ("clock", "columns"):
            raise LogError(f"{name}: unknown section {key!r}; expected [clock] and [columns]")
    clock, columns = data.get("clock", {}), data.get("columns", {})
    if not isinstance(clock, dict) or not isinstance(columns, dict):
        raise LogError(f"{name}: expected [clock] and [columns] as sections")
    entries = {header: _entry(value, header, name) for header, value in columns.items()}
    return ColumnMap(entries, *_clock(clock, name))


def _entry(value: Any, header: str, name: str) -> Entry:
    if isinstance(value, str):
        value = {"channel": value}
    if not isinstance(value, dict) or not set(value) <= {"channel", "unit"}:
        raise LogError(f'{name}: {header!r}: expected {{ channel = "...", unit = "..." }}')
    channel, unit = value.get("channel"), value.get("unit", "")
    if not isinstance(channel, str) or not isinstance(unit, str):
        raise LogError(f"{name}: {header!r}: channel and unit are texts")
    if channel not in BY_NAME and channel not in (IGNORE, EXTRA):
        raise LogError(
            f"{name}: {header!r}: unknown channel {channel!r}; known are {', '.join(BY_NAME)}, extra, ignore"
        )
    if (
        channel in BY_NAME
        and unit not in ("", OPEN)
        and for_channel(parse_unit(unit), BY_NAME[channel]) is None
    ):
        raise LogError(f"{name}: {header!r}: {unit!r} is no known unit of {BY_NAME[channel].quantity}")
    if channel in BY_NAME and not unit and BY_NAME[channel].unit:
        raise LogError(f"{name}: {header!r}: state the unit the file's values are written in")
    return Entry(channel, unit)


def _clock(clock: Mapping[str, Any], name: str) -> tuple[tuple[str, ...], str, str, str]:
    unknown = set(clock) - {"stamps", "order", "zone", "stamp_marks"}
    if unknown:
        raise LogError(
            f"{name}: [clock] {sorted(unknown)[0]}: unknown key; known are stamps, order, zone, stamp_marks"
        )
    marks = clock.get("stamp_marks", "")
    if marks not in ("", "start", "end"):
        raise LogError(f"{name}: [clock] stamp_marks = {marks!r}: expected start or end")
    stamps, order, zone = clock.get("stamps", []), clock.get("order", ""), clock.get("zone", "")
    stamps = [stamps] if isinstance(stamps, str) else stamps
    if not isinstance(stamps, list) or len(stamps) > 2 or not all(isinstance(s, str) for s in stamps):
        raise LogError(f"{name}: [clock] stamps: expected the headers of one or two columns")
    if order and order not in ORDERS:
        raise LogError(f"{name}: [clock] order = {order!r}: expected one of {', '.join(ORDERS)}")
    if not isinstance(zone, str) or not known_zone(zone):
        raise LogError(
            f"{name}: [clock] zone = {zone!r}: expected drive, UTC, an offset such as +01:00 or an IANA name"
        )
    return tuple(stamps), order, zone, marks


def known_zone(zone: str) -> bool:
    """Whether a text is '', 'drive', 'stamp', 'UTC', an offset or an IANA name."""
    if zone in ("", "drive", "stamp", "UTC"):
        return True
    if len(zone) == 6 and zone[0] in "+-" and zone[3] == ":" and (zone[1:3] + zone[4:]).isdigit():
        return True
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True
