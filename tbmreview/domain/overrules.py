"""An overrule: what a person states against what the program made of the log; the original stays."""

from dataclasses import dataclass

BEGINS, GOES_ON, LEFT_OUT, USED = "begins", "goes on", "left out", "used"

# What may be overruled, and what the value says.
OVERRULED: dict[str, str] = {
    "state": "a state of the machine: boring, standing, …",
    "reaction": "where the boring thrust goes: grippers, ring, mixed",
    "stroke": "'begins': a new stroke begins here; 'goes on': none does",
    "ring": "the number of the current ring",
    "anchor": "'left out': the stations of this time are not used; 'used': they are, whatever speaks against it",
    "delay": "a delay code, '' for none",
}


@dataclass(frozen=True, slots=True)
class Overrule:
    """One statement, in force from start_us to before end_us (microseconds UTC).

    withdrawn: a person took it back; it counts no more, and stays in the drive. Who stated it and when stays
    beside who withdrew it and when.
    """

    what: str
    start_us: int
    end_us: int
    value: str
    reason: str
    decided_by: str = ""
    decided_us: int = 0
    withdrawn: bool = False
    id: str = ""
    withdrawn_by: str = ""
    withdrawn_us: int = 0
