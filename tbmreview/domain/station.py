"""Position, chainage and steps.

Position rises from 0 at the drive's start. Chainage rises or falls. Steps are counted on
``station = direction * chainage``, which always rises, so that every profile starts on a round
chainage whichever way the drive runs. Steps are integers of integer micrometres, because
``floor(x / 0.1)`` is wrong for a third of exact decimetres.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

STEP_UM = 100_000  # the 0.1 m of a cell


def micrometres(metres: NDArray[np.float64] | float) -> NDArray[np.int64]:
    """Metres to the nearest whole micrometre, (n,) int64. NaN is an error of the caller."""
    return np.rint(np.asarray(metres, np.float64) * 1e6).astype(np.int64)


@dataclass(frozen=True, slots=True)
class Axis:
    """The drive's axis: chainage at its start [m] and direction (+1 rising, -1 falling)."""

    chainage_start_m: float
    direction: int

    def chainage_m(self, position_m: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Chainage of a position. NaN stays NaN."""
        return self.chainage_start_m + self.direction * np.asarray(position_m, np.float64)

    def position_m(self, chainage_m: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Position of a chainage. NaN stays NaN."""
        return (np.asarray(chainage_m, np.float64) - self.chainage_start_m) * self.direction

    @property
    def origin_um(self) -> int:
        """Station of position 0, in micrometres."""
        return int(self.direction * micrometres(self.chainage_start_m))

    def step(self, position_m: NDArray[np.float64]) -> NDArray[np.int64]:
        """Integer 0.1 m step of each position, (n,) int64, counted on the station."""
        return np.floor_divide(micrometres(position_m) + self.origin_um, STEP_UM)

    def step_start_m(self, step: NDArray[np.int64], size: int = 1) -> NDArray[np.float64]:
        """Position where step number `step` of `size` decimetres begins."""
        return (step.astype(np.int64) * (STEP_UM * size) - self.origin_um) / 1e6


def decimetres(step_m: float) -> int:
    """A profile's step as a whole number of decimetres; ValueError if it is not one (or below 1)."""
    count = round(step_m * 10)
    if count < 1 or abs(step_m * 10 - count) > 1e-9:
        raise ValueError(f"a step is a multiple of 0.1 m, got {step_m:g}")
    return count


def format_chainage(chainage_m: float, decimals: int = 2) -> str:
    """12345.6 -> '12+345.60'; NaN -> ''."""
    if np.isnan(chainage_m):
        return ""
    scale = 10**decimals
    units = round(abs(chainage_m) * scale)
    kilometres, rest = divmod(units, 1000 * scale)
    sign = "-" if chainage_m < 0 and units else ""
    width = 4 + decimals if decimals else 3
    return f"{sign}{kilometres}+{rest / scale:0{width}.{decimals}f}"
