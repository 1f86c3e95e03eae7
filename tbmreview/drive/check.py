"""Whether a drive is whole: setup, catalogue, chunks, totals. Nothing is changed."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tbmreview.domain.errors import SetupError, TbmReviewError
from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.states import State
from tbmreview.domain.table import Table
from tbmreview.drive.anchors import anchor_notes
from tbmreview.drive.delays import contradiction_lines
from tbmreview.drive.opened import Drive, open_drive
from tbmreview.drive.overrule import in_force, touches
from tbmreview.store import catalogue
from tbmreview.store.layout import Layout
from tbmreview.store.setup_file import read_setup_file
from tbmreview.store.verify import catalogue_problems, chunk_problems, file_problems

# Sums of some ten million numbers in a different order differ by less than this part of themselves.
ROUNDING = 1e-9
LEAST_S, LEAST_M = 1e-3, 1e-6


@dataclass(frozen=True, slots=True)
class CheckReport:
    """problems: what is damaged, a line each; () for a whole drive. notes: harmless leftovers, and what people
    stated that the log speaks against; how the strokes close on what is known of places."""

    folder: Path
    chunks: int
    rows: int
    problems: tuple[str, ...]
    notes: tuple[str, ...]

    def text(self) -> str:
        """In plain lines; the last one is the verdict."""
        verdict = f"{len(self.problems)} problems" if self.problems else "whole"
        return "\n".join(
            [
                *(f"damaged: {problem}" for problem in self.problems),
                *(f"note: {note}" for note in self.notes),
                f"{self.folder}: {self.chunks} chunks, {self.rows} rows checked: {verdict}",
            ]
        )


def check(folder: Path | str) -> CheckReport:
    """Verify every chunk against its hash, the catalogue, drive.toml and the totals.

    DriveError if the folder is no drive or its catalogue cannot be read at all.
    """
    folder = Path(folder)
    with catalogue.reading(folder) as db:
        problems = catalogue_problems(db)
        chunks = catalogue.current_chunks(db)
        replaced = catalogue.replaced_chunks(db)
    try:
        read_setup_file(Layout(folder).setup)
    except SetupError as error:
        problems.append(str(error))
    for chunk in chunks:
        problems += chunk_problems(folder, chunk)
    strangers, leftovers = file_problems(folder, chunks, replaced)
    problems += strangers
    notes = [*leftovers]
    if not problems:
        found, told = _totals(folder)
        problems += found
        notes += told
    return CheckReport(folder, len(chunks), sum(c.rows for c in chunks), tuple(problems), tuple(notes))


def _totals(folder: Path) -> tuple[list[str], list[str]]:
    """(problems, notes): totals that do not agree; what people stated that the log speaks against."""
    try:
        drive = open_drive(folder)
        return total_problems(drive.cells, drive.strokes, drive.periods), [
            *anchor_notes(drive.closing, drive.axis, drive.setup.drive.zone),
            *stated_notes(drive),
        ]
    except TbmReviewError as error:
        return [str(error)], []


def stated_notes(drive: Drive) -> list[str]:
    """Delays during which the machine bored, and overrules in force where there is no sample."""
    idle = [o for o in in_force(drive) if not touches(drive, o.what, o.start_us, o.end_us)]
    return [
        *(f"contradiction: {line}" for line in contradiction_lines(drive)),
        *(f"overrule {o.id} ({o.what} '{o.value}') touches no sample of the drive" for o in idle),
    ]


def total_problems(cells: Table, strokes: Table, periods: Table) -> list[str]:
    """Where cells, strokes and periods, made from the same samples, do not agree."""
    lengths_s = (periods["end_us"] - periods["start_us"]) / MICROSECONDS
    boring = periods["state"] == State.BORING
    pairs = (
        ("boring seconds", "cells", cells["boring_s"].sum(), "periods", lengths_s[boring].sum(), LEAST_S),
        ("advance in m", "cells", cells["advance_m"].sum(), "strokes", strokes["advance_m"].sum(), LEAST_M),
    )
    problems = [
        f"{what}: {one} say {a:.6f}, {other} say {b:.6f}"
        for what, one, a, other, b, least in pairs
        if not abs(a - b) <= max(least, ROUNDING * abs(a))
    ]
    if np.any(periods["start_us"][1:] != periods["end_us"][:-1]):
        problems.append("periods: there is a hole or an overlap between two of them")
    return problems
