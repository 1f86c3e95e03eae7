"""Classes of rock and water: the schemes that name them, as records. A class is never told without its scheme."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.errors import ClassError

SECONDARY = "limits from a text that transcribes the source"
MEMORY = "from memory, unconfirmed"
CONVENTION = "a convention, no official classes"

ABOVE, BELOW = "above", "below"  # the class that a value on a limit belongs to
LOW, HIGH = "low", "high"
NONE = -1  # number of no class

# Words before a class that say nothing of which one it is.
_BEFORE = {
    "class",
    "classe",
    "clase",
    "klasse",
    "grade",
    "grad",
    "category",
    "rmr",
    "gsi",
    "ucs",
    "cai",
    "rqd",
}


@dataclass(frozen=True, slots=True)
class ClassName:
    """One class: its code and its word, one of which may be ''; also: other ways to write it."""

    code: str
    word: str
    also: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """'III fair'."""
        return f"{self.code} {self.word}".strip()

    @property
    def short(self) -> str:
        """The code, or the word where there is none."""
        return self.code or self.word

    def is_written(self, folded: str) -> bool:
        """Whether a folded text names this class."""
        written = {fold(t) for t in (self.code, self.word, self.text, *self.also)} - {""}
        return folded in written or folded.replace(" ", "") == (fold(self.code).replace(" ", "") or None)


@dataclass(frozen=True, slots=True)
class Scheme:
    """Classes of one quantity by one source.

    names: rise with the value. limits: between them, in the quantity's unit; empty where the class is a word and
    no number. falls: for each limit the side that a value on it belongs to. low, high: range of the scheme, both
    included; None is open. worse: which end is the less favourable. label: how sure limits and names are. note: what to
    keep in mind.
    """

    name: str
    quantity: str
    names: tuple[ClassName, ...]
    limits: tuple[float, ...]
    falls: tuple[str, ...]
    low: float | None
    high: float | None
    worse: str
    source: str
    label: str
    aliases: tuple[str, ...] = ()
    note: str = ""

    def numbers(self, values: NDArray[np.float64]) -> NDArray[np.int64]:
        """Number of the class of each value, (n,), counted from the lowest; NONE where it is missing or outside
        the scheme's range."""
        number = np.zeros(len(values), np.int64)
        for limit, side in zip(self.limits, self.falls, strict=True):
            number += (values >= limit) if side == ABOVE else (values > limit)
        known = np.isfinite(values) & self.covers(values)
        return np.where(known & bool(self.limits), number, NONE)

    def covers(self, values: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether each value lies in the scheme's range, (n,); False for NaN."""
        low = -np.inf if self.low is None else self.low
        high = np.inf if self.high is None else self.high
        inside: NDArray[np.bool_] = (values >= low) & (values <= high)
        return inside

    def find(self, text: str) -> int:
        """Number of the class that a text names by code, word or both; NONE for none."""
        folded = fold(text)
        stripped = " ".join(w for i, w in enumerate(folded.split()) if i or w not in _BEFORE)
        for number, name in enumerate(self.names):
            if name.is_written(folded) or name.is_written(stripped):
                return number
        return NONE

    def bounds(self, number: int) -> tuple[float | None, float | None]:
        """From which value to which a class reaches; None where it is open."""
        ends = (self.low, *self.limits, self.high)
        return (ends[number], ends[number + 1]) if self.limits else (None, None)

    def places(self, numbers: NDArray[np.int64]) -> NDArray[np.float64]:
        """Place of each class, (n,), from 0, the most favourable; NaN for NONE."""
        from_best = numbers if self.worse == HIGH else len(self.names) - 1 - numbers
        return np.where(numbers == NONE, np.nan, from_best)

    @property
    def listed(self) -> str:
        """The classes as they may be written, from the lowest up."""
        return ", ".join(name.text for name in self.names)

    @property
    def range_text(self) -> str:
        """'0 to 100', 'from 0.1'."""
        if self.high is None:
            return "any" if self.low is None else f"from {self.low:g}"
        return f"{self.low or 0:g} to {self.high:g}"


@dataclass(frozen=True, slots=True)
class Quantity:
    """What is classed. stem: of its columns <stem>_class and <stem>_scheme. column: of its number in a ground
    table, '' where it is a word alone. low, high: beyond them the number itself is wrong. scheme: the one that a number
    without a stated scheme is classed by; '' where the names of the schemes differ and one has to be stated."""

    stem: str
    column: str
    label: str
    unit: str
    low: float
    high: float
    scheme: str


def fold(text: str) -> str:
    """Letters and figures in lower case, all else one blank."""
    return re.sub(r"[\W_]+", " ", text.casefold()).strip()


def _names(*texts: str) -> tuple[ClassName, ...]:
    """'III|fair|3' -> a class with code, word and other spellings."""
    parts = [text.split("|") for text in texts]
    return tuple(ClassName(p[0], p[1], tuple(p[2:])) for p in parts)


_QUALITY = ("very poor", "poor", "fair", "good", "very good")
_STRENGTH = (
    "extremely weak",
    "very weak",
    "weak",
    "medium strong",
    "strong",
    "very strong",
    "extremely strong",
)
_WEATHERED = (
    *("fresh|unweathered", "slightly weathered|slightly", "moderately weathered|moderately"),
    *("highly weathered|highly", "completely weathered|completely", "residual soil|residual"),
)
_ROMAN = ("I", "II", "III", "IV", "V", "VI")

SCHEMES: tuple[Scheme, ...] = (
    Scheme(
        "RMR 1989",
        "rmr",
        _names(*(f"{r}|{w}|{5 - i}" for i, (r, w) in enumerate(zip(_ROMAN[4::-1], _QUALITY, strict=True)))),
        (20.0, 40.0, 60.0, 80.0),
        (BELOW,) * 4,
        0.0,
        100.0,
        LOW,
        "Bieniawski 1989",
        SECONDARY,
        ("bieniawski 1989", "rmr89", "rmr 89", "1989", "89", "bieniawski"),
        "the poorest class ends at 20 included; another class table excludes it, so 20 itself is in doubt",
    ),
    Scheme(
        "Q 1974",
        "q",
        _names(
            *("|exceptionally poor", "|extremely poor", "|very poor", "|poor", "|fair", "|good"),
            *("|very good", "|extremely good", "|exceptionally good"),
        ),
        (0.01, 0.1, 1.0, 4.0, 10.0, 40.0, 100.0, 400.0),
        (ABOVE,) * 8,
        0.001,
        1000.0,
        LOW,
        "Barton, Lien & Lunde 1974",
        SECONDARY,
        ("barton 1974", "barton et al 1974", "barton", "1974", "ngi", "q system"),
        "the source prints a limit in both classes; here it belongs to the better one",
    ),
    Scheme(
        "convention (20-point bands)",
        "gsi",
        _names("0-20|", "20-40|", "40-60|", "60-80|", "80-100|"),
        (20.0, 40.0, 60.0, 80.0),
        (ABOVE,) * 4,
        0.0,
        100.0,
        LOW,
        "no source: GSI has no official numeric classes",
        CONVENTION,
        ("20 point bands", "bands", "convention"),
        "bands to draw with, nothing more",
    ),
    Scheme(
        "ISRM strength",
        "ucs",
        _names(*(f"R{i}|{word}|{word} rock" for i, word in enumerate(_STRENGTH))),
        (1.0, 5.0, 25.0, 50.0, 100.0, 250.0),
        (*(ABOVE,) * 5, BELOW),
        0.25,
        None,
        LOW,
        "ISRM suggested methods, 1978/1981",
        SECONDARY,
        ("isrm", "isrm 1978", "isrm 1981"),
        "a limit printed in both classes belongs to the stronger one; the strongest begins above 250",
    ),
    Scheme(
        "ISO 14689",
        "ucs",
        _names(*(f"|{word}|{word} rock" for word in _STRENGTH)),
        (1.0, 5.0, 25.0, 50.0, 100.0, 250.0),
        (*(ABOVE,) * 5, BELOW),
        0.0,
        None,
        LOW,
        "ISO 14689",
        SECONDARY,
        ("iso", "iso 14689 1", "en iso 14689", "en iso 14689 1", "din en iso 14689 1"),
        "as ISRM strength, but the weakest class has no lower end",
    ),
    Scheme(
        "RQD classes",
        "rqd",
        _names("|very poor", "|poor", "|fair", "|good", "|excellent"),
        (25.0, 50.0, 75.0, 90.0),
        (ABOVE,) * 4,
        0.0,
        100.0,
        LOW,
        "Deere",
        f"{SECONDARY}; words {MEMORY}",
        ("deere", "rqd", "deere 1968"),
        "below 25 is the poorest; a limit printed in both classes belongs to the better one",
    ),
    Scheme(
        "ISRM 1981",
        "weathering",
        _names(*(f"W{i}|{w}|{_ROMAN[i - 1]}|{i}" for i, w in enumerate(_WEATHERED, start=1))),
        (),
        (),
        None,
        None,
        HIGH,
        "ISRM 1981",
        SECONDARY,
        ("isrm", "w1 w6", "i vi"),
    ),
    Scheme(
        "ISO 14689-1:2003",
        "weathering",
        _names(*(f"{i}|{w}" for i, w in enumerate(_WEATHERED))),
        (),
        (),
        None,
        None,
        HIGH,
        "ISO 14689-1:2003",
        MEMORY,
        ("iso", "iso 14689", "iso 14689 1", "en iso 14689 1", "0 5"),
        "counts from 0 where ISRM counts from 1: a bare figure needs its scheme",
    ),
    Scheme(
        "ISRM 2014",
        "cai",
        _names("|extremely low", "|very low", "|low", "|medium", "|high", "|very high", "|extreme"),
        (0.5, 1.0, 2.0, 3.0, 4.0, 5.0),
        (ABOVE,) * 6,
        0.1,
        None,
        HIGH,
        "Alber et al. 2014, ISRM suggested method",
        MEMORY,
        ("isrm", "alber 2014", "alber et al 2014", "alber"),
        "printed to one decimal (0.1-0.4, 0.5-0.9, …); what lies between belongs to the lower class",
    ),
    Scheme(
        "ASTM D7625",
        "cai",
        _names("|very low", "|low", "|medium", "|high", "|extreme", "|quartzitic"),
        (0.5, 1.0, 2.0, 4.0, 6.0),
        (ABOVE,) * 5,
        0.3,
        7.0,
        HIGH,
        "ASTM D7625-10, stylus of HRC 55",
        MEMORY,
        ("astm", "d7625", "astm d7625 10"),
        "a limit belongs to the higher class",
    ),
    Scheme(
        "DAUB bins",
        "cai",
        _names("0.1-0.5|", "0.5-1|", "1-2|", "2-4|", "4-6|"),
        (0.5, 1.0, 2.0, 4.0),
        (ABOVE,) * 4,
        0.1,
        6.0,
        HIGH,
        "class table of the German Tunnelling Committee",
        SECONDARY,
        ("daub",),
        "bins without names; a limit belongs to the higher one",
    ),
    Scheme(
        "RMR 1989 inflow",
        "water",
        _names("|dry", "|damp", "|wet", "|dripping", "|flowing"),
        (0.0, 10.0, 25.0, 125.0),
        (BELOW, ABOVE, ABOVE, BELOW),
        0.0,
        None,
        HIGH,
        "Bieniawski 1989; the same limits in the class table of the German Tunnelling Committee",
        SECONDARY,
        ("rmr 1989", "rmr89", "rmr 89", "bieniawski 1989", "daub", "bieniawski"),
    ),
    Scheme(
        "boreability by FPI (from memory)",
        "boreability",
        _names(
            "B-V|excellent", "B-IV|very good", "B-III|good", "B-II|good-fair", "B-I|fair-tough", "B-0|tough"
        ),
        (7.0, 15.0, 25.0, 40.0, 70.0),
        (*(ABOVE,) * 4, BELOW),
        0.0,
        None,
        HIGH,
        "Hassanpour, Rostami & Zhao 2011",
        MEMORY,
        ("hassanpour 2011", "hassanpour"),
        "limits of FPI in kN per disc over mm/rev; not verified",
    ),
)

QUANTITIES: tuple[Quantity, ...] = (
    Quantity("rmr", "rmr", "RMR", "", 0.0, 100.0, "RMR 1989"),
    Quantity("q", "q", "Q", "", 0.0, 10_000.0, "Q 1974"),
    Quantity("gsi", "gsi", "GSI", "", 0.0, 100.0, "convention (20-point bands)"),
    Quantity("ucs", "ucs_MPa", "UCS", "MPa", 0.0, 1000.0, "ISRM strength"),
    Quantity("rqd", "rqd_pct", "RQD", "%", 0.0, 100.0, "RQD classes"),
    Quantity("weathering", "", "Weathering", "", -np.inf, np.inf, ""),
    Quantity("cai", "cai", "CERCHAR", "", 0.0, 10.0, ""),
    Quantity("water", "water_l_min", "Water", "l/min over 10 m", 0.0, 1e6, "RMR 1989 inflow"),
)
BY_STEM = {quantity.stem: quantity for quantity in QUANTITIES}


def schemes_of(quantity: str) -> tuple[Scheme, ...]:
    """The schemes of a quantity, by its stem."""
    return tuple(scheme for scheme in SCHEMES if scheme.quantity == quantity)


def scheme_named(quantity: str, text: str) -> Scheme:
    """The scheme of a quantity that a text names; ClassError says which there are."""
    folded = fold(text)
    for scheme in schemes_of(quantity):
        if folded in {fold(name) for name in (scheme.name, *scheme.aliases)}:
            return scheme
    known = ", ".join(scheme.name for scheme in schemes_of(quantity))
    raise ClassError(f"'{text}' is no scheme of {BY_STEM[quantity].label} that is known; expected {known}")


def understood(quantity: str, text: str, scheme: str = "") -> tuple[Scheme, int]:
    """(scheme, number of the class) that a text names.

    scheme: as stated, '' for none. ClassError where no scheme has such a class, and where several have it
    and mean different values.
    """
    among = (scheme_named(quantity, scheme),) if scheme else schemes_of(quantity)
    hits = [(one, number) for one in among if (number := one.find(text)) != NONE]
    label = BY_STEM[quantity].label
    if not hits:
        listed = "; ".join(f"{one.name}: {one.listed}" for one in among)
        raise ClassError(f"'{text}' is no class of {label}; expected one of {listed}")
    if not _agree(hits):
        told = ", ".join(f"{one.name} ({_told(one, number)})" for one, number in hits)
        raise ClassError(
            f"{label} '{text}' means different things by {told}; state the scheme in a column {quantity}_scheme"
        )
    return hits[0]


def _agree(hits: Sequence[tuple[Scheme, int]]) -> bool:
    """Whether schemes mean the same by a class: the same values, or the same word where there are none."""
    meant = {one.bounds(number) if one.limits else one.names[number].word for one, number in hits}
    return len(meant) == 1


def _told(scheme: Scheme, number: int) -> str:
    if not scheme.limits:
        return scheme.names[number].word
    low, high = scheme.bounds(number)
    return f"up to {high:g}" if low is None else f"from {low:g}" if high is None else f"{low:g} to {high:g}"
