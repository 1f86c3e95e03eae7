"""Every indicator, in the order of table columns. Tables, strips, sheets and help read this."""

from tbmreview.domain.setup import Machine
from tbmreview.domain.table import Table
from tbmreview.indicators import boreability, energy, load, rates, reaction
from tbmreview.indicators.record import Floats, Indicator, Sums

# Intervals of others: they come after all else in tables.
INTERVALS: tuple[Indicator, ...] = (load.NET_THRUST_LOW, load.NET_THRUST_HIGH)
INDICATORS: tuple[Indicator, ...] = (
    rates.HEAD_SPEED,
    rates.PENETRATION,
    rates.PENETRATION_RATE,
    load.THRUST,
    load.NET_THRUST,
    load.TORQUE,
    load.NET_TORQUE,
    load.DISC_LOAD,
    load.NET_DISC_LOAD,
    boreability.FPI,
    boreability.NET_FPI,
    boreability.TPI,
    energy.SPECIFIC_ENERGY,
    energy.THRUST_ENERGY,
    energy.ROTARY_ENERGY,
    energy.NET_SPECIFIC_ENERGY,
    boreability.TORQUE_RATIO,
    reaction.SEGMENT_REACTED_SHARE,
    *INTERVALS,
)

BY_NAME: dict[str, Indicator] = {indicator.name: indicator for indicator in INDICATORS}


def indicator_columns(sums: Sums | Table, machine: Machine) -> dict[str, Floats]:
    """Every indicator of grouped sums, name -> (n,) float64, NaN where missing."""
    known: Sums = sums.columns if isinstance(sums, Table) else sums
    return {indicator.name: indicator.function(known, machine) for indicator in INDICATORS}
