"""Position, chainage and steps.

Position rises from 0 at the drive's start. Chainage rises or falls. Steps are counted on
``station = direction * chainage``, which always rises, so that every profile starts on a round
chainage whichever way the drive runs. Steps are integers of integer micrometres, because
``floor(x / 0.1)`` is wrong for a third of exact decimetres.

A chainage equation gives one place two chainages: from there on the axis is counted differently. A
chainage may then exist twice, or not at all.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.errors import ChainageError

STEP_UM = 100_000  # the 0.1 m of a cell
ZONE_STEPS = 1 << 40  # more steps than any drive has: those beyond a chainage equation stay apart
SAME_PLACE_M = 1e-6


def micrometres(metres: NDArray[np.float64] | float) -> NDArray[np.int64]:
    """Metres to the nearest whole micrometre, (n,) int64. NaN is an error of the caller."""
    return np.rint(np.asarray(metres, np.float64) * 1e6).astype(np.int64)


class Chainage(float):
    """A chainage in m with the side of a chainage equation on which it is meant: 'back' (towards lower
    chainage), 'ahead' or '' (not said)."""

    side: str

    def __new__(cls, metres: float, side: str = "") -> "Chainage":
        made = super().__new__(cls, metres)
        made.side = side
        return made


@dataclass(frozen=True, slots=True)
class Equation:
    """One place with two chainages [m]: back_m counted from lower chainage, ahead_m from there on upwards."""

    back_m: float
    ahead_m: float


@dataclass(frozen=True, slots=True)
class Zone:
    """The stretch of an axis from a position on, and the chainage at it [m]; it ends where the next begins."""

    from_m: float
    chainage_m: float


@dataclass(frozen=True, slots=True)
class Axis:
    """The drive's axis: chainage at its start [m] and direction (+1 rising, -1 falling).

    zones: what follows the chainage equations that the drive met, by position; () for an axis without.
    """

    chainage_start_m: float
    direction: int
    zones: tuple[Zone, ...] = ()

    def with_equations(self, equations: Iterable[Equation]) -> "Axis":
        """The axis with these equations; those that lie behind the drive's start are of no effect.

        ChainageError where one cannot be reached from the others.
        """
        waiting, axis = list(equations), Axis(self.chainage_start_m, self.direction)
        while waiting:
            places = [axis._meets(equation) for equation in waiting]
            at = min(range(len(places)), key=lambda i: places[i])
            if places[at] > 0:
                axis = axis._and(places[at], waiting[at])
            elif axis.zones:
                raise ChainageError(
                    f"the equation {_text(waiting[at])} lies before another that the drive meets first; "
                    "state its chainages as they are counted there"
                )
            del waiting[at]
        return axis

    def _meets(self, equation: Equation) -> float:
        """Position of an equation as it is met in the last zone; negative: behind where that begins."""
        last = self.zones[-1] if self.zones else Zone(0.0, self.chainage_start_m)
        met = equation.back_m if self.direction > 0 else equation.ahead_m
        further = (met - last.chainage_m) * self.direction
        return last.from_m + further if further > 0 else -1.0

    def _and(self, at_m: float, equation: Equation) -> "Axis":
        leaves = equation.ahead_m if self.direction > 0 else equation.back_m
        return Axis(self.chainage_start_m, self.direction, (*self.zones, Zone(at_m, leaves)))

    def chainage_m(
        self, position_m: NDArray[np.float64] | float, *, ends: bool = False
    ) -> NDArray[np.float64]:
        """Chainage of a position. NaN stays NaN. At a chainage equation: as counted from there on along the
        drive; ends: as counted up to there."""
        position = np.asarray(position_m, np.float64)
        if not self.zones:
            return self.chainage_start_m + self.direction * position
        zone = self._zone(position, ends=ends)
        at = np.array([0.0, *(z.from_m for z in self.zones)])
        there = np.array([self.chainage_start_m, *(z.chainage_m for z in self.zones)])
        found: NDArray[np.float64] = there[zone] + self.direction * (position - at[zone])
        return found

    def position_m(self, chainage_m: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Position of a chainage. NaN stays NaN. ChainageError where a chainage equation gives it twice (and
        no Chainage says on which side) or not at all."""
        if not self.zones:
            return (np.asarray(chainage_m, np.float64) - self.chainage_start_m) * self.direction
        if isinstance(chainage_m, Chainage):
            return np.asarray(self._one_place(chainage_m))
        values = np.asarray(chainage_m, np.float64)
        return np.array([self._one_place(Chainage(c)) for c in values.ravel()]).reshape(values.shape)

    def positions_m(self, chainage_m: float) -> tuple[float, ...]:
        """Every position that has a chainage, rising; () for one that a chainage equation cuts out."""
        starts = (Zone(0.0, self.chainage_start_m), *self.zones)
        ends = (*(zone.from_m for zone in self.zones), np.inf)
        found: list[float] = []
        for number, (zone, end) in enumerate(zip(starts, ends, strict=True)):
            position = zone.from_m + (chainage_m - zone.chainage_m) * self.direction
            begins = zone.from_m if number else -np.inf
            within = begins - SAME_PLACE_M <= position <= end + SAME_PLACE_M
            if within and not (found and abs(found[-1] - position) <= SAME_PLACE_M):
                found.append(float(position))
        return tuple(found)

    def chainage_at(self, position_m: float, *, ends: bool = False) -> Chainage:
        """Chainage of one position, with the side said where it exists twice; see `chainage_m`."""
        chainage = float(self.chainage_m(position_m, ends=ends))
        places = self.positions_m(chainage)
        if len(places) < 2:
            return Chainage(chainage)
        lower = (abs(places[0] - position_m) < abs(places[-1] - position_m)) == (self.direction > 0)
        return Chainage(chainage, "back" if lower else "ahead")

    def parts(self, low_m: float, high_m: float) -> tuple[tuple[float, float, "Axis"], ...]:
        """(from, to, axis without equations) of the stretch between two positions, parted at the equations."""
        borders = [zone.from_m for zone in self.zones if low_m < zone.from_m < high_m]
        ends = [low_m, *borders, high_m]
        out = []
        for low, high in pairwise(ends):
            at = (low + high) / 2
            start = float(self.chainage_m(at)) - self.direction * at
            out.append((low, high, Axis(start, self.direction) if self.zones else self))
        return tuple(out)

    def _one_place(self, chainage: Chainage) -> float:
        if np.isnan(chainage):
            return float("nan")
        found = self.positions_m(chainage)
        if not found:
            raise ChainageError(
                f"there is no chainage {format_chainage(chainage)}: a chainage equation leaps over it"
            )
        if len(found) > 1 and not chainage.side:
            places = " and ".join(f"{p:.2f}" for p in found)
            text = format_chainage(chainage)
            raise ChainageError(
                f"chainage {text} exists twice, {places} m from the drive's start; write '{text} back' for the "
                f"one towards lower chainage or '{text} ahead' for the other"
            )
        lower_first = self.direction > 0
        return found[0] if (chainage.side != "ahead") == lower_first else found[-1]

    def _zone(self, position: NDArray[np.float64], *, ends: bool = False) -> NDArray[np.int64]:
        borders = micrometres(np.array([zone.from_m for zone in self.zones]))
        um = micrometres(np.nan_to_num(position))
        return np.searchsorted(borders, um, side="left" if ends else "right").astype(np.int64)

    @property
    def origin_um(self) -> int:
        """Station of position 0, in micrometres."""
        return int(self.direction * micrometres(self.chainage_start_m))

    def step(self, position_m: NDArray[np.float64]) -> NDArray[np.int64]:
        """Integer 0.1 m step of each position, (n,) int64, counted on the station; beyond each chainage
        equation it begins anew, ZONE_STEPS higher."""
        if not self.zones:
            return np.floor_divide(micrometres(position_m) + self.origin_um, STEP_UM)
        zone = self._zone(np.asarray(position_m))
        local = np.floor_divide(micrometres(position_m) + self._origins_um()[zone], STEP_UM)
        return np.asarray(local + zone * ZONE_STEPS)

    def _origins_um(self) -> NDArray[np.int64]:
        """What makes a station of a position in each zone, (zones + 1,) micrometres."""
        own = [
            self.direction * micrometres(zone.chainage_m) - micrometres(zone.from_m) for zone in self.zones
        ]
        return np.array([self.origin_um, *own], np.int64)

    def coarser(self, step: NDArray[np.int64], size: int) -> NDArray[np.int64]:
        """Number of the step of `size` decimetres that each 0.1 m step lies in, (n,) int64."""
        if not self.zones:
            return np.floor_divide(step, size)
        zone = _zone_of_step(step)
        return np.asarray(np.floor_divide(step - zone * ZONE_STEPS, size) + zone * ZONE_STEPS)

    def step_start_m(self, step: NDArray[np.int64], size: int = 1) -> NDArray[np.float64]:
        """Position where step number `step` of `size` decimetres begins."""
        if not self.zones:
            return (step.astype(np.int64) * (STEP_UM * size) - self.origin_um) / 1e6
        zone = _zone_of_step(step)
        start: NDArray[np.float64] = (
            (step - zone * ZONE_STEPS) * (STEP_UM * size) - self._origins_um()[zone]
        ) / 1e6
        starts = np.array([-np.inf, *(z.from_m for z in self.zones)])
        return np.asarray(np.maximum(start, starts[zone]))

    def step_end_m(self, step: NDArray[np.int64], size: int = 1) -> NDArray[np.float64]:
        """Position where step number `step` of `size` decimetres ends."""
        end = self.step_start_m(step + 1, size)
        if not self.zones:
            return end
        ends = np.array([*(z.from_m for z in self.zones), np.inf])
        return np.asarray(np.minimum(end, ends[_zone_of_step(step)]))


def _zone_of_step(step: NDArray[np.int64]) -> NDArray[np.int64]:
    return (step + ZONE_STEPS // 2) // ZONE_STEPS


def _text(equation: Equation) -> str:
    return f"{format_chainage(equation.back_m)} back = {format_chainage(equation.ahead_m)} ahead"


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


def parse_chainage(text: str) -> Chainage | None:
    """'12+345.60', '12345.6', either followed by 'back' or 'ahead'; None where it is no chainage."""
    found = re.fullmatch(
        r"([-+]?)(?:(\d+)\+(\d{3}(?:\.\d+)?)|(\d+\.?\d*|\.\d+))(?:\s+(back|ahead))?", text.strip()
    )
    if found is None:
        return None
    sign, kilometres, rest, plain, side = found.groups()
    metres = float(plain) if plain else int(kilometres) * 1000 + float(rest)
    return Chainage(-metres if sign == "-" else metres, side or "")
