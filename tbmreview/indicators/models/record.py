"""What a model of expectation is: a record in the registry, and a pure function of its inputs."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.indicators.models.quantities import Quantity
from tbmreview.indicators.record import Floats

# Where an input is from: a column of the ground table, the machine of the setup, what was bored, or the user.
GROUND, MACHINE, BORED, STATED = "ground", "machine", "bored", "stated"

# How sure the coefficients are, as it is shown wherever a result is.
READ = "coefficients read in the source"
SECONDARY = "coefficients from a text that transcribes the source"
MEMORY = "coefficients from memory, unconfirmed"


@dataclass(frozen=True, slots=True)
class Input:
    """One input of a model. low, high: its range of validity, in its unit; None where the source's is not known.

    origin: where it is looked for first; whatever is missing there a person may state.
    """

    name: str
    unit: str
    what: str
    origin: str
    low: float | None = None
    high: float | None = None

    @property
    def ranged(self) -> bool:
        """Whether a range of validity is known at all."""
        return self.low is not None or self.high is not None

    def outside(self, values: Floats) -> NDArray[np.bool_]:
        """Whether each value lies outside the range, (n,); False for NaN and where no range is known."""
        low = -np.inf if self.low is None else self.low
        high = np.inf if self.high is None else self.high
        return (values < low) | (values > high)


@dataclass(frozen=True, slots=True)
class Model:
    """One published relation.

    name: as it is asked for. quantity: what it expects, and what that is compared with. family: its module.
    basis: what it was fitted on, and what to keep in mind. source: of the relation; label: how sure the
    coefficients are. function: a float64 array of shape (n,) for each input, in order -> (n,) in the
    quantity's unit; NaN in -> NaN out.
    """

    name: str
    title: str
    family: str
    quantity: Quantity
    inputs: tuple[Input, ...]
    function: Callable[..., Floats]
    source: str
    label: str
    basis: str


def expected_of(model: Model, values: Mapping[str, Floats]) -> Floats:
    """What a model expects, (n,) in the unit of its quantity.

    values: input name -> (n,) or a number. NaN where an input is NaN or missing, or where the relation has no
    value (the logarithm of nothing); outside the range of validity it is worked out all the same: range_of says so.
    """
    given = np.broadcast_arrays(*(np.asarray(values.get(i.name, np.nan), np.float64) for i in model.inputs))
    with np.errstate(all="ignore"):
        result = np.asarray(model.function(*given), np.float64)
    unknown = ~np.isfinite(result) | np.any([np.isnan(g) for g in given], axis=0)
    return np.where(unknown, np.nan, result)


WITHIN = "within"


def range_of(model: Model, values: Mapping[str, Floats], count: int) -> NDArray[np.object_]:
    """In words, (count,): 'within', 'outside: ucs_MPa', or the inputs whose range in the source is not known."""
    unknown = ", ".join(i.name for i in model.inputs if not i.ranged)
    inside = f"not known: {unknown}" if unknown else WITHIN
    names = [""] * count
    for i in model.inputs:
        one = np.broadcast_to(np.asarray(values.get(i.name, np.nan), np.float64), count)
        for at in np.flatnonzero(i.outside(one)).tolist():
            names[at] += f", {i.name}" if names[at] else i.name
    return np.array([f"outside: {name}" if name else inside for name in names], object)
