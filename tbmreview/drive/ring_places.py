"""Rings of a drive: their numbers, who gave them, and where each lies."""

import numpy as np

from tbmreview.domain.errors import DriveError
from tbmreview.domain.table import Column, Table
from tbmreview.drive.reading import Floats, Readable

COUNTED, NOMINAL = "counter", "nominal"  # where the number of a ring comes from
TOLERANCE_M = 1e-6  # positions closer than a micrometre are the same


def known_rings(drive: Readable, others: str = "") -> Table:
    """The rings of a drive; DriveError if none is known, which tells of the other groupings that need none."""
    if not len(drive.rings):
        raise DriveError(
            "no ring is known: the logs carry no ring number, and [drive] ring_length_m is not in drive.toml"
            + (f"; --by {others} need none" if others else "")
        )
    return drive.rings


def numbered(rings: Table) -> dict[str, Column]:
    """Number of each ring, and whether a counter in the logs or the length of a ring gave it."""
    source = np.where(rings["nominal"] > 0, NOMINAL, COUNTED).astype(object)
    return {
        "ring": np.append(rings["ring"].astype(np.float64), np.nan),
        "ring_source": np.append(source, ""),
    }


def ring_places(drive: Readable) -> tuple[Floats, Floats]:
    """Where each ring lies, from and to, (rings,) [m]: the face when it was built, less the offset.

    A ring begins where the one before it ends, unless that is half a ring or more off its own length.
    """
    rings = known_rings(drive)
    offset, length = drive.setup.drive.ring_place_offset_m, drive.setup.drive.ring_length_m
    if offset is None or length is None:
        raise DriveError(
            "--by ring-place needs [drive] ring_length_m and ring_place_offset_m (from the face back to the "
            "front edge of the last ring) in drive.toml"
        )
    front = rings["position_to_m"] - offset
    back = front - length
    behind = np.concatenate([[np.nan], front[:-1]])
    return np.where(np.abs(behind - back) < length / 2, behind, back), front


def ring_numbers(rings: Table, low_m: Floats, high_m: Floats) -> Floats:
    """Number of the ring during which the face went from low to high, (n,); NaN where several or none."""
    if not len(rings):
        return np.full(len(low_m), np.nan)
    ends = rings["position_to_m"]
    first = np.searchsorted(ends, low_m + TOLERANCE_M, side="right")
    last = np.searchsorted(ends, high_m - TOLERANCE_M, side="left")
    at = np.minimum(first, len(ends) - 1)
    within = (first >= last) & (first < len(ends)) & (low_m >= rings["position_from_m"][at] - TOLERANCE_M)
    return np.where(within, rings["ring"][at].astype(np.float64), np.nan)
