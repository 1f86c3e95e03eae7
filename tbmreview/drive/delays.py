"""Delays that the site stated: taking a table in, laying it over the periods, and what contradicts the log.

The log cannot tell a disc change from waiting; the site's table does. Each minute counts once: where two
delays overlap, the one that began last counts, and the other goes on after it. A person's overrule of a
delay lies on top of all.
"""

import hashlib
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Protocol
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.errors import SiteError
from tbmreview.domain.overrules import Overrule
from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.setup import Setup
from tbmreview.domain.site import DELAYS, empty_site_table
from tbmreview.domain.states import State
from tbmreview.domain.station import format_chainage
from tbmreview.domain.table import Column, Table, stack
from tbmreview.drive.columns_text import TIME_COLUMNS
from tbmreview.drive.face import face_at
from tbmreview.drive.history import person
from tbmreview.drive.reading import Codes, Floats, Readable
from tbmreview.drive.stored import StoredDrive
from tbmreview.ingest.site_table import read_delays
from tbmreview.store.site import SiteEntry
from tbmreview.store.writing import writing

UNEXPLAINED = "unexplained_h"
HOUR_US = 3600 * MICROSECONDS
LEAST_CONTRADICTION_S = 60.0  # people write times to the minute
MOST_TOLD = 12  # overlaps that are told one by one
_NONE = -1


class Stated(Readable, Protocol):
    """A drive with what people state beside its logs."""

    def site_table(self, kind: str) -> Table:
        """Tables of domain.site."""

    def overrules(self) -> tuple[Overrule, ...]:
        """What people stated against the program, withdrawn ones too."""


class Kept(Protocol):
    """A drive that knows its tables by name."""

    @property
    def setup(self) -> Setup:
        """What people stated."""

    def site_entries(self, kind: str) -> tuple[SiteEntry, ...]:
        """The tables of a kind, by name."""

    def site_table(self, kind: str, name: str | None = None) -> Table:
        """The rows of one table, or of all."""


class KeptReadable(Readable, Kept, Protocol):
    """The same with what its logs show."""


@dataclass(frozen=True, slots=True)
class Laid:
    """Delays laid over time: intervals (n,) in order, none over another, each with the number of its code;
    codes: every code that the drive knows, in the order of the alphabet."""

    start_us: Codes
    end_us: Codes
    code: Codes
    codes: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.code)


def import_delays(folder: Path | str, file: Path | str, name: str | None = None) -> str:
    """Take a table of delays (start, end, code, note) into a drive; says in lines what was done.

    name: of the table, by default the file's name without its suffix; a table replaces the one of its
    name, others stay. The same content again changes nothing. Times without a zone are local to the drive.
    SiteError names the file and the row that cannot be used.
    """
    folder, file = Path(folder), Path(file)
    drive = StoredDrive(folder)
    zone = drive.setup.drive.zone
    table = read_delays(file, zone, drive.time_span_us)
    for start, code in zip(table["start_us"].tolist(), table["code"].tolist(), strict=True):
        if not code.strip():
            raise SiteError(f"{file}: the delay of {_when(start, zone)} has no code; give it one")
    name = name or file.stem
    over = [f"overlap: {line}" for line in _overlaps(drive, table, name)]
    told = [f"delays '{name}': {_counted(table)}", *over, *_notes(drive, table, name)]
    sha256 = hashlib.sha256(file.read_bytes()).hexdigest()
    known = [entry for entry in drive.site_entries(DELAYS) if entry.name == name]
    if known and known[-1].source_sha256 == sha256:
        return f"delays '{name}': in the drive already, nothing changed"
    with writing(folder, person()) as work:
        work.add_site_table(DELAYS, name, (file.name, sha256), table)
        work.record("delays", {"name": name, "file": file.name, "delays": len(table)})
    return "\n".join(told)


def _counted(table: Table) -> str:
    hours = float((table["end_us"] - table["start_us"]).sum()) / HOUR_US
    codes = _known_codes(table["code"].tolist())
    many = [
        f"{word}s" if count != 1 else word for word, count in (("delay", len(table)), ("code", len(codes)))
    ]
    return f"{len(table)} {many[0]}, {hours:.2f} h, {many[1]} {', '.join(codes)}"


def _overlaps(drive: Kept, table: Table, name: str) -> list[str]:
    """Overlaps of a table that is taken in, within itself and with the others that stay."""
    others = [entry.name for entry in drive.site_entries(DELAYS) if entry.name != name]
    tables = [*(drive.site_table(DELAYS, other) for other in others), table]
    names = [n for n, of in zip([*others, name], tables, strict=True) for _ in range(len(of))]
    return overlaps(stack(tables), names, drive.setup.drive.zone, name)


def overlaps(table: Table, names: Sequence[str], zone: ZoneInfo, of: str | None = None) -> list[str]:
    """In words: which delays overlap, and how their minutes are counted. names: (n,) of the table of each; of:
    only those of this table."""
    told, open_rows = [], list[int]()
    for row in _order(table).tolist():
        start, end = int(table["start_us"][row]), int(table["end_us"][row])
        open_rows = [i for i in open_rows if table["end_us"][i] > start]
        for i in open_rows:
            if of not in (None, names[i], names[row]):
                continue
            over_us = min(end, int(table["end_us"][i])) - start
            last = "began last" if start > table["start_us"][i] else "is shorter, or came in last"
            told.append(
                f"{_stated(table, row, names, zone)} lies {over_us / (60 * MICROSECONDS):.0f} min over "
                f"{_stated(table, i, names, zone)}; these count for the one that {last}"
            )
        open_rows.append(row)
    more = len(told) - MOST_TOLD
    return [*told[:MOST_TOLD], f"and {more} more"] if more > 0 else told


def _stated(table: Table, row: int, names: Sequence[str], zone: ZoneInfo) -> str:
    several = f" (table '{names[row]}')" if len(set(names)) > 1 else ""
    return f"'{table['code'][row]}' from {_when(int(table['start_us'][row]), zone)}{several}"


def _order(table: Table) -> Codes:
    """Rows as they are laid, one over the other: by start, the longer first, as they came in."""
    order: Codes = np.lexsort((-table["end_us"], table["start_us"]))
    return order


def _notes(drive: StoredDrive, table: Table, name: str) -> list[str]:
    low, high = drive.time_span_us or (0, 0)
    count = int(((table["end_us"] <= low) | (table["start_us"] > high)).sum())
    others = [f"'{entry.name}'" for entry in drive.site_entries(DELAYS) if entry.name != name]
    return [
        *([f"note: {count} of them lie outside the time that was logged so far"] if count else []),
        *([f"note: they count beside {', '.join(others)}; --name NAME replaces a table"] if others else []),
    ]


def _when(time_us: int, zone: ZoneInfo) -> str:
    return f"{datetime.fromtimestamp(time_us / MICROSECONDS, zone):%Y-%m-%d %H:%M}"


def delay_table(drive: KeptReadable) -> Table:
    """The delays as the site stated them, by time: start_utc, end_utc, stated_h, hours (lost: in which the machine
    did not bore), while_boring_h, code, note, table (its name). Overruled ones are as they were, and where two
    overlap both have the hours; `laid_delays` counts each minute once."""
    stated, names = _by_time(drive)
    length = (stated["end_us"] - stated["start_us"]) / HOUR_US
    boring = _bored_h(drive, stated)
    columns: dict[str, Column] = {
        "start_utc": stated["start_us"],
        "end_utc": stated["end_us"],
        "stated_h": length,
        "hours": length - boring,
        "while_boring_h": boring,
        "code": stated["code"],
        "note": stated["note"],
        "table": texts(names),
    }
    return Table(columns)


def _by_time(drive: Kept) -> tuple[Table, list[str]]:
    """The delays by time, and the table of each."""
    tables = [(entry.name, drive.site_table(DELAYS, entry.name)) for entry in drive.site_entries(DELAYS)]
    stated = stack([empty_site_table(DELAYS), *(table for _, table in tables)])
    names = [name for name, table in tables for _ in range(len(table))]
    order = np.lexsort((stated["end_us"], stated["start_us"]))
    return stated.rows(order), [names[i] for i in order.tolist()]


def _bored_h(drive: Readable, stated: Table) -> Floats:
    """Hours of boring in each row (n,)."""
    boring = drive.periods.rows(drive.periods["state"] == State.BORING)
    start, end = boring["start_us"], boring["end_us"]
    rows = zip(stated["start_us"].tolist(), stated["end_us"].tolist(), strict=True)
    both = [np.minimum(end, high) - np.maximum(start, low) for low, high in rows]
    return np.array([float(np.maximum(part, 0).sum()) / HOUR_US for part in both], np.float64)


def overlap_lines(drive: Kept) -> list[str]:
    """The overlaps of all that the site stated, in words."""
    stated, names = _by_time(drive)
    return overlaps(stated, names, drive.setup.drive.zone)


def has_delays(drive: Stated) -> bool:
    """Whether the site, or an overrule, stated any."""
    return bool(len(drive.site_table(DELAYS)) or _overruled(drive))


def laid_delays(drive: Stated) -> Laid:
    """The drive's delays, each minute counted once."""
    table, said = drive.site_table(DELAYS), _overruled(drive)
    codes = _known_codes([*table["code"].tolist(), *(o.value for o in said)])
    number = {_folded(code): i for i, code in enumerate(codes)}
    rows = [(int(table["start_us"][i]), int(table["end_us"][i]), table["code"][i]) for i in _order(table)]
    rows += [(o.start_us, o.end_us, o.value) for o in said]
    edges = np.unique(np.array([us for start, end, _ in rows for us in (start, end)], np.int64))
    owner = np.full(max(len(edges) - 1, 0), _NONE)
    for start, end, code in rows:
        part = slice(*np.searchsorted(edges, (start, end)))
        owner[part] = number.get(_folded(code), _NONE)
    held = np.flatnonzero(owner != _NONE)
    first = held[np.r_[True, (np.diff(held) > 1) | (np.diff(owner[held]) != 0)]] if len(held) else held
    last = held[np.r_[(np.diff(held) > 1) | (np.diff(owner[held]) != 0), True]] if len(held) else held
    return Laid(edges[first], edges[last + 1], owner[first], codes)


def counts(drive: Stated, codes: Sequence[str], span_us: tuple[int, int]) -> Floats:
    """How many delays of each code were stated for a span of time, by the site and by overrules (n,). One that
    lies wholly under an overrule does not count."""
    table, said = drive.site_table(DELAYS), _overruled(drive)
    rows = zip(table["start_us"].tolist(), table["end_us"].tolist(), table["code"].tolist(), strict=True)
    left = [row for row in rows if not any(o.start_us <= row[0] and row[1] <= o.end_us for o in said)]
    left += [(o.start_us, o.end_us, o.value) for o in said]
    found = Counter(_folded(code) for low, high, code in left if low < span_us[1] and high > span_us[0])
    return np.array([found[_folded(code)] for code in codes], np.float64)


def _overruled(drive: Stated) -> list[Overrule]:
    return [o for o in drive.overrules() if o.what == "delay" and not o.withdrawn]


def _folded(code: str) -> str:
    return " ".join(code.split()).casefold()


def _known_codes(written: Sequence[str]) -> tuple[str, ...]:
    """Codes that differ in letter case or blanks are one, spelt as it was first."""
    known: dict[str, str] = {}
    for code in written:
        if _folded(code):
            known.setdefault(_folded(code), " ".join(code.split()))
    return tuple(known[folded] for folded in sorted(known))


def code_columns(codes: Sequence[str]) -> tuple[str, ...]:
    """The column of each code: its letters and digits and '_h'. 'disc change' has disc_change_h; a code that
    is called like a state has '_delay' in it; codes that come out alike are numbered."""
    own = {name.casefold() for name in (*TIME_COLUMNS, UNEXPLAINED)}
    taken, out = set(own), []
    for code in codes:
        plain = re.sub(r"\W+", "_", code).strip("_") or "delay"
        if f"{plain}_h".casefold() in own:
            plain = f"{plain}_delay"
        name, number = f"{plain}_h", 1
        while name.casefold() in taken:
            number += 1
            name = f"{plain}_{number}_h"
        taken.add(name.casefold())
        out.append(name)
    return tuple(out)


def shared(one: tuple[Codes, Codes], other: tuple[Codes, Codes]) -> tuple[Codes, Codes]:
    """Where two sets of intervals (starts, ends), each in order and without overlap, overlap each other."""
    edges = np.unique(np.concatenate([*one, *other]))
    inside = np.ones(max(len(edges) - 1, 0), bool)
    for start, end in (one, other):
        begun, done = (np.searchsorted(at, edges[:-1], side="right") for at in (start, end))
        inside &= begun > done
    return edges[:-1][inside], edges[1:][inside]


def contradictions(drive: Stated) -> Table:
    """Delays during which the machine bored for a minute or more, in order of time: code, start_utc, end_utc,
    boring_min [min], chainage_from_m, chainage_to_m (what was bored in it; NaN without advance)."""
    laid, periods, cells = laid_delays(drive), drive.periods, drive.cells
    boring = periods.rows(periods["state"] == State.BORING)
    start, end = shared((laid.start_us, laid.end_us), (boring["start_us"], boring["end_us"]))
    of = np.searchsorted(laid.start_us, start, side="right") - 1
    bored_us = np.bincount(of, (end - start).astype(np.float64), minlength=len(laid))
    rows = np.flatnonzero(bored_us >= LEAST_CONTRADICTION_S * MICROSECONDS)
    first, last = np.searchsorted(of, rows), np.searchsorted(of, rows, side="right") - 1
    ends = face_at(periods, cells)(np.column_stack([start[first], end[last]]))
    ends[ends[:, 0] == ends[:, 1]] = np.nan
    chainage = drive.axis.chainage_m(ends)
    columns: dict[str, Column] = {
        "code": texts([laid.codes[i] for i in laid.code[rows]]),
        "start_utc": laid.start_us[rows],
        "end_utc": laid.end_us[rows],
        "boring_min": bored_us[rows] / (60 * MICROSECONDS),
        "chainage_from_m": chainage[:, 0],
        "chainage_to_m": chainage[:, 1],
    }
    return Table(columns)


def contradiction_lines(drive: Stated) -> list[str]:
    """The contradictions in words."""
    found = contradictions(drive)
    return [contradiction_line(drive, found, i) for i in range(len(found))]


def contradiction_line(drive: Stated, found: Table, row: int) -> str:
    """A row of `contradictions` in words."""
    zone = drive.setup.drive.zone
    start, end = (_when(int(found[f"{side}_utc"][row]), zone) for side in ("start", "end"))
    ends = [format_chainage(float(found[f"chainage_{side}_m"][row])) for side in ("from", "to")]
    where = f", chainage {ends[0]} to {ends[1]}" if ends[0] else ""
    minutes = found["boring_min"][row]
    return f"'{found['code'][row]}' from {start} to {end}: the log shows boring for {minutes:.0f} min of it{where}"


def texts(values: Sequence[str]) -> NDArray[np.object_]:
    """A text column, of no rows too."""
    return np.array([*values, ""], dtype=object)[:-1]
