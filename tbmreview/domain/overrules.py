"""An overrule: what a person states against what the program made of the log; the original stays."""

from dataclasses import dataclass

BEGINS, GOES_ON, LEFT_OUT = "begins", "goes on", "left out"

# What may be overruled, and what the value says.
OVERRULED: dict[str, str] = {
    "state": "a state of the machine: boring, standing, …",
    "reaction": "where the boring thrust goes: grippers, ring, mixed",
    "stroke": "'begins': a new stroke begins here; 'goes on': none does",
    "ring": "the number of the current ring",
    "anchor": "'left out': the stations of this time are not used",
    "delay": "a delay code, '' for none",
}


@dataclass(frozen=True, slots=True)
class Overrule:
    """One statement, in force from start_us to before end_us (microseconds UTC).

    withdrawn: the person took it back; it counts no more, and stays in the drive.
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
