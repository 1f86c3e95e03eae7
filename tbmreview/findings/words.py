"""Words that the evidence of several detectors shares."""

from collections.abc import Mapping

import numpy as np

from tbmreview.domain.states import REACTION_LABELS, Reaction
from tbmreview.domain.station import Axis, format_chainage
from tbmreview.findings.beside import BEFORE, Off
from tbmreview.findings.detector import Floats, Profile

NO_CAUSE = "These figures give no cause."


def at_chainage(axis: Axis, position_m: float, *, ends: bool = False) -> str:
    """A position as chainage: 4+212.3. ends: where something ends, which matters at a chainage equation."""
    return format_chainage(float(axis.chainage_m(position_m, ends=ends)), 1)


def stretch(axis: Axis, from_m: float, to_m: float) -> str:
    """over 12.0 m, 4+240.0 to 4+252.0"""
    return f"over {to_m - from_m:.1f} m, {at_chainage(axis, from_m)} to {at_chainage(axis, to_m, ends=True)}"


def against(figures: Mapping[str, float], name: str, unit: str, decimals: int = 1) -> str:
    """7.2 mm/rev against 9.0: a figure and its baseline, where there is one."""
    before = figures.get(f"baseline_{name}", np.nan)
    text = f"{figures[name]:.{decimals}f} {unit}".rstrip()
    return text if np.isnan(before) else f"{text} against {before:.{decimals}f}"


def times_beside(off: Off, ratio: float, level: str, window_m: float) -> str:
    """0.31 times the 10.1 of the 30 m bored before it, the more similar side, which scatters by 6 %"""
    side = "bored before" if off.side == BEFORE else "bored after"
    return (
        f"{ratio:.2f} times the {level} of the {window_m:g} m {side} it, the more similar side, which scatters by "
        f"{100 * off.spread:.0f} %"
    )


def reactions(profile: Profile, off: Off) -> str:
    """Shares of the reactions by advance, and whether the ground beside had the same."""
    reaction, advance_m = profile.rows["reaction"][off.rows], profile.rows["advance_m"][off.rows]
    words = " and ".join(
        f"{REACTION_LABELS[Reaction(code)]} {100 * share:.0f} %"
        for code, share in _shares(reaction, advance_m)
        if share >= 0.005
    )
    return f"Reaction: {words}." + (
        "" if off.own else " The ground beside it was bored with other reactions too."
    )


def _shares(reaction: Floats, advance_m: Floats) -> list[tuple[int, float]]:
    total = float(np.sum(advance_m))
    shares = [
        (code, float(np.sum(advance_m[reaction == code])) / total) for code in np.unique(reaction).tolist()
    ]
    return sorted(shares, key=lambda item: -item[1])
