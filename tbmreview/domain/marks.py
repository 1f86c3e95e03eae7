"""A mark: an interval that a person drew and described; and the kinds from the trade."""

from dataclasses import dataclass

MARK_KINDS = (
    "fault zone",
    "shear zone",
    "crushed zone",
    "weathered zone",
    "blocky ground",
    "squeezing ground",
    "water",
    "void or over-excavation",
    "change of rock",
    "other",
)
CONFIDENCES = ("certain", "probable", "possible")


@dataclass(frozen=True, slots=True)
class Mark:
    """One interval between its intersections with the axis. Positions in m.

    from_u95_m, to_u95_m: half-width of the 95 % interval of each end, NaN where not stated. dip_deg (0 to 90)
    and dip_direction_deg (azimuth, 0 to 360) of its planes, NaN where not known. findings: ids of findings it
    rests on; ground: what in the ground tables it rests on, in words; photos: paths. version is the number of
    the act that made it so; decided_by, decided_us (microseconds UTC): who, when. withdrawn: taken back.
    """

    kind: str
    position_from_m: float
    position_to_m: float
    from_u95_m: float = float("nan")
    to_u95_m: float = float("nan")
    dip_deg: float = float("nan")
    dip_direction_deg: float = float("nan")
    confidence: str = ""
    note: str = ""
    findings: tuple[str, ...] = ()
    ground: str = ""
    photos: tuple[str, ...] = ()
    id: str = ""
    version: int = 0
    decided_by: str = ""
    decided_us: int = 0
    withdrawn: bool = False

    @property
    def length_m(self) -> float:
        """Along the axis."""
        return self.position_to_m - self.position_from_m


@dataclass(frozen=True, slots=True)
class Act:
    """What a person did to marks at once: each mark before (None: it was not there) and after.

    number rises from 1; undoes: the number of the act that it takes back, 0 where it takes none back. Nothing
    is ever removed: an act that is taken back stays, and so does the one that took it back.
    """

    number: int
    what: str
    decided_by: str
    decided_us: int = 0
    reason: str = ""
    undoes: int = 0
    marks: tuple[str, ...] = ()
