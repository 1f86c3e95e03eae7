"""Rings by cycle: what was bored while a ring was current.

From the logged ring counter; else nominal, by ring length along the drive; else none.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.table import Table
from tbmreview.motion.carry import Carry
from tbmreview.motion.cells import Motion
from tbmreview.motion.record import Record
from tbmreview.motion.signals import Flags, Floats, Ints, median3

NO_RING = -1


@dataclass(frozen=True, slots=True)
class RingCount:
    """ring: (n,) int64 current ring at each sample (NO_RING: none); nominal: by length, not logged."""

    ring: Ints
    nominal: bool


def count_rings(record: Record, motion: Motion, ring_length_m: float | None, carried: int) -> RingCount:
    """The current ring of each sample."""
    logged = record.samples.get("ring_number")
    known = np.isfinite(logged)
    if known.any():
        ring = median3(logged if known.all() else _held(logged, known, carried))
        return RingCount(np.rint(ring).astype(np.int64), nominal=False)
    if ring_length_m is None:
        return RingCount(np.full(len(record), NO_RING, np.int64), nominal=False)
    done = np.floor(np.round(motion.at_m / ring_length_m, 9)).astype(np.int64)
    return RingCount(done + 1, nominal=True)


def _held(logged: Floats, known: Flags, carried: int) -> Floats:
    """The counter at each sample (n,): the last one known; before the first, the one carried."""
    latest = np.maximum.accumulate(np.where(known, np.arange(len(logged)), -1))
    start = carried if carried != NO_RING else logged[known][0]
    return np.where(latest >= 0, logged[np.maximum(latest, 0)], start)


def make_rings(record: Record, motion: Motion, count: RingCount, carry: Carry, origin: int) -> Table:
    """One row a ring: ring, position_from_m, position_to_m, start_us, end_us, nominal; from sample
    `origin` on, the first as carried."""
    ring, at_m = count.ring[origin:], motion.at_m[origin:]
    time_us = record.samples.time_us[origin:]
    if not len(ring) or ring[0] == NO_RING:
        return empty_rings()
    first = np.flatnonzero(np.r_[True, ring[1:] != ring[:-1]])
    begin_m, begin_us = at_m[first], time_us[first]
    if carry.ring == ring[0] and np.isfinite(carry.ring_from_m):
        begin_m[0], begin_us[0] = carry.ring_from_m, carry.ring_start_us
    columns: dict[str, NDArray[np.generic]] = {
        "ring": ring[first],
        "position_from_m": begin_m,
        "position_to_m": np.append(begin_m[1:], motion.after_m[-1:]),
        "start_us": begin_us,
        "end_us": np.append(begin_us[1:], time_us[-1:] + record.credit.credit_us[-1:]),
        "nominal": np.full(len(first), count.nominal, np.int8),
    }
    return Table(columns)


def empty_rings() -> Table:
    """Rings without rows."""
    whole = {"ring", "start_us", "end_us"}
    names = ("ring", "position_from_m", "position_to_m", "start_us", "end_us")
    columns: dict[str, NDArray[np.generic]] = {
        n: np.empty(0, np.int64 if n in whole else np.float64) for n in names
    }
    return Table({**columns, "nominal": np.empty(0, np.int8)})
