"""Drag and no-load torque of every stroke: its own, else that of its neighbours, else the setup's.

A stroke that shows none lies between two that do, and where a shield is getting held drag rises from
stroke to stroke: so the figure is read on the line between the nearest strokes before and after it that
showed theirs with the same pushing set, or is that of the nearest at either end. This is done at reading,
so it does not matter in which order days were added.
"""

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


def with_net_forces(strokes: Table, machine: Machine) -> Table:
    """Strokes with drag and no-load torque filled in where they showed none themselves.

    NaN and 'none' stay only where no stroke of the set showed any and the setup states none.
    """
    out = {name: strokes[name].copy() for name in (*DRAG, *NO_LOAD)}
    on_aux = strokes["pushing_set"] == PushingSet.AUX
    _fill(out, DRAG, strokes, (~on_aux, machine.drag_kN))
    _fill(out, DRAG, strokes, (on_aux, machine.aux_drag_kN))
    _fill(out, NO_LOAD, strokes, (np.ones(len(strokes), bool), machine.no_load_torque_kNm))
    return strokes.with_columns(out)


def _fill(
    out: dict[str, NDArray[Any]], names: tuple[str, ...], strokes: Table, of: tuple[Flags, float | None]
) -> None:
    value, spread, count, source = names
    of_set, constant = of
    bare = np.flatnonzero(of_set & (strokes[source] == SEEN_NONE))
    seen = np.flatnonzero(of_set & (strokes[source] == SEEN_STROKE))
    if len(seen):
        level, apart, used = _between(strokes["position_from_m"], strokes[value], seen, bare)
        out[value][bare], out[spread][bare], out[count][bare], out[source][bare] = (
            level,
            apart,
            used,
            SEEN_NEAR,
        )
    elif constant is not None:
        out[value][bare], out[source][bare] = constant, SEEN_SETUP


def _between(
    place_m: Floats, values: Floats, seen: NDArray[np.intp], bare: NDArray[np.intp]
) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """(value on the line between the neighbours, half their difference, how many they are), each (len(bare),)."""
    after = np.searchsorted(seen, bare)
    left, right = seen[np.maximum(after - 1, 0)], seen[np.minimum(after, len(seen) - 1)]
    both = (after > 0) & (after < len(seen))
    level = np.interp(place_m[bare], place_m[seen], values[seen])
    half = np.where(both, np.abs(values[right] - values[left]) / 2, np.nan)
    return level, half, np.where(both, 2, 1).astype(np.int64)
