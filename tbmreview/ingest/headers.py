"""A header cell -> its words and its unit."""

import re
import unicodedata
from dataclasses import dataclass

from tbmreview.ingest.units import Unit, parse_unit, with_strokes

_INVISIBLE = re.compile("[\u200b\u200c\u200d\u2060\ufeff\u00ad\x00-\x08\x0e-\x1f]")
_INDEX = re.compile(
    r"^\s*(?:\[\s*\d+\s*\]|#\s*\d+\b|(?:ch|kanal|chan|channel)\.?\s*\d+\s*[:_\-]|\d+\s*[:_)]|\d+\.\s)\s*",
    re.I,
)
_COPY = re.compile(r"(?<=\D)\.(\d{1,2})$")
_BRACKETS = re.compile(r"\(([^()]*)\)|\[([^\[\]]*)\]|\{([^{}]*)\}|<([^<>]*)>|【([^【】]*)】|〔([^〔〕]*)〕")


@dataclass(frozen=True, slots=True)
class Header:
    """`raw` as written; `text` its words without index, unit and quotes; `unit_text` as written or ''.

    `units` is what the unit text may mean, () where it is absent or not known.
    """

    raw: str
    text: str
    unit_text: str
    units: tuple[Unit, ...]


def tidy(cell: str) -> str:
    """A cell without invisible characters, quotes, full-width forms, line breaks and double blanks."""
    text = unicodedata.normalize("NFKC", _INVISIBLE.sub("", cell))
    return re.sub(r"\s+", " ", text).strip().strip("\"'").strip()


def parse_header(cell: str, unit_row: str = "") -> Header:
    """Words and unit of one header cell; a unit row's cell comes before what the name says."""
    raw = tidy(cell)
    text = with_strokes(_COPY.sub("", _INDEX.sub("", raw)).strip())
    text, unit_text = _split_unit(text)
    row = tidy(unit_row)
    if row and (parse_unit(row) or row not in ("-", "--", "/")):
        unit_text = row
    return Header(raw, text, unit_text, parse_unit(unit_text) if unit_text else ())


def _split_unit(text: str) -> tuple[str, str]:
    """(words, unit text)."""
    for match in reversed(list(_BRACKETS.finditer(text))):
        inner = next(part for part in match.groups() if part is not None).strip()
        if inner and parse_unit(inner):
            return _join(text[: match.start()], text[match.end() :]), inner
    for pattern in (r",\s*([^,]+)$", r"\s/\s*(\S+)$", r"\s+in\s+(\S+)$", r"\s+(\S+)$", r"\s+(\S+\s\S+)$"):
        match2 = re.search(pattern, text)
        if match2 and _is_unit(match2[1]) and _stands_alone(match2[1]) and text[: match2.start()].strip():
            return text[: match2.start()].strip(" ,:"), match2[1]
    return _split_joined(text)


def _split_joined(text: str) -> tuple[str, str]:
    """thrust_kN, ADV_SPEED_MM_MIN, Torque.kNm: the unit after the last one or two joints."""
    parts = re.split(r"[_.]", text)
    for count in (2, 1):
        if len(parts) > count:
            tail = "/".join(parts[-count:])
            if _is_unit(tail) and (count == 2 or _stands_alone(tail)):
                return " ".join(p for p in parts[:-count] if p), tail
    match = _BRACKETS.search(text)
    if match and match.end() == len(text) and match[2] and _looks_like_unit(match[2]):
        return text[: match.start()].strip(), match[2].strip()
    return text, ""


def _is_unit(text: str) -> bool:
    return bool(parse_unit(text)) and not text.isdigit() and text[-1] not in "])}>"


def _stands_alone(text: str) -> bool:
    """A single letter after a blank is a unit only where it cannot be the name of a part (motor A)."""
    return len(text) > 1 or text in "mt%°"


def _looks_like_unit(text: str) -> bool:
    """An unknown text in square brackets at the end that has the shape of a unit."""
    return len(text.strip()) <= 10 and not text.strip().isdigit()


def _join(before: str, after: str) -> str:
    return re.sub(r"\s+", " ", f"{before} {after}").strip(" ,:")
