"""Classes of values by a scheme (domain.classes): arrays in, names and places in the scheme out.

NaN, and a value outside the scheme's range, has no class: ''.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.classes import (
    BELOW,
    BY_STEM,
    NONE,
    Scheme,
    scheme_named,
    schemes_of,
)
from tbmreview.indicators.record import Floats

Texts = NDArray[np.object_]

(WATER_INFLOW,) = schemes_of("water")
(BOREABILITY,) = schemes_of("boreability")


@dataclass(frozen=True, slots=True)
class Classed:
    """Classes of the rows of a table, each of shape (n,).

    text: 'III fair', '' for none. short: 'III'. scheme: its name, '' without a class. place: in the
    scheme, from 0, the most favourable class; burden: from 0 (most favourable end) to 1 (least); NaN without a class.
    """

    text: Texts
    short: Texts
    scheme: Texts
    place: Floats
    burden: Floats


def class_texts(scheme: Scheme, values: Floats) -> Texts:
    """'III fair' for each value in the scheme's unit, (n,)."""
    return _named(scheme, scheme.numbers(values), "text")


def water_class(inflow_l_min: Floats) -> Texts:
    """Class of an inflow over 10 m [l/min] by WATER_INFLOW, (n,): 0 dry, below 10 damp, from 10 wet, from 25
    dripping, over 125 flowing; '' where missing or below 0."""
    return class_texts(WATER_INFLOW, inflow_l_min)


def boreability_class(fpi_kN_per_mm_rev: Floats) -> Texts:
    """Class of a field penetration index [kN/(mm/rev)] by BOREABILITY, (n,). Limits from memory, unconfirmed."""
    return class_texts(BOREABILITY, fpi_kN_per_mm_rev)


def classed(quantity: str, values: Floats, stated: Texts, schemes: Texts) -> Classed:
    """The class of each row of a ground table, (n,).

    quantity: stem (domain.classes.QUANTITIES). values: numbers, NaN where none. stated: classes as the table
    gives them, '' for none; they stand before the number's. schemes: as stated, '' for the quantity's own one.
    A number whose schemes differ by name has no class unless a scheme is stated.
    """
    text, short, used = (np.full(len(values), "", object) for _ in range(3))
    place, burden = np.full((2, len(values)), np.nan)
    named = np.where(schemes == "", BY_STEM[quantity].scheme, schemes)
    for name in sorted(set(named.tolist()) - {""}):
        scheme, rows = scheme_named(quantity, name), np.flatnonzero(named == name)
        given = np.array([*(scheme.find(t) if t else NONE for t in stated[rows]), NONE], np.int64)[:-1]
        number = np.where(given == NONE, scheme.numbers(values[rows]), given)
        rows, number = rows[number != NONE], number[number != NONE]
        text[rows], short[rows] = _named(scheme, number, "text"), _named(scheme, number, "short")
        used[rows], place[rows] = scheme.name, scheme.places(number)
        burden[rows] = place[rows] / (len(scheme.names) - 1)
    return Classed(text, short, used, place, burden)


def _named(scheme: Scheme, number: NDArray[np.int64], which: str) -> Texts:
    names = np.array([*(getattr(name, which) for name in scheme.names), ""], object)
    named: Texts = names[number]
    return named


def same_classes(one: Scheme, other: Scheme) -> str:
    """How two schemes of a quantity divide it alike, so that their classes can be compared one by one: the scheme's
    name, or which two have the same limits, or the same words in the same order; '' where they do not."""
    if one.name == other.name:
        return one.name
    if (one.quantity, one.worse, len(one.names)) != (other.quantity, other.worse, len(other.names)):
        return ""
    both = f"{one.name} and {other.name}"
    if one.limits or other.limits:
        return f"{both}: same limits" if (one.limits, one.falls) == (other.limits, other.falls) else ""
    words = [[name.word for name in scheme.names] for scheme in (one, other)]
    return f"{both}: same words" if words[0] == words[1] else ""


def limits_text(scheme: Scheme) -> str:
    """'V very poor from 0, IV poor above 20, …': each class with the value that it begins at, from the lowest up."""
    if not scheme.limits:
        return scheme.listed
    begins = [f"from {scheme.low or 0:g}"]
    begins += [
        f"{'above' if side == BELOW else 'from'} {limit:g}"
        for limit, side in zip(scheme.limits, scheme.falls, strict=True)
    ]
    told = ", ".join(f"{name.text} {begin}" for name, begin in zip(scheme.names, begins, strict=True))
    return told if scheme.high is None else f"{told}, to {scheme.high:g}"
