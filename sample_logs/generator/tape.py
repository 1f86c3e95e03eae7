"""What happened, second by second. A sample's rates hold until the next sample."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

NO_RECORD, STANDING, BORING, TURNING_FREE, TURNING_LOADED, REGRIP, RING_BUILD = range(7)
STATES = (
    "no record", "standing", "boring", "turning free", "turning loaded without advance",
    "regripping", "ring building",
)  # fmt: skip
MAIN, AUX = 1, 2
SETS = ("not known", "main", "auxiliary")
GRIPPERS, RING, MIXED = 1, 2, 3
REACTIONS = ("not known", "grippers", "ring", "mixed")
FREE_ROTATION, FREE_ADVANCE, LOADING, STEADY, UNLOADING = 1, 2, 3, 4, 5
PHASES = ("none", "free rotation", "free advance", "loading", "steady", "unloading")

# name -> (kind of number, value where a phase does not say). NaN force: nobody pushes with that set.
CHANNELS: dict[str, tuple[type, float]] = {
    "state": (np.int8, STANDING),
    "stroke": (np.int32, 0),
    "pushing_set": (np.int8, MAIN),
    "reaction": (np.int8, GRIPPERS),
    "phase": (np.int8, 0),
    "main_mm_s": (np.float64, 0.0),
    "rear_mm_s": (np.float64, 0.0),
    "face_mm_s": (np.float64, 0.0),
    "rpm": (np.float64, 0.0),
    "torque_kNm": (np.float64, 0.0),
    "main_kN": (np.float64, np.nan),
    "aux_kN": (np.float64, np.nan),
    "drag_kN": (np.float64, 0.0),
    "no_load_kNm": (np.float64, 0.0),
    "gripper_bar": (np.float64, 0.0),
    "rpm_set": (np.float64, 0.0),
    "thrust_set_kN": (np.float64, 0.0),
}
Column = NDArray[Any]


class Tape:
    """Room for n seconds, filled phase by phase; what runs over the end is not kept."""

    def __init__(self, n: int) -> None:
        self.length = 0
        self.columns: dict[str, Column] = {
            name: np.full(n, usual, kind) for name, (kind, usual) in CHANNELS.items()
        }

    def put(self, n: int, **values: float | Column) -> None:
        """n seconds; each value is a number or (n,)."""
        start, self.length = self.length, self.length + n
        for name, value in values.items():
            column = self.columns[name][start : self.length]
            column[:] = value if np.ndim(value) == 0 else np.asarray(value)[: len(column)]
