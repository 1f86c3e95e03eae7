"""Where the face was at an instant."""

from collections.abc import Callable

import numpy as np

from tbmreview.domain.states import State
from tbmreview.domain.table import Table
from tbmreview.drive.reading import Codes, Floats


def face_in_time(periods: Table, cells: Table) -> tuple[Codes, Floats]:
    """Instants (n,) us and positions [m], rising in both: at the ends of periods, and in the middle of cells within
    boring periods. Cells that were cut anew along the axis keep the times of the whole, so that only their
    middles are true, to half a step."""
    boring = periods.rows(periods["state"] == State.BORING)
    middle_us = cells["start_us"] + (cells["end_us"] - cells["start_us"]) // 2
    at = np.searchsorted(boring["start_us"], middle_us, side="left") - 1
    inside = at >= 0
    inside[inside] = middle_us[inside] < boring["end_us"][at[inside]]
    ends = periods["position_m"], periods["position_m"] + periods["advance_m"]
    middle_m = (cells["position_from_m"] + cells["position_to_m"]) / 2
    time_us = np.concatenate([periods["start_us"], periods["end_us"], middle_us[inside]])
    metres = np.concatenate([*ends, middle_m[inside]])
    order = np.lexsort((metres, time_us))
    return time_us[order], np.maximum.accumulate(metres[order])


def face_at(periods: Table, cells: Table) -> Callable[[Codes], Floats]:
    """Position of the face [m] at instants: one array in, one of its shape out, NaN where nothing is recorded. The
    face's way is laid out once, at the first asking."""
    laid: list[tuple[Codes, Floats]] = []

    def at(time_us: Codes) -> Floats:
        if not len(periods):
            return np.full(time_us.shape, np.nan)
        if not laid:
            laid.append(face_in_time(periods, cells))
        return np.interp(time_us, *laid[0])

    return at
