"""A finding: what a detector noticed, with its evidence; and what a person decided."""

from dataclasses import dataclass, field

OPEN, AGREED, SET_ASIDE = "open", "agreed", "set aside"
VERDICTS = (OPEN, AGREED, SET_ASIDE)


@dataclass(frozen=True, slots=True)
class Finding:
    """One interval. Positions in m, times in microseconds UTC; strength >= 0, larger is stronger."""

    kind: str
    position_from_m: float
    position_to_m: float
    start_us: int
    end_us: int
    strength: float
    evidence: str
    figures: dict[str, float] = field(default_factory=dict)
    verdict: str = OPEN
    decided_by: str = ""
    decided_us: int | None = None
    note: str = ""
    id: str = ""
    group: str = ""  # the id of the first of the neighbouring findings that may have one cause; '' alone

    @property
    def number(self) -> int:
        """The number in a stored finding's id: F012 has 12."""
        return int(self.id.removeprefix("F"))
