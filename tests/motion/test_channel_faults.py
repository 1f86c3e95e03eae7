"""Channels that are at fault for hours: motion goes by the others, and comes back when the fault is over."""

from functools import cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from support.truth import DRAG_KN, FREE_KNM, OPEN, Event, Plan, Truth, make_truth

from tbmreview.domain.samples import Samples
from tbmreview.motion.carry import Carry
from tbmreview.motion.reduce import Reduced, reduce_window

TORQUE, FAULT = "torque_kNm", (3, 8)  # strokes from .. to before which a channel is at fault
STROKES = 14


@cache
def truth(no_load_kNm: float | None = FREE_KNM) -> Truth:
    backs = tuple(Event(k, "back", 36) for k in range(1, STROKES))
    return make_truth(Plan(OPEN, STROKES, stroke_mm=500, events=backs), no_load_torque_kNm=no_load_kNm)


def with_fault(made: Truth, **changed: Any) -> Reduced:
    """The drive read with channels changed by functions of their values in the strokes at fault."""
    start = made.strokes["start_us"]
    values: dict[str, NDArray[np.float64]] = dict(made.samples.values)
    time_us = made.samples.time_us
    at = (time_us >= start[FAULT[0]]) & (time_us < start[FAULT[1]])
    for name, change in changed.items():
        values[name] = np.where(at, change(values[name]), values[name])
    return reduce_window(Samples(time_us, values), Carry(), made.setup)


@pytest.mark.parametrize("no_load_kNm", [FREE_KNM, None, 10 * FREE_KNM, 0.1 * FREE_KNM], ids=str)
@pytest.mark.parametrize("factor", [0.001, 0.1, 1000.0])
def test_no_load_torque_recovers_from_hours_on_another_scale(
    factor: float, no_load_kNm: float | None
) -> None:
    made = truth(no_load_kNm)
    strokes = with_fault(made, torque_kNm=lambda kNm: factor * kNm).strokes
    away = np.r_[0 : FAULT[1] - FAULT[0]] + FAULT[0]
    right = np.r_[0 : FAULT[0], FAULT[1] + 2 : STROKES]  # without a true constant two strokes may be needed
    if no_load_kNm == FREE_KNM:
        right = np.r_[0 : FAULT[0], FAULT[1] : STROKES]
    if no_load_kNm == 0.1 * FREE_KNM:
        right = right[right >= 2]
    shown = strokes["no_load_torque_kNm"]
    assert len(strokes) == STROKES
    assert shown[right] == pytest.approx(np.full(len(right), FREE_KNM), rel=0.03)
    assert strokes["drag_kN"][right[right > 0]] == pytest.approx(DRAG_KN, rel=0.03)
    assert strokes["advance_m"][right] == pytest.approx(made.strokes["advance_m"][right], abs=0.003)
    assert not np.isclose(shown[away], FREE_KNM, rtol=0.5).any()
