"""Generator of the invented Larkfell drive. numpy, pandas and pyarrow only; knows no program."""

from .drive import make_drive, make_sample, simulate
from .options import DOUBLE_SHIELD, OPEN_GRIPPER, SINGLE_SHIELD, Options
from .truth import Truth

__all__ = [
    "DOUBLE_SHIELD",
    "OPEN_GRIPPER",
    "SINGLE_SHIELD",
    "Options",
    "Truth",
    "make_drive",
    "make_sample",
    "simulate",
]
