"""The columns of a log as candidates for channels, and a law of the machine tried on them."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.channels import BY_NAME
from tbmreview.domain.setup import Machine
from tbmreview.ingest.laws import LOOSE, TIGHT, Fit, Laws, Relation
from tbmreview.ingest.ranges import range_fault
from tbmreview.ingest.units import Unit, canonical, for_channel, plausible_units

Values = NDArray[np.float64]
_POOL = 30  # columns at most that a law is tried on without regard to names


@dataclass(frozen=True, slots=True)
class Candidate:
    """A column: raw sample (n,), channels its words name (best first), units its header states, and
    whether a person stated what it is."""

    index: int
    header: str
    raw: Values
    channels: tuple[str, ...]
    units: tuple[Unit, ...]
    fixed: bool = False


@dataclass(frozen=True, slots=True)
class Found:
    """What the laws say of a column: a channel, or '' where it is not what its name says; why in words;
    units it may be written in as that channel; a question or ''; whether it waits for another's answer."""

    index: int
    channel: str
    why: str
    units: tuple[Unit, ...] = ()
    question: str = ""
    waits: bool = False


@dataclass(frozen=True, slots=True)
class Trial:
    columns: tuple[Candidate, ...]
    fit: Fit
    units: tuple[Unit, ...]


@dataclass(slots=True)
class Search:
    candidates: Sequence[Candidate]
    laws: Laws
    machine: Machine | None
    taken: dict[str, Candidate] = field(default_factory=dict)
    found: dict[int, Found] = field(default_factory=dict)

    # --- who may be what ---

    def named(self, channel: str) -> list[Candidate]:
        """Columns named for a channel, those first whose first meaning it is; a stated one alone."""
        group = [c for c in self.candidates if channel in c.channels]
        return [c for c in group if c.fixed] or sorted(group, key=lambda c: c.channels.index(channel))

    def contenders(self, channel: str) -> list[Candidate]:
        """Columns named for a channel, then those without a meaning whose unit fits it."""
        named = self.named(channel)
        if any(c.fixed for c in named):
            return named
        vague = [c for c in self.candidates if not c.channels]
        fitting = [c for c in vague if c.units and for_channel(c.units, BY_NAME[channel])]
        return named + (fitting or ([] if named else [c for c in vague if not c.units]))[:_POOL]

    def pool(self) -> list[Candidate]:
        free = [c for c in self.candidates if not c.fixed and c.index not in self.used()]
        return sorted(free, key=lambda c: (not c.channels, c.index))[:_POOL]

    def used(self) -> set[int]:
        return {c.index for c in self.taken.values()}

    def units_of(self, c: Candidate, channel: str) -> tuple[Unit, ...]:
        """The unit its header states where that fits; else that of the column named so; else all."""
        own = for_channel(c.units, BY_NAME[channel])
        if own is not None:
            return (own,)
        stated = (for_channel(o.units, BY_NAME[channel]) for o in self.named(channel) if o is not c)
        named = tuple({u.name: u for u in stated if u}.values())
        return named or plausible_units(BY_NAME[channel]) or (canonical(BY_NAME[channel]),)

    # --- trying a law ---

    def trials(self, law: Relation, sets: Sequence[Sequence[Candidate]]) -> list[Trial]:
        """Columns that obey a product law in units they may have, tightest first."""
        out = []
        for columns in product(*sets):
            if len({c.index for c in columns}) < len(columns):
                continue
            fit = self.laws.product(*(c.index for c in columns))
            if fit is not None and fit.spread <= TIGHT:
                units = self._fitting_units(law, columns, fit)
                out += [Trial(tuple(columns), fit, units)] if units else []
        return sorted(out, key=lambda t: t.fit.spread)

    def _fitting_units(self, law: Relation, columns: Sequence[Candidate], fit: Fit) -> tuple[Unit, ...]:
        channels = tuple(law.terms)
        for units in product(*(self.units_of(c, n) for c, n in zip(columns, channels, strict=True))):
            if law.low <= law.value(
                fit.ratio, dict(zip(channels, units, strict=True))
            ) <= law.high and not any(
                range_fault(n, u.convert(c.raw), self.machine, in_use=True)
                for c, n, u in zip(columns, channels, units, strict=True)
            ):
                return units
        return ()

    def holds_as_named(self, law: Relation, columns: Sequence[Candidate]) -> bool:
        """Whether the names need no second look: the law holds in the units stated, or one unit mends it."""
        fit = self.laws.product(*(c.index for c in columns))
        if fit is None:
            return True  # nothing to test
        channels = tuple(law.terms)
        base = {n: self.units_of(c, n)[0] for c, n in zip(columns, channels, strict=True)}
        if fit.spread <= LOOSE and law.low <= law.value(fit.ratio, base) <= law.high:
            return True
        trials = (
            {**base, n: u}
            for c, n in zip(columns, channels, strict=True)
            for u in plausible_units(BY_NAME[n])
            if not range_fault(n, u.convert(c.raw), self.machine, in_use=True)
        )
        return fit.spread <= TIGHT and any(law.low <= law.value(fit.ratio, t) <= law.high for t in trials)

    def take(self, channel: str, c: Candidate, why: str, question: str = "") -> None:
        self.taken[channel] = c
        self.found[c.index] = Found(c.index, channel, why, self.units_of(c, channel), question)
