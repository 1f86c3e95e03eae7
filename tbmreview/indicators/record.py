"""What an indicator is: a record in the registry, and a pure function of sums and of the machine."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import wraps

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


Function = Callable[[Sums, Machine], Floats]


@dataclass(frozen=True, slots=True)
class Worked(Mapping[str, Floats]):
    """Sums with what several indicators share, worked out once; for one machine."""

    sums: Sums
    kept: dict[Function, Floats] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Floats:
        return self.sums[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.sums)

    def __len__(self) -> int:
        return len(self.sums)


def shared(function: Function) -> Function:
    """The same function, worked out once where the sums are Worked."""

    @wraps(function)
    def once(sums: Sums, machine: Machine) -> Floats:
        if not isinstance(sums, Worked):
            return function(sums, machine)
        if function not in sums.kept:
            sums.kept[function] = function(sums, machine)
        return sums.kept[function]

    return once


def ratio(over: Floats, under: Floats) -> Floats:
    """over / under, (n,); NaN where `under` is 0 or either is NaN: nothing measured is *missing*."""
    with np.errstate(divide="ignore", invalid="ignore"):
        out: Floats = np.asarray(over, np.float64) / under
    out[np.asarray(under) == 0] = np.nan
    return out
