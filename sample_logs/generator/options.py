"""What a run of the generator is asked for, and the invented machine it drives."""

import math
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

OPEN_GRIPPER, SINGLE_SHIELD, DOUBLE_SHIELD = "open gripper", "single shield", "double shield"


@dataclass(frozen=True)
class Machine:
    """Larkfell's machine. All of it is invented."""

    bore_m: float = 6.40
    discs: int = 42
    disc_mm: float = 483.0
    lever: float = 0.3  # lever arm of the mean disc over the bore (as attributed to OENORM B 2203-2)
    main_area_m2: float = 10 * math.pi / 4 * 0.24**2  # ten cylinders of 240 mm
    aux_area_m2: float = 14 * math.pi / 4 * 0.25**2  # fourteen of 250 mm
    main_rest_m: float = 0.045  # mains after a regrip
    main_closed_m: float = 0.003  # bottomed
    main_full_m: float = 1.600
    aux_rest_m: float = 0.150  # auxiliaries on a ring just built
    stroke_m: float = 1.50
    pad_groups: int = 6  # a group lets go for each segment
    pad_clearance_m: float = 0.10
    first_ring: int = 1421

    @property
    def face_m2(self) -> float:
        return math.pi / 4 * self.bore_m**2


@dataclass(frozen=True)
class Options:
    """One invented drive. The defaults are the sample's; the rest is for harder drives.

    start: local wall time of the first sample. direction: +1 rising chainage, -1 falling.
    misclosure: the stroke sensors read (1 + misclosure) times the true advance; guidance is true.
    creep_mm: how far the guidance creeps back in a long stop. jumps: sudden steps of the guidance.
    sample_s: the logger keeps every so-manieth second. without: channel keys that are not logged.
    gaps: (seconds, how many) stretches that the logger lost, anywhere.
    """

    seed: int = 1
    days: float = 10
    kind: str = DOUBLE_SHIELD
    start: datetime = datetime(2031, 2, 3, 6)
    timezone: str = "Europe/Oslo"
    chainage_m: float = 4180.0
    direction: int = 1
    misclosure: float = 0.0003
    creep_mm: float = 0.0
    jumps: int = 0
    stroke_noise_mm: float = 0.12
    sample_s: int = 1
    without: tuple[str, ...] = ()
    gaps: tuple[int, int] = (0, 0)
    machine: Machine = field(default_factory=Machine)

    @property
    def seconds(self) -> int:
        return round(self.days * 86_400)

    @property
    def start_utc_s(self) -> int:
        """Epoch seconds of the first sample."""
        return int(self.start.replace(tzinfo=ZoneInfo(self.timezone)).timestamp())
