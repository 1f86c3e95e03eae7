"""Signs of a held shield in words."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.states import PUSHING_LABELS, PushingSet
from tbmreview.findings import held
from tbmreview.findings.held import Sign
from tbmreview.findings.moments import duration
from tbmreview.findings.strokes_before import SEEN, StrokeFigures


@dataclass(frozen=True, slots=True)
class Most:
    """A sign where it stands out most among some strokes: stroke, value, what is usual, sum over the strokes that
    have it, the first of them, how much drag rose a stroke (NaN: not known), the set, whether the log was too slow
    to show a drag."""

    stroke: int
    value: float
    usual: float
    total: float
    since: int
    rise: float
    set_name: str
    slow: bool

    @property
    def times(self) -> float:
        """The value over what is usual."""
        return self.value / self.usual


def most_of(strokes: StrokeFigures, sign: Sign, part: slice) -> Most:
    """Where a sign that some strokes of a part have stands out most."""
    on = np.flatnonzero(sign.weight[part] > 0) + part.start
    with np.errstate(invalid="ignore", divide="ignore"):
        off = np.nan_to_num(np.abs(np.log(sign.value[on] / sign.usual[on])), posinf=0.0)
    at = int(on[np.argmax(off)])
    return Most(
        at,
        float(sign.value[at]),
        float(sign.usual[at]),
        float(sign.value[on].sum()),
        int(on[0]),
        float(strokes.drag_rise[at]),
        f"{PUSHING_LABELS[PushingSet(strokes.of_set[at])]} set",
        bool(strokes.table["drag_source"][at] != SEEN),
    )


def _drag(most: Most, settings: FindingSettings) -> str:
    rising = (
        f", rising by {100 * np.expm1(most.rise):.0f} % a stroke" if most.rise >= settings.held_rise else ""
    )
    return (
        f"{'Thrust of the free advance' if most.slow else 'Drag'} on the {most.set_name} up to {most.value:.0f} kN, {most.times:.1f} times the {most.usual:.0f} kN of the "
        f"strokes before{rising}"
    )


def _start(most: Most, settings: FindingSettings) -> str:
    return f"Setting off after a halt took {most.value:.2f} times the thrust of going on, usually {most.usual:.2f} times"


def _regrip(most: Most, settings: FindingSettings) -> str:
    return f"Force to draw up the rear up to {most.value:.0f} kN, {most.times:.1f} times the {most.usual:.0f} kN before"


def _torque(most: Most, settings: FindingSettings) -> str:
    return f"Thrust rose and torque did not go with it: torque ratio {most.value:.2f} against {most.usual:.2f} before"


def _installed(most: Most, settings: FindingSettings) -> str:
    return f"Thrust up to {100 * most.value:.0f} % of what the {most.set_name} has installed"


def _loaded(most: Most, settings: FindingSettings) -> str:
    return f"The head turned under load without advance for {duration(most.total)} in all"


def _creeping(most: Most, settings: FindingSettings) -> str:
    return f"Boring slower than {settings.held_speed_mm_min:g} mm/min for {duration(most.total)} in all"


WORDS: Mapping[str, Callable[[Most, FindingSettings], str]] = {
    held.DRAG: _drag,
    held.START: _start,
    held.REGRIP: _regrip,
    held.TORQUE: _torque,
    held.INSTALLED: _installed,
    held.LOADED: _loaded,
    held.CREEPING: _creeping,
}
