"""Where the head meets the face at the start of a stroke: by its torque; in a log without one by thrust."""

from dataclasses import dataclass

import numpy as np

from tbmreview.motion.record import Extension, Record
from tbmreview.motion.rest import by_rest, half_interval_mm, rest_before
from tbmreview.motion.signals import Floats, Ints, line, middle, noise
from tbmreview.motion.torque import SPREADS, TorqueLevels, contact_sample

LEAST_APPROACH_MM = 4.0  # a shorter free advance cannot be told from the first bite of the discs
ENDS_S = 20.0  # the extension at contact is a median over so many seconds
DRAG_S = 8.0  # the thrust that a stroke begins with, over so long, is the drag of its free advance
LEAST_LOADED = HALF = 0.5  # of the thrust while boring: a stroke that begins with more begins on the face
# A head that takes so much of the thrust while boring, for so long, is on the face whatever its torque says.
FULL, PRESSED_S = 0.9, 60.0
BITE_SHARE = 0.05  # of the rise from drag to boring thrust: discs that bite take more at once


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
    first, sample = int(moving[0]), loaded_sample(record, moving, levels, extension is record.aux)
    if extension is None:
        return Contact(sample, float("nan"))
    least = max(LEAST_APPROACH_MM, 2 * extension.noise_mm)
    if not by_rest(record, extension):
        gone = middle(extension.mm[sample : sample + 3]) - middle(extension.mm[moving[:3]])
        return Contact(sample if gone >= least else first, float("nan"))
    rest = rest_before(record, extension, rate, first).mm
    unshown = np.isnan(levels.boring) or np.isnan(levels.free)
    if sample == first and unshown:  # the log does not show a free advance
        return Contact(first, rest)
    if record.goes_on(first) and sample == first and record.torque_kNm[first - 1] > levels.loaded_from:
        return Contact(first, rest)  # on the face before the stroke shows that it moves
    # the last interval before a loaded sample is part free and fast, part loaded and slow
    met = _met(record, extension, rate, moving[moving >= sample])
    # without free advance it is off by what the head bores in half an interval
    unsure = half_interval_mm(record, rate, min(sample + 1, int(moving[-1])))
    if met - rest >= max(least, unsure):
        return Contact(sample, met)
    blurred = record.rate_mm_min is None and not unshown
    return Contact(sample if blurred else first, rest)


def _met(record: Record, extension: Extension, rate: Floats, loaded: Ints) -> float:
    """Extension at contact [mm], half an interval before the first of the samples (k,) from contact on.

    By the readings of some seconds, each less what the head went since by the logged speed; without one by the line
    through them, since the slope of a stroke is a mean over free advance and boring there.
    """
    seconds = record.seconds[loaded] - record.seconds[loaded[0]]
    if record.rate_mm_min is not None:
        used = loaded[: np.searchsorted(seconds, ENDS_S, side="right")]
        made = np.maximum(rate[used], 0.0) * record.credit.credit_us[used] / 60e6
        level = middle(extension.mm[used] - np.cumsum(made) + made)
        return level - half_interval_mm(record, rate, int(loaded[0]))
    k = min(max(int(np.searchsorted(seconds, ENDS_S, side="right")), 2), len(loaded))
    if k < 2:
        return float(extension.mm[loaded[0]])
    rise, level = line(seconds[:k], extension.mm[loaded[:k]])
    # from contact on the head speeds up: until the sample it went half as fast in the mean as it does after it
    return float(level - 0.5 * HALF * max(rise, 0.0) * record.nominal_s)


def loaded_sample(record: Record, moving: Ints, levels: TorqueLevels, by_aux: bool) -> int:
    """The first of the `moving` samples (k,) at which the head is on the face, by its torque; without any
    torque by the thrust of the set, which is that of drag before. The first of all where neither shows it."""
    kN = record.samples.get("aux_thrust_kN" if by_aux else "main_thrust_kN")[moving]
    if not np.isnan(levels.boring):
        found = contact_sample(record, moving, levels)
        free = moving < found
        lasts_s = record.seconds[found] - record.seconds[moving[0]]
        pressed = lasts_s > PRESSED_S and middle(kN[free]) > FULL * middle(kN[~free])
        return int(moving[0]) if pressed else found
    k, boring = record.readings(DRAG_S, least=1), middle(kN)
    begins = kN[:k]
    if record.rate_mm_min is None and middle(kN[k : 2 * k]) < LEAST_LOADED * boring:
        begins = kN[k : 2 * k]  # without a logged speed the first of them may be at rest
    drag = middle(begins)
    if not drag < LEAST_LOADED * boring:
        return int(moving[0])
    rise = boring - drag
    on = np.flatnonzero(kN >= drag + HALF * rise)
    floor = drag + min(max(SPREADS * noise(begins[np.isfinite(begins)]), BITE_SHARE * rise), HALF * rise)
    off = np.flatnonzero(kN[: on[0] + 1] < floor)
    return int(moving[off[-1] + 1]) if len(off) and off[-1] + 1 < len(moving) else int(moving[0])
