"""Rows of logs that were not taken in, and values that rules set aside, as tables."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from tbmreview.domain.table import Column, Table
from tbmreview.drive.export import iso_utc
from tbmreview.store.aside import Aside

CONFLICT = "the same stamp with other values (what was there is kept)"

Quarantined = tuple[str, int | None, str, str]  # file, line, reason, text
Clash = tuple[str, int, str, float, float, int]  # file, time_us, channel, kept, offered, channels


def quarantine_table(rows: Sequence[Quarantined], clashes: Sequence[Clash]) -> Table:
    """file, line, reason, text: every row that was left out, those in conflict after the others."""
    told = [(clash[0], None, CONFLICT, _in_words(clash)) for clash in clashes]
    files, lines, reasons, texts = zip(*rows, *told, strict=True) if rows or told else ((),) * 4
    return Table(
        {
            "file": _texts(files),
            "line": np.array([np.nan if line is None else line for line in lines], np.float64),
            "reason": _texts(reasons),
            "text": _texts(texts),
        }
    )


def stamped_table(rows: Sequence[tuple[str, int, int]]) -> Table:
    """file, line, time_us: rows that were left out and whose stamps are told."""
    files, lines, times = zip(*rows, strict=True) if rows else ((),) * 3
    return Table(
        {"file": _texts(files), "line": np.array(lines, np.int64), "time_us": np.array(times, np.int64)}
    )


def conflict_table(clashes: Sequence[Clash]) -> Table:
    """file, time_utc, channel, kept, offered, channels: every row in conflict."""
    files, times, channels, kept, offered, counts = zip(*clashes, strict=True) if clashes else ((),) * 6
    return Table(
        {
            "file": _texts(files),
            "time_utc": np.array(times, np.int64),
            "channel": _texts(channels),
            "kept": np.array(kept, np.float64),
            "offered": np.array(offered, np.float64),
            "channels": np.array(counts, np.int64),
        }
    )


def set_aside_table(found: Sequence[tuple[str, str, Aside]]) -> Table:
    """time_utc, channel, value, rule: every value that a rule made missing for the rows around it, by time."""
    counts = [len(some) for _, _, some in found]
    time_us = np.concatenate([np.empty(0, np.int64), *(some.time_us for _, _, some in found)])
    values = np.concatenate([np.empty(0), *(some.values for _, _, some in found)])
    rules, channels = (
        (_texts(names).repeat(counts) for names in zip(*(f[:2] for f in found), strict=True))
        if found
        else (_texts(()),) * 2
    )
    order = np.lexsort((channels.astype(str), time_us))
    columns = {"time_utc": time_us, "channel": channels, "value": values, "rule": rules}
    return Table({name: column[order] for name, column in columns.items()})


def _in_words(clash: Clash) -> str:
    _, time_us, channel, kept, offered, channels = clash
    more = f", and {channels - 1} channels more" if channels > 1 else ""
    return f"{iso_utc(time_us)}: {channel} {offered:.10g}, kept {kept:.10g}{more}"


def _texts(values: Sequence[Any]) -> Column:
    return np.array([*values, ""], dtype=object)[:-1]
