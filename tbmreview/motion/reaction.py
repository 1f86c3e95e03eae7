"""Reaction: where the force of a bout goes."""

import numpy as np

from tbmreview.domain.setup import DOUBLE_SHIELD, SINGLE_SHIELD
from tbmreview.domain.states import PushingSet, Reaction
from tbmreview.motion.pushing import Bout
from tbmreview.motion.record import Record
from tbmreview.motion.signals import middle

RING_CARRIES = 0.8  # of the main thrust on the auxiliaries: the ring takes it


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
    main, aux = (middle(record.samples.get(n)[part]) for n in ("main_thrust_kN", "aux_thrust_kN"))
    if np.isfinite(main) and np.isfinite(aux) and main > 0:
        return Reaction.RING if aux >= RING_CARRIES * main else Reaction.GRIPPERS
    return Reaction.UNKNOWN if record.gripper is None else Reaction.GRIPPERS
