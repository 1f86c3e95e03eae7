"""Numbers and classes of a ground table's cells: each class understood with its scheme, or refused."""

import re
import tomllib
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from tbmreview.domain.classes import BY_STEM, NONE, Quantity, Scheme, scheme_named, schemes_of, understood
from tbmreview.domain.errors import ClassError
from tbmreview.ingest.small_table import SmallTable
from tbmreview.ingest.synonyms import fold_words

_CODE = re.compile(r"(?:class|klasse|classe|clase)?\s*(?:[IVX]{1,5}|[A-Z]-?\d|\d+-[A-Z])", re.I)
_BETWEEN = re.compile(r"\s*(?:[-–—/~～至]|\b(?:to|bis|a|til)\b)\s*")
_JOINT = re.compile(r"(?<=[A-Za-z])(?=[0-9])")  # RMR89
_OTHER_RMR = re.compile(r"\b(?:19)?7[3-9]\b")  # editions of RMR before the one that is known
_WORDS_OF = {
    "rmr": "quality",
    "q": "quality",
    "rqd": "quality",
    "ucs": "strength",
    "weathering": "weathering",
    "cai": "abrasivity",
    "water": "water",
}

Cells = dict[str, Any]


class Classes:
    """The class columns of one ground table."""

    def __init__(self, table: SmallTable) -> None:
        self.table = table
        for stem, quantity in BY_STEM.items():
            self._as_numbers(stem, quantity.column)
        self._in_header = {stem: self._header_scheme(quantity) for stem, quantity in BY_STEM.items()}

    def _as_numbers(self, stem: str, column: str) -> None:
        """A column named like one of classes ('strength') that holds numbers is that of the numbers."""
        columns = self.table.columns
        if f"{stem}_class" not in columns or not column or column in columns:
            return
        texts = [self.table.text(row, f"{stem}_class") for _, row in self.table]
        if any(self.table.number(text) is not None and not self._is_class(stem, text) for text in texts):
            columns[column] = columns.pop(f"{stem}_class")

    def of(self, line: int, row: Sequence[Any], stem: str, number: float) -> tuple[Cells, str]:
        """(<stem>_class and <stem>_scheme of a row, what of its cells is no class and belongs into the note).

        number: what its column says as a number, NaN for none. The table's error names the row where a class or a
        scheme is none, where class and number contradict each other, or the number is outside its range.
        """
        quantity, table = BY_STEM[stem], self.table
        own = table.text(row, quantity.column) if quantity.column and np.isnan(number) else ""
        text = table.text(row, f"{stem}_class")
        scheme = table.text(row, f"{stem}_scheme")
        own, text, scheme = ("" if is_blank(t) else t for t in (own, text, scheme))
        note = f"{quantity.column}: {own}" if own else ""
        if own and not text and self._is_class(stem, own):
            text, note = own, ""
        if self._is_range(stem, text):
            text, note = "", "; ".join(n for n in (note, f"{stem}_class: {text}") if n)
        try:
            return _checked(quantity, number, _canonical(stem, text), scheme or self._in_header[stem]), note
        except ClassError as error:
            raise table.fail(line, str(error)) from error

    def _is_class(self, stem: str, text: str) -> bool:
        """Whether a text in the place of a number is meant as a class: one that is known, or a code."""
        return self._is_known(stem, text) or _CODE.fullmatch(text) is not None

    def _is_range(self, stem: str, text: str) -> bool:
        """Whether a text names two classes ('W2-W3'), which is none to count with."""
        ends = _BETWEEN.split(text)
        return (
            len(ends) == 2 and not self._is_known(stem, text) and all(self._is_known(stem, e) for e in ends)
        )

    def _is_known(self, stem: str, text: str) -> bool:
        return any(scheme.find(_canonical(stem, text)) != NONE for scheme in schemes_of(stem))

    def _header_scheme(self, quantity: Quantity) -> str:
        """The scheme that the header of a column names: 'CAI (ISRM 2014)'; '' for none."""
        for column in (f"{quantity.stem}_class", quantity.column):
            header = self.table.header[self.table.columns[column]] if column in self.table.columns else ""
            words = f" {fold_words(_JOINT.sub(' ', header))} "
            if quantity.stem == "rmr" and (other := _OTHER_RMR.search(words)):
                raise self.table.kind.error(
                    f"{self.table.path}: the column '{header}' is of an edition ({other[0]}) that is not known; "
                    f"expected RMR 1989"
                )
            found = _mentioned(quantity, words)
            if found:
                return found
        return ""


def _mentioned(quantity: Quantity, words: str) -> str:
    for scheme in schemes_of(quantity.stem):
        names = {fold_words(name) for name in (scheme.name, *scheme.aliases)}
        if any(f" {name} " in words for name in names if len(name) > 2 and name != quantity.stem):
            return scheme.name
    return ""


def _checked(quantity: Quantity, number: float, text: str, scheme: str) -> Cells:
    """ClassError where they do not go together."""
    stem = quantity.stem
    if not quantity.low <= number <= quantity.high and not np.isnan(number):
        raise ClassError(
            f"{quantity.label} {number:g} is outside {quantity.low:g} to {quantity.high:g} {quantity.unit}".rstrip()
        )
    if not text:
        used = scheme_named(stem, scheme) if scheme else None
        if used is not None and used.limits and not np.isnan(number):
            _check_range(quantity, used, number)
        return {f"{stem}_class": "", f"{stem}_scheme": used.name if used else ""}
    used, of_text = understood(stem, text, scheme)
    if used.limits and not np.isnan(number):
        _check_range(quantity, used, number)
        of_number = int(used.numbers(np.array([number]))[0])
        if of_number != of_text:
            raise ClassError(
                f"{quantity.label} {number:g} is {used.names[of_number].text} by {used.name}, and the class says "
                f"{used.names[of_text].text}; expected one of them, or both alike"
            )
    return {f"{stem}_class": used.names[of_text].text, f"{stem}_scheme": used.name}


def _check_range(quantity: Quantity, scheme: Scheme, number: float) -> None:
    if not scheme.covers(np.array([number]))[0]:
        raise ClassError(
            f"{quantity.label} {number:g} is outside the range of {scheme.name}; expected {scheme.range_text}"
        )


@cache
def _words(section: str) -> Mapping[str, str]:
    """Spelling -> the word that the schemes use."""
    data = tomllib.loads(files("tbmreview.ingest").joinpath("ground_words.toml").read_text("utf-8"))
    return {fold_words(s): word for word, spellings in data[section].items() for s in spellings}


def _canonical(stem: str, text: str) -> str:
    """A class in the schemes' own words where its spelling is known, else as written."""
    section = _WORDS_OF.get(stem)
    return _words(section).get(fold_words(text), text) if section and text else text


def is_blank(text: str) -> bool:
    """Whether a cell says that there is nothing to say."""
    return not text.strip("-–— ?") or fold_words(text) in _words("nothing")


def seen_how(text: str) -> str:
    """One of SEEN_HOW, from words in several languages; '' where they name none, or several."""
    folded = f" {fold_words(text)} "
    words = _words("seen").items()
    found = {how for word, how in words if f" {word} " in folded or (not word.isascii() and word in folded)}
    return found.pop() if len(found) == 1 else ""
