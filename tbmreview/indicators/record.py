"""What an indicator is: a record in the registry, and a pure function of sums and of the machine."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.setup import Machine

Floats = NDArray[np.float64]
Sums = Mapping[str, NDArray[np.float64]]


@dataclass(frozen=True, slots=True)
class Indicator:
    """One quantity computed from sums.

    name: column name in tables. label, short: for people. unit: as written for people ('' if none).
    family: its page in tbmreview/help. needs: sums (domain.sums) that the function reads; one that is
    NaN or stands for no measured time makes the indicator NaN. decimals: in text for people.
    function: (sums of shape (n,), machine) -> (n,) float64; NaN is *missing*; never infinite.
    """

    name: str
    label: str
    short: str
    unit: str
    family: str
    what: str
    source: str
    needs: tuple[str, ...]
    decimals: int
    function: Callable[[Sums, Machine], Floats]


def ratio(over: Floats, under: Floats) -> Floats:
    """over / under, (n,); NaN where `under` is 0 or either is NaN: nothing measured is *missing*."""
    denominator = np.asarray(under, np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(denominator == 0, np.nan, over / denominator)
