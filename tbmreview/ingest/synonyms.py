"""The trade's words for channels, read from synonyms.toml, and what a header's words name."""

import re
import tomllib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from tbmreview.domain.channels import BY_NAME
from tbmreview.ingest.headers import Header, tidy
from tbmreview.ingest.units import for_channel

_UMLAUTS: dict[int, str] = {ord("ä"): "ae", ord("ö"): "oe", ord("ü"): "ue"}
_WHOLE_WORD = 4  # Latin spellings up to this length must stand alone
_QUANTITY_ATOM = {
    "force": "force",
    "pressure": "pressure",
    "length": "length",
    "torque": "torque_unit",
    "rotation": "rotation",
    "penetration": "per_turn",
    "speed": "speed",
    "power": "power",
    "mass rate": "mass_rate",
    "mass": "mass",
    "flow": "flow",
    "slope": "slope",
    "time": "time",
    "volume": "volume",
}
_LOGGED = {"chainage_m": "length"}  # the quantity of the unit beside a symbol, where it is not the channel's
PAD = "pad"  # the atom of a single pad: a word for pads, and one number or letter beside it
_NET_FORCE = "a force net of what drags on the machine, not that of the cylinders"
_UNIT_SPELLINGS = "°³²µ·・×‰℃⁻¹–—’“”€§ÄÖÜäöüßéèêàçñáíóúùìòåøæÅØÆ（）［］【】，；：／％"


@dataclass(frozen=True, slots=True)
class Rule:
    channel: str
    needs: tuple[frozenset[str], ...]
    bars: frozenset[str]
    allows: frozenset[str]


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a header's words say. channels: best first; set_aside: what else it is, in words, or '';
    left: words that no spelling explains."""

    atoms: frozenset[str]
    channels: tuple[str, ...]
    set_aside: str
    left: str


@dataclass(frozen=True, slots=True)
class _Words:
    pattern: re.Pattern[str]
    atom_of: Mapping[str, tuple[str, ...]]
    rules: tuple[Rule, ...]
    veto: Mapping[str, str]
    letters: frozenset[str]
    symbols: Mapping[str, tuple[str, ...]]
    stamp: tuple[str, ...]
    utc: tuple[str, ...]


def fold_words(text: str) -> str:
    """Lower case without accents; punctuation to blanks; camelCase parted."""
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", tidy(text))
    text = text.casefold().replace("ø", "o").replace("æ", "ae")
    text = "".join(c for c in unicodedata.normalize("NFD", text) if not "\u0300" <= c <= "\u036f")
    text = unicodedata.normalize("NFC", text)
    return re.sub(r"[\W_]+", " ", text).strip()


@cache
def _words() -> _Words:
    data = tomllib.loads(files("tbmreview.ingest").joinpath("synonyms.toml").read_text("utf-8"))
    atom_of: dict[str, tuple[str, ...]] = {}
    for atom, spellings in data["atoms"].items():
        for spelling in spellings:
            for key in _spellings(spelling):
                if atom not in atom_of.get(key, ()):
                    atom_of[key] = (*atom_of.get(key, ()), atom)
    ordered = sorted(atom_of, key=lambda key: (-len(key), key))
    pattern = re.compile("|".join(_guarded(key) for key in ordered))
    rules = tuple(_rule(entry) for entry in data["rules"])
    texts = (*atom_of, *(s for group in data["atoms"].values() for s in group), *data["stamp"]["words"])
    letters = frozenset(c for text in texts for c in text if ord(c) > 127) | frozenset(_UNIT_SPELLINGS)
    return _Words(
        pattern,
        atom_of,
        rules,
        data["veto"],
        letters,
        _symbols(data["symbols"]),
        tuple(fold_words(w) for w in data["stamp"]["words"]),
        tuple(fold_words(w) for w in data["stamp"]["utc"]),
    )


def _symbols(data: Mapping[str, str]) -> dict[str, tuple[str, ...]]:
    found: dict[str, tuple[str, ...]] = {}
    for symbol, channel in data.items():
        found[symbol.casefold()] = (*found.get(symbol.casefold(), ()), channel)
    return found


def _spellings(text: str) -> set[str]:
    """The folded spelling, and the one with ae, oe, ue for umlauts."""
    wide = text.translate(_UMLAUTS)
    return {fold_words(text), fold_words(wide)}


def _guarded(key: str) -> str:
    escaped = re.escape(key)
    if key.isascii() and len(key) <= _WHOLE_WORD:
        return rf"(?<![^\W\d_]){escaped}(?![^\W\d_])"
    return escaped


def _rule(entry: Mapping[str, Any]) -> Rule:
    return Rule(
        entry["channel"],
        tuple(frozenset(need) for need in entry["needs"]),
        frozenset(entry.get("not", ())),
        frozenset(entry.get("allows", ())),
    )


def vocabulary_letters() -> frozenset[str]:
    """Letters beyond ASCII of all our words and units: what a rightly decoded header is made of."""
    return _words().letters


def meaning(header: Header) -> Meaning:
    """What a header's words name; canonical channel names are taken as they are."""
    exact = _canonical_name(header)
    if exact:
        return Meaning(frozenset(), (exact,), "", "")
    words = _words()
    symbol = words.symbols.get(fold_words(header.text), ())
    symbol = tuple(
        c for c in symbol if any(u.quantity == _LOGGED.get(c, BY_NAME[c].quantity) for u in header.units)
    )
    if symbol:
        return Meaning(frozenset(), symbol, "", "")
    text = re.sub(r"\b(?:no|nr|number)\s*(?=\d)", "", fold_words(header.text))  # a part, not a count
    atoms: set[str] = set()
    left = words.pattern.sub(lambda m: _collect(m[0], atoms, words.atom_of), text)
    left = re.sub(r"\s+", " ", re.sub(r"\d+", " ", left)).strip()
    if len(part_labels(text)) != 1:
        atoms.discard(PAD)
    named = frozenset(atoms)
    full = named | {_QUANTITY_ATOM[u.quantity] for u in header.units if u.quantity in _QUANTITY_ATOM}
    aside = [v for v in words.veto if v in full]
    found = _channels(words.rules, named, frozenset(full), header, frozenset(aside))
    said = [words.veto[atom] for atom in aside]
    if not found and "net" in named and full & {"force", "thrust"}:
        said.append(_NET_FORCE)
    return Meaning(named, found, ", ".join(said), left)


def part_labels(text: str) -> tuple[str, ...]:
    """What tells one of several parts from the others: the numbers and single letters of a folded text, '3', 'B'."""
    found = re.findall(r"\d+|(?<![^\W_])[a-z](?![^\W_])", text)
    return tuple(part.lstrip("0") or "0" if part.isdigit() else part.upper() for part in found)


def _collect(key: str, atoms: set[str], atom_of: Mapping[str, tuple[str, ...]]) -> str:
    atoms.update(atom_of[key])
    return " "


def _canonical_name(header: Header) -> str:
    plain = re.sub(r"\.\d+$", "", header.raw).casefold()
    return next((name for name in BY_NAME if name.casefold() == plain), "")


def _channels(
    rules: tuple[Rule, ...],
    named: frozenset[str],
    full: frozenset[str],
    header: Header,
    aside: frozenset[str],
) -> tuple[str, ...]:
    """Channels whose rule holds, the most specific first. A known unit of another quantity excludes."""
    scored: list[tuple[int, str]] = []
    for rule in rules:
        if rule.bars & full or aside - rule.allows:
            continue
        met = [need for need in rule.needs if need <= full and need & named]
        if not met or (header.units and for_channel(header.units, BY_NAME[rule.channel]) is None):
            continue
        scored.append((max(len(need) for need in met), rule.channel))
    scored.sort(key=lambda pair: -pair[0])
    return tuple(channel for _, channel in scored)


def stamp_words(text: str) -> bool:
    """Whether a header speaks of time or date."""
    folded = fold_words(text)
    return any(
        (word in folded) if not word.isascii() or len(word) > _WHOLE_WORD else word in folded.split()
        for word in _words().stamp
    )


def utc_words(text: str) -> bool:
    """Whether a header says UTC."""
    folded = fold_words(text)
    return any(word in folded.split() or (not word.isascii() and word in folded) for word in _words().utc)
