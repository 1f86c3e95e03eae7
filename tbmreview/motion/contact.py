"""Where the head meets the face at the start of a stroke."""

from dataclasses import dataclass

import numpy as np

from tbmreview.motion.pushing import by_rest, half_interval_mm, rest_before
from tbmreview.motion.record import Extension, Record
from tbmreview.motion.signals import Floats, Ints, middle
from tbmreview.motion.torque import TorqueLevels, contact_sample

LEAST_APPROACH_MM = 4.0  # a shorter free advance cannot be told from the first bite of the discs


@dataclass(frozen=True, slots=True)
class Contact:
    """sample: the first at which the head is on the face. mm: extension there, in a slow log, whose
    readings lie too far apart to give it; NaN else."""

    sample: int
    mm: float


def no_later(found: Contact, extension: Extension | None, bored: Ints) -> Contact:
    """The contact, brought forward to the first of the samples (k,) that a person states to have bored."""
    if not len(bored) or bored[0] >= found.sample:
        return found
    return Contact(int(bored[0]), float("nan") if extension is None else float(extension.mm[bored[0]]))


def find_contact(
    record: Record, extension: Extension | None, moving: Ints, known: tuple[Floats, TorqueLevels]
) -> Contact:
    """The contact among the samples (k,) at which the head goes forward in a stroke.

    known: rate (n,) mm/min without missing values, and the stroke's levels of torque.
    """
    rate, levels = known
    if not len(moving):
        return Contact(len(record), float("nan"))
    first, sample = int(moving[0]), contact_sample(record, moving, levels)
    if extension is None:
        return Contact(sample, float("nan"))
    least = max(LEAST_APPROACH_MM, 2 * extension.noise_mm)
    if not by_rest(record, extension):
        gone = middle(extension.mm[sample : sample + 3]) - middle(extension.mm[moving[:3]])
        return Contact(sample if gone >= least else first, float("nan"))
    rest = rest_before(record, extension, rate, first)
    if not np.isfinite(levels.loaded_from):  # the torque does not show a free advance
        return Contact(first, rest)
    if record.goes_on(first) and sample == first and record.torque_kNm[first - 1] > levels.loaded_from:
        return Contact(first, rest)  # on the face before the stroke shows that it moves
    # the last interval before a loaded sample is part free and fast, part loaded and slow
    met = float(extension.mm[sample]) - half_interval_mm(record, rate, sample)
    # without free advance it is off by what the head bores in half an interval
    unsure = half_interval_mm(record, rate, min(sample + 1, int(moving[-1])))
    return Contact(sample, met) if met - rest >= max(least, unsure) else Contact(first, rest)
