"""Every indicator, in the order of table columns. Tables, strips, sheets and help read this."""

from collections.abc import Iterable

from tbmreview.domain.setup import Machine
from tbmreview.domain.table import Table
from tbmreview.indicators import boreability, capacity, cutting, energy, evenness, load, rates, reaction
from tbmreview.indicators.record import Floats, Indicator, Sums, Worked

# Intervals of others, and what came later: they come after all else in tables, whose order scripts rely on.
INTERVALS: tuple[Indicator, ...] = (load.NET_THRUST_LOW, load.NET_THRUST_HIGH)
FURTHER: tuple[Indicator, ...] = (
    capacity.THRUST_SHARE,
    capacity.TORQUE_SHARE,
    capacity.DISC_LOAD_SHARE,
    energy.HEAD_POWER,
    energy.ENERGY_PER_METRE,
    energy.SPECIFIC_ENERGY_KWH,
    energy.NET_SPECIFIC_ENERGY_KWH,
    cutting.TPI_PER_DISC,
    cutting.TORQUE_COEFFICIENT,
    cutting.ROLLING,
    cutting.NET_ROLLING,
    cutting.INDEX_1MM,
    cutting.NET_INDEX_1MM,
    evenness.STEADY_SHARE,
    evenness.STEADY_TIME_SHARE,
    evenness.TORQUE_SPREAD,
    evenness.TORQUE_ROUGHNESS,
    evenness.PENETRATION_SPREAD,
    evenness.PENETRATION_ROUGHNESS,
)
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
    *FURTHER,
)

BY_NAME: dict[str, Indicator] = {indicator.name: indicator for indicator in INDICATORS}


def indicator_columns(
    sums: Sums | Table, machine: Machine, wanted: Iterable[Indicator] = INDICATORS
) -> dict[str, Floats]:
    """Indicators of grouped sums, by default all of them, name -> (n,) float64, NaN where missing."""
    known = Worked(sums.columns if isinstance(sums, Table) else sums)
    return {indicator.name: indicator.function(known, machine) for indicator in wanted}
