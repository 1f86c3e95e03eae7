"""Drag and no-load torque of every stroke: its own, else that of its neighbours, else the setup's.

A stroke that shows none lies between two that do, and where a shield is getting held drag rises from
stroke to stroke: so the figure is read on the line between the nearest strokes before and after it that
showed theirs with the same pushing set, or is that of the nearest at either end. Its standard deviation
is how far the strokes around it lie off the line between their own neighbours. A constant of the setup
has the spread that the setup assumes for it. It is preferred to one or two strokes of a whole drive, and
where the line would give more drag than the stroke had thrust: a shield that lets go does so at once.
This is done at reading, so it does not matter in which order days were added.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.setup import Machine
from tbmreview.domain.states import PushingSet
from tbmreview.domain.table import Table
from tbmreview.motion.signals import Flags, Floats

SEEN_STROKE, SEEN_NEAR, SEEN_SETUP, SEEN_NONE = "stroke", "nearby strokes", "setup", "none"
DRAG = ("drag_kN", "drag_sd_kN", "drag_n", "drag_source")
NO_LOAD = ("no_load_torque_kNm", "no_load_sd_kNm", "no_load_n", "no_load_source")
NEARBY = 5  # strokes either way whose scatter counts
FEWEST = 3  # fewer say little of the others: the setup's constant, or its assumed spread, is used
FEW_WIDEN = 2.4  # over n, for a deviation from n values: Student's t at 95 %, whose lines overlap


@dataclass(frozen=True, slots=True)
class _Constant:
    """What the setup states of a set, None if nothing, and the standard deviation it assumes, as a share."""

    value: float | None
    share: float


def with_net_forces(strokes: Table, machine: Machine) -> Table:
    """Strokes with drag and no-load torque filled in where they showed none themselves.

    NaN and 'none' stay only where no stroke of the set showed any and the setup states none.
    """
    out = {name: strokes[name].copy() for name in (*DRAG, *NO_LOAD)}
    on_aux, share = strokes["pushing_set"] == PushingSet.AUX, machine.constant_spread
    _fill(out, DRAG, strokes, (~on_aux, _Constant(machine.drag_kN, share)))
    _fill(out, DRAG, strokes, (on_aux, _Constant(machine.aux_drag_kN, share)))
    every = np.ones(len(strokes), bool)
    _fill(out, NO_LOAD, strokes, (every, _Constant(machine.no_load_torque_kNm, share)))
    return strokes.with_columns(out)


def _fill(
    out: dict[str, NDArray[Any]], names: tuple[str, ...], strokes: Table, of: tuple[Flags, _Constant]
) -> None:
    value, spread, count, source = names
    of_set, constant = of
    bare = np.flatnonzero(of_set & (strokes[source] == SEEN_NONE))
    seen = np.flatnonzero(of_set & (strokes[source] == SEEN_STROKE))
    alone = bare  # what the nearby strokes do not speak for
    if len(seen) >= FEWEST or (len(seen) and constant.value is None):
        place, shown = strokes["position_from_m"], strokes[value][seen]
        level, weight = _between(place[seen], shown, place[bare])
        scatter, used = _scatter(place[seen], shown, np.searchsorted(seen, bare))
        assumed = constant.share * np.abs(level)
        out[value][bare], out[source][bare], out[count][bare] = level, SEEN_NEAR, used
        out[spread][bare] = np.where(np.isfinite(scatter), scatter * weight, assumed)
        alone = bare[level > strokes["thrust_least_kN"][bare]] if names is DRAG else bare[:0]
    if constant.value is not None:
        out[value][alone], out[source][alone], out[count][alone] = constant.value, SEEN_SETUP, 0
        out[spread][alone] = constant.share * abs(constant.value)


def _between(place_m: Floats, values: Floats, at_m: Floats) -> tuple[Floats, Floats]:
    """(value at at_m on the line between the neighbours, deviation of a value there from it, in standard
    deviations of a value), each (len(at_m),)."""
    after = np.searchsorted(place_m, at_m)
    left, right = np.maximum(after - 1, 0), np.minimum(after, len(place_m) - 1)
    apart = place_m[right] - place_m[left]
    share = np.where(apart > 0, (at_m - place_m[left]) / np.where(apart > 0, apart, 1.0), 0.0)
    weight = np.sqrt(1 + share**2 + (1 - share) ** 2)
    return np.interp(at_m, place_m, values), weight


def _scatter(place_m: Floats, values: Floats, at: NDArray[np.intp]) -> tuple[Floats, NDArray[np.int64]]:
    """(standard deviation of values near each index, NaN where fewer than FEWEST tell; how many values
    lie near), each (len(at),). A value tells by how far it lies off the line between its neighbours."""
    lowest, highest = np.maximum(at - NEARBY, 0), np.minimum(at + NEARBY, len(values))
    count = (highest - lowest).astype(np.int64)
    inner = np.arange(1, len(values) - 1)
    share = _share(place_m)
    line = values[:-2] + (values[2:] - values[:-2]) * share
    weight = 1 + share**2 + (1 - share) ** 2
    square = np.r_[0.0, np.cumsum((values[inner] - line) ** 2 / weight)]
    first, last = np.clip(lowest - 1, 0, len(inner)), np.clip(highest - 1, 0, len(inner))
    told = np.maximum(last - first, 0)
    deviation = np.sqrt((square[last] - square[first]) / np.maximum(told, 1))
    return np.where(told >= FEWEST, deviation * (1 + FEW_WIDEN / np.maximum(told, 1)), np.nan), count


def _share(place_m: Floats) -> Floats:
    """How far each inner place lies on the way between its two neighbours, 0 to 1."""
    apart = place_m[2:] - place_m[:-2]
    return np.where(apart > 0, (place_m[1:-1] - place_m[:-2]) / np.where(apart > 0, apart, 1.0), 0.5)
