"""Reaction: where the force of a bout goes."""

import numpy as np

from tbmreview.domain.setup import DOUBLE_SHIELD, SINGLE_SHIELD
from tbmreview.domain.states import PushingSet, Reaction
from tbmreview.motion.pushing import Bout
from tbmreview.motion.record import Record
from tbmreview.motion.signals import Floats, middle

RING_CARRIES = 0.8  # of the main thrust on the auxiliaries: the ring takes it
FOLLOWS = 0.5  # and of its changes: auxiliaries that only hold the ring press alike all along
VARIES = 0.05  # of its mean: a main thrust that varies by less shows no following


def reaction_of(record: Record, kind: str, bout: Bout) -> Reaction:
    """Where the force of a bout goes: by kind of machine; in a double shield by who bears it.

    Gripper pressure alone proves nothing: a residual pressure stays when the ring takes the force.
    """
    if kind == SINGLE_SHIELD:
        return Reaction.RING
    if kind != DOUBLE_SHIELD:
        return Reaction.GRIPPERS
    if bout.pushing_set == PushingSet.AUX:
        return Reaction.RING
    if bout.pushing_set == PushingSet.UNKNOWN:
        return Reaction.UNKNOWN
    part = slice(bout.first, bout.stop)
    main, aux = (record.samples.get(n)[part] for n in ("main_thrust_kN", "aux_thrust_kN"))
    known = np.isfinite(main) & np.isfinite(aux)
    if known.any() and middle(main) > 0:
        return Reaction.RING if _in_series(main[known], aux[known]) else Reaction.GRIPPERS
    return Reaction.UNKNOWN if record.gripper is None else Reaction.GRIPPERS


def _in_series(main: Floats, aux: Floats) -> bool:
    """The auxiliaries bear what the mains push: as much of it, and more where it is more."""
    if middle(aux) < RING_CARRIES * middle(main):
        return False
    apart = main - main.mean()
    if np.sqrt(np.mean(apart**2)) < VARIES * main.mean():
        return True
    return bool(np.mean(apart * aux) >= FOLLOWS * np.mean(apart**2))
