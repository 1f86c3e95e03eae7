"""Which columns of a log hold its stamps, and how they are written."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import pyarrow as pa

from tbmreview.ingest.clock import Clock
from tbmreview.ingest.headers import Header, tidy
from tbmreview.ingest.stamp_text import (
    are_dotted_times,
    digits_of_times,
    is_dated,
    is_time_of_day,
    orders_that_fit,
    stamp_has_time,
    stamp_has_zone,
)
from tbmreview.ingest.synonyms import stamp_words, utc_words

_EPOCH_TICKS = ((1e6, "s"), (1e3, "ms"), (1.0, "us"), (1e-3, "ns"))
_EPOCH_FIRST_S, _EPOCH_LAST_S = 631_152_000, 4_102_444_800  # 1990 to 2100
_SERIAL_FIRST, _SERIAL_LAST = 32_874, 73_051  # the same in days since 1899-12-30
_ORDER_WORDS = {
    "ymd": re.compile(r"(?:yyyy|yy|jjjj|jj|aaaa|aa|åååå)[-./ ]?mm[-./ ]?(?:dd|tt|jj|gg)", re.I),
    "dmy": re.compile(r"(?:dd|tt|jj|gg)[-./ ]?mm[-./ ]?(?:yyyy|yy|jjjj|aaaa|aa|jj|åååå)", re.I),
    "mdy": re.compile(r"mm[-./ ]?(?:dd|tt|jj|gg)[-./ ]?(?:yyyy|yy|jjjj|aaaa|aa)", re.I),
}
SMALL_NUMBER = re.compile(r"\s*[-+]?\d{1,7}(?:[.,]\d*)?\s*")  # no date, no time of day, no count from 1970
_OFFSET_WORDS = re.compile(r"(?:utc|gmt)\s*([+-])\s*(\d{1,2})(?::?(\d{2}))?\b", re.I)


@dataclass(frozen=True, slots=True)
class ClockFound:
    """The clock, or None; every column that holds a date or time; what must be asked.

    beside: a second clock of the log, to compare the two.
    """

    clock: Clock | None
    columns: tuple[int, ...]
    question: str = ""
    beside: Clock | None = None


@dataclass(frozen=True, slots=True)
class StampSample:
    """What is known of one column: its header and sample texts (missing left out), or its Arrow type."""

    index: int
    header: Header
    texts: Sequence[str]
    type: pa.DataType | None = None


def find_clock(samples: Sequence[StampSample], file_name: str) -> ClockFound:
    """The best clock of a log: stamps with an offset, then epoch counts, text with time, date + time."""
    kinds = {s.index: _kind(s) for s in samples}
    dated = any(kinds[s.index] == "date" or (kinds[s.index] == "full" and _midnight(s)) for s in samples)
    if dated and "time" not in kinds.values():
        kinds |= {s.index: "time" for s in samples if _is_whole_time(s)}
    by_kind: dict[str, list[StampSample]] = {}
    for sample in samples:
        by_kind.setdefault(kinds[sample.index], []).append(sample)
    columns = tuple(i for i, kind in kinds.items() if kind not in ("", "serial"))
    for kind in ("typed aware", "aware", "epoch", "typed", "full"):
        found = _liveliest(by_kind.get(kind, []))
        if found is not None and not (kind == "full" and _midnight(found) and by_kind.get("time")):
            clock = _clock_of(kind, (found,), columns, file_name)
            others = [
                s for k in ("full", "epoch", "typed", "aware", "typed aware") for s in by_kind.get(k, [])
            ]
            return replace(clock, beside=_beside(clock, others, kinds, file_name))
    dates = by_kind.get("date", []) + by_kind.get("full", [])
    times = by_kind.get("time", [])
    if dates and times:
        time = min(times, key=lambda s: abs(s.index - dates[0].index))
        date = min(dates, key=lambda s: abs(s.index - time.index))
        return _clock_of("full", (date, time), columns, file_name)
    serial = _liveliest(by_kind.get("serial", []))
    if serial is None:
        return ClockFound(None, columns)
    return _clock_of("serial", (serial,), (*columns, serial.index), file_name)


def _beside(
    found: ClockFound, others: Sequence[StampSample], kinds: Mapping[int, str], file_name: str
) -> Clock | None:
    """The first other column of stamps whose order is plain; those stamped alike throughout say nothing."""
    for sample in others:
        if found.clock is None or sample.index in found.clock.columns or len(set(sample.texts)) < 2:
            continue
        other = _clock_of(kinds[sample.index], (sample,), (), file_name)
        if not other.question:
            return other.clock
    return None


def _kind(sample: StampSample) -> str:
    """'' where the column is no stamp."""
    kind = sample.type
    if kind is not None and (pa.types.is_timestamp(kind) or pa.types.is_date(kind)):
        return "typed aware" if pa.types.is_timestamp(kind) and kind.tz else "typed"
    texts = sample.texts
    if not texts:
        return ""
    share = 0.6 * len(texts)
    named = stamp_words(sample.header.raw)
    if not named and all(map(SMALL_NUMBER.fullmatch, texts)):
        return ""
    if sum(is_time_of_day(t) for t in texts) > share or (named and are_dotted_times(texts)):
        return "time"
    dated = [t for t in texts if is_dated(t)]
    if len(dated) > share and (named or not all(t.strip().isdigit() for t in dated)):
        if sum(stamp_has_time(t) for t in dated) <= share:
            return "date"
        return "aware" if sum(stamp_has_zone(t) for t in dated) > share else "full"
    numbers = [v for v in map(_value, texts) if v is not None]
    if len(numbers) <= share:
        return ""
    if sum(tick_us(v) is not None for v in numbers) > share and (named or _rising(numbers)):
        return "epoch"
    if named and sum(_SERIAL_FIRST < v < _SERIAL_LAST for v in numbers) > share and _rising(numbers):
        return "serial"
    return ""


def _is_whole_time(sample: StampSample) -> bool:
    """A time of day written as a whole number; looked for only beside a date."""
    return stamp_words(sample.header.raw) and digits_of_times(sample.texts) > 0


def _value(text: str) -> float | None:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return None


def tick_us(value: float) -> float | None:
    """Microseconds in one of the units in which a number counts from 1970; None where it counts none."""
    for tick, _ in _EPOCH_TICKS:
        if _EPOCH_FIRST_S * 1e6 <= value * tick <= _EPOCH_LAST_S * 1e6:
            return tick
    return None


def _rising(values: Sequence[float]) -> bool:
    plausible = [v for v in values if v > 1]
    steps = list(pairwise(plausible))
    return len(set(plausible)) > 1 and sum(b >= a for a, b in steps) >= 0.9 * len(steps)


def _liveliest(samples: Sequence[StampSample]) -> StampSample | None:
    """The one with most different stamps; UTC before local; the first of equals."""
    if not samples:
        return None
    return max(samples, key=lambda s: (utc_words(s.header.raw), len(set(s.texts)), -s.index))


def _midnight(sample: StampSample) -> bool:
    return all(re.search(r"[ T]0?0[:.]00(?:[:.]00)?", t) for t in sample.texts)


def _clock_of(
    kind: str, samples: Sequence[StampSample], columns: tuple[int, ...], file_name: str
) -> ClockFound:
    used = tuple(s.index for s in samples)
    label = " + ".join(repr(s.header.raw or f"column {s.index + 1}") for s in samples)
    zone, said = stated_zone(kind, samples)
    if kind == "epoch":
        ticks = [t for t in (tick_us(v) for v in map(_value, samples[0].texts) if v is not None) if t]
        tick = max(set(ticks), key=ticks.count)
        unit = dict(_EPOCH_TICKS)[tick]
        return ClockFound(
            Clock(used, "epoch", tick_us=tick, zone="UTC", said=f"{label}: epoch {unit}, UTC"), columns
        )
    if kind in ("typed", "typed aware"):
        return ClockFound(Clock(used, "typed", zone=zone, said=f"{label}: {said}"), columns)
    if kind == "serial":
        return ClockFound(
            Clock(used, "serial", zone=zone, said=f"{label}: days since 1899-12-30, {said}"), columns
        )
    order, why = date_order(samples, file_name)
    words = {"ymd": "year first", "dmy": "day first", "mdy": "month first"}
    if not order:
        example = samples[0].texts[0]
        return ClockFound(
            Clock(used, "text", zone=zone, said=label, time_digits=_time_digits(samples)),
            columns,
            f"{label}: is {example!r} {why}? State it as 'order' under [clock] in the column map",
        )
    clock = Clock(used, "text", order, zone=zone, said=f"{label}: {words[order]} ({why}), {said}")
    return ClockFound(replace(clock, time_digits=_time_digits(samples)), columns)


def _time_digits(samples: Sequence[StampSample]) -> int:
    return digits_of_times(samples[1].texts) if len(samples) == 2 else 0


def stated_zone(kind: str, samples: Sequence[StampSample]) -> tuple[str, str]:
    """(zone of the clock, in words)."""
    if kind in ("aware", "typed aware"):
        return "stamp", "each stamp states its offset from UTC"
    text = " ".join(tidy(s.header.raw) for s in samples)
    offset = _OFFSET_WORDS.search(text)
    if offset:
        name = f"{offset[1]}{int(offset[2]):02d}:{offset[3] or '00'}"
        return name, f"UTC{name} by its name"
    if utc_words(text):
        return "UTC", "UTC by its name"
    return "drive", "local time in the zone of the drive"


def date_order(samples: Sequence[StampSample], file_name: str) -> tuple[str, str]:
    """(order, why), or ('', the choices in words) where it stays open."""
    date = samples[0]
    fit, dots = orders_that_fit(date.texts)
    if len(fit) == 1:
        return fit[0], "no other order gives dates"
    raw = " ".join(s.header.raw for s in samples)
    stated = [order for order, pattern in _ORDER_WORDS.items() if pattern.search(raw)]
    if len(stated) == 1 and (not fit or stated[0] in fit):
        return stated[0], "stated in the header"
    if "dmy" in fit and dots:
        return "dmy", "dots part the date"
    named = [order for order in fit if _named_in(file_name, date.texts, order)]
    if len(named) == 1:
        return named[0], "the file's name states the date"
    if not fit:
        return "ymd", "no order gives a date in every row"
    words = {"ymd": "year first", "dmy": "day first", "mdy": "month first"}
    return "", " or ".join(words[order] for order in fit)


def _named_in(file_name: str, texts: Sequence[str], order: str) -> bool:
    """Whether the file's name holds the date of its first or last stamp, written year month day."""
    digits = re.sub(r"(?<=\d)[-_.](?=\d)", "", file_name)
    for text in (texts[0], texts[-1]):
        parts = re.match(r"\s*(\d{1,4})\D(\d{1,2})\D(\d{1,4})", text)
        if parts is None:
            continue
        named = dict(zip(order, parts.groups(), strict=True))
        year = named["y"] if len(named["y"]) == 4 else f"20{named['y']:0>2}"
        if f"{year}{named['m']:0>2}{named['d']:0>2}" in digits:
            return True
    return False
