"""Reaction: how much of the advance was pushed off the ring."""

from tbmreview.domain.setup import Machine
from tbmreview.indicators.record import Floats, Indicator, Sums, ratio


def segment_reacted_share(sums: Sums, machine: Machine) -> Floats:
    """Advance with reaction *ring* over the advance whose reaction is known, (n,), 0 to 1, by advance."""
    return ratio(sums["ring_reacted_advance_m"], sums["known_reaction_advance_m"])


SEGMENT_REACTED_SHARE = Indicator(
    "segment_reacted_share",
    "Segment-reacted share",
    "ring share",
    "",
    "load",
    "advance pushed off the ring over advance with known reaction",
    "definition",
    ("ring_reacted_advance_m", "known_reaction_advance_m"),
    2,
    segment_reacted_share,
)
