"""The codes of a sample and of a cell's key: state, pushing set, reaction, phase of the stroke."""

from enum import IntEnum


class State(IntEnum):
    """What the machine is doing at a sample (exactly one of seven)."""

    NO_RECORD = 0
    STANDING = 1
    BORING = 2
    TURNING_FREE = 3
    TURNING_LOADED = 4
    REGRIP = 5
    RING_BUILD = 6


STATE_LABELS: dict[State, str] = {
    State.BORING: "boring",
    State.TURNING_FREE: "turning free",
    State.TURNING_LOADED: "turning loaded without advance",
    State.REGRIP: "regripping",
    State.RING_BUILD: "ring building",
    State.STANDING: "standing",
    State.NO_RECORD: "no record",
}


class PushingSet(IntEnum):
    """The cylinders whose extension moves the head."""

    UNKNOWN = 0
    MAIN = 1
    AUX = 2


PUSHING_LABELS: dict[PushingSet, str] = {
    PushingSet.MAIN: "main",
    PushingSet.AUX: "auxiliary",
    PushingSet.UNKNOWN: "not known",
}


class Reaction(IntEnum):
    """Where the force of the pushing set goes."""

    UNKNOWN = 0
    GRIPPERS = 1
    RING = 2
    MIXED = 3


REACTION_LABELS: dict[Reaction, str] = {
    Reaction.GRIPPERS: "grippers",
    Reaction.RING: "ring",
    Reaction.MIXED: "mixed",
    Reaction.UNKNOWN: "not known",
}


class Phase(IntEnum):
    """The part of a stroke. Only LOADING, STEADY and UNLOADING are boring."""

    NONE = 0
    FREE_ROTATION = 1
    FREE_ADVANCE = 2
    LOADING = 3
    STEADY = 4
    UNLOADING = 5
