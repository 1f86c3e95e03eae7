"""Two names that stand at each other's columns: found by what each column does, or asked in one question.

Names are at fault where a column plainly breaks the law of its name, reads what no machine reads, or does not
go with the columns named beside it. Every exchange of two names is tried; one that removes all faults of both
and brings none is a cure. A single cure that a law of movement supports is taken; else one question names them
all. A fault without a cure is left to what the units say.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.channels import BY_NAME
from tbmreview.ingest.candidates import Candidate, Found, Search
from tbmreview.ingest.doing import Doing, median
from tbmreview.ingest.loads import BREAKS, HOLDS, Says, says
from tbmreview.ingest.ranges import C, F, T, range_fault
from tbmreview.ingest.units import Unit, for_channel

Values = NDArray[np.float64]
Names = Mapping[str, Candidate]

_AUX = frozenset({"aux_thrust_kN", "aux_pressure_bar", "aux_stroke_mm"})
_MAIN = frozenset({F, T, "main_pressure_bar", "gripper_pressure_bar", "gripper_force_kN"})
_SETS = ((F, "main_pressure_bar"), ("aux_thrust_kN", "aux_pressure_bar"))
_AREA_M2 = 0.02, 6.0  # of all cylinders of a set (common practice, no source)
_DRAG = 0.01, 0.45  # torque over 0.3 bore times thrust (common practice, no source)
_BORES_M = 2.0, 16.0
RING = "ring_number"
_LEAST_M = 1.0  # of advance in the sample from which a chainage is held against it


@dataclass(frozen=True, slots=True)
class Fault:
    """Why names cannot stand, in words. shape: the way the columns move shows it, whatever their units."""

    words: str
    shape: bool


@dataclass(slots=True)
class Exchange:
    """The names that no product law has settled, and what speaks against them.

    names: channel -> its column. advance_m: (within the runs, from first to last stamp) by the speed, or None.
    """

    search: Search
    names: Names
    doing: Doing
    advance_m: tuple[float, float] | None
    _said: dict[tuple[str, int], Says] = field(default_factory=dict)
    _ranged: dict[tuple[str, int], str] = field(default_factory=dict)
    _fitting: dict[tuple[str, int], list[Unit]] = field(default_factory=dict)

    def settle(self) -> None:
        """Take the cures there are, the surest first; ask where more than one would do."""
        while True:
            sick = [c for c in self.names if self._faults(self.names, {c})]
            cures = {c: found for c in sick if (found := self._cures(c))}
            if not cures:
                self._strangers(sick)
                return
            channel = min(cures, key=lambda c: self._doubt(c, cures[c]))
            self._take(channel, cures[channel])
            left = {channel, *cures[channel]}
            self.names = {c: x for c, x in self.names.items() if c not in left}

    def _doubt(self, channel: str, cures: Sequence[str]) -> tuple[bool, bool]:
        """Least where movement supports the one cure, then where the fault is the column's own."""
        alone = len(cures) == 1 and self._sure(channel, cures[0])
        return not alone, not any(self._own_faults(channel, self.names[channel]))

    # --- what speaks against names ---

    def _faults(self, names: Names, about: set[str]) -> list[Fault]:
        """Faults that concern any of these channels, names standing as they do."""
        found = [f for c in names if c in about for f in self._own_faults(c, names[c])]
        found += [f for pair in _SETS if about & set(pair) for f in self._of_a_set(names, *pair)]
        if about & {F, T}:
            found += self._drag(names)
        return found

    def _own_faults(self, channel: str, c: Candidate) -> Iterator[Fault]:
        said = self._says(channel, c)
        if said.what == BREAKS:
            yield Fault(said.words, True)
        elif channel == C and (words := self._off_course(c)):
            yield Fault(words, True)
        if words := self._range(channel, c):
            yield Fault(words, False)

    def _says(self, channel: str, c: Candidate) -> Says:
        key = channel, c.index
        if key not in self._said:
            self._said[key] = says(channel, c.raw, self.doing)
        return self._said[key]

    def _range(self, channel: str, c: Candidate) -> str:
        """Why no unit it may have gives values of this channel; '' where one does."""
        key = channel, c.index
        if key not in self._ranged:
            pushed = bool(self.doing.pushing.any())
            regrips = bool(self.doing.closing.any())
            in_use = pushed and (channel in _MAIN or (channel in _AUX and regrips))
            units = self._units(channel, c)
            faults = [
                range_fault(channel, u.convert(c.raw), self.search.machine, in_use=in_use) for u in units
            ]
            self._ranged[key] = "" if "" in faults else faults[0]
            self._fitting[key] = [u for u, f in zip(units, faults, strict=True) if not f] or list(units)
        return self._ranged[key]

    def _likely(self, channel: str, c: Candidate) -> Sequence[Unit]:
        """The units in which it gives values of this channel; all where none does."""
        self._range(channel, c)
        return self._fitting[channel, c.index]

    def _units(self, channel: str, c: Candidate) -> tuple[Unit, ...]:
        """Its own unit and, since a unit may have moved with the name, that of the column named so."""
        named = self.names.get(channel, c)
        moved = () if c is named else self._stated(channel, named)
        units = {u.name: u for u in (*self.search.units_of(c, channel), *moved)}
        return tuple(units.values())

    def _stated(self, channel: str, c: Candidate) -> tuple[Unit, ...]:
        unit = for_channel(c.units, BY_NAME[channel])
        return () if unit is None else (unit,)

    def _of_a_set(self, names: Names, force: str, pressure: str) -> Iterator[Fault]:
        """A force is an area times its pressure; an area that cylinders have."""
        if force not in names or pressure not in names:
            return
        f, p = names[force], names[pressure]
        if not self._goes_with(f, p) and any(
            self._goes_with(one, o)
            for one in (f, p)
            for o in (*self.names.values(), *self._nameless())
            if o not in (f, p)
        ):
            yield Fault(f"{f.header!r} is no constant times {p.header!r}", True)
        fit = self.search.laws.proportional(f.index, p.index)
        if fit is None or fit.spread > 0.1:
            return
        areas = [
            fit.ratio * u.factor / w.factor / 100
            for u, w in product(self._likely(force, f), self._likely(pressure, p))
        ]
        if not any(_AREA_M2[0] <= a <= _AREA_M2[1] for a in areas):
            yield Fault(f"{force} over {pressure} would be an area of {areas[0]:.2g} m2", False)

    def _goes_with(self, f: Candidate, p: Candidate) -> bool:
        """Proportional far closer than either varies."""
        fit = self.search.laws.proportional(f.index, p.index)
        lively = min(self.search.laws.liveliness(f.index), self.search.laws.liveliness(p.index))
        return fit is not None and fit.spread < min(0.03, 0.3 * lively)

    def _drag(self, names: Names) -> Iterator[Fault]:
        """Discs roll with a drag that discs have: torque over (0.3 bore times thrust)."""
        if F not in names:
            return
        torque = names.get(T) or self.search.taken.get(T)
        fit = self.search.laws.proportional(torque.index, names[F].index) if torque is not None else None
        if torque is None or fit is None or not self.doing.pushing.any():
            return
        if self._shows_turning(names[F]) > 5 and self._shows_turning(torque) < 2:
            yield Fault(
                f"{names[F].header!r} shows the head's turning free, {torque.header!r} does not", True
            )
        machine = self.search.machine
        bores = _BORES_M if machine is None else (machine.bore_diameter_m,) * 2
        arms = [
            fit.ratio * t.factor / u.factor
            for t, u in product(self._units(T, torque), self._units(F, names[F]))
        ]
        if not any(0.3 * bores[0] * _DRAG[0] <= a <= 0.3 * bores[1] * _DRAG[1] for a in arms):
            yield Fault(f"the torque would be {arms[0]:.3g} m times the thrust", False)

    def _shows_turning(self, c: Candidate) -> float:
        """Reading with the head turning free over that with the head still; NaN where it cannot be told."""
        free, still = (median(c.raw, rows) for rows in (self.doing.free, self.doing.still))
        return free / still if still > 0 else np.nan

    def _off_course(self, c: Candidate) -> str:
        """Why a column is no chainage of the advance that the speed gives; '' where it may be one."""
        if self.advance_m is None or self.advance_m[0] < _LEAST_M:
            return ""
        runs, at = [], 0
        for run in self.doing.runs:
            part = c.raw[at : at + len(run)]
            at += len(run)
            part = part[np.isfinite(part)]
            runs += [float(part[-1] - part[0])] if len(part) else []
        known = c.raw[np.isfinite(c.raw)]
        if not runs or not len(known):
            return ""
        moved = abs(sum(runs)), abs(float(known[-1] - known[0]))
        one_way = moved[1] > 0.6 * float(np.ptp(known))
        for unit in self._units(C, c) if one_way else ():
            if any(0.75 < m * unit.factor / a < 1.35 for m, a in zip(moved, self.advance_m, strict=True)):
                return ""
        return f"it changes by {moved[0]:.3g} while the head advances by {self.advance_m[0]:.3g} m"

    # --- cures ---

    def _cures(self, channel: str) -> list[str]:
        """Channels with whose names an exchange would leave no fault; the one that movement supports, if only
        one is. What a stated unit could explain needs a fault in both."""
        shape = any(f.shape for f in self._faults(self.names, {channel}))
        column = self.names[channel]
        shape |= not column.units and bool(self._range(channel, column))  # no unit gives such values
        found = [
            b
            for b in self.names
            if b != channel
            and (shape or self._faults(self.names, {b}))
            and not self._faults(self._exchanged(channel, b), {channel, b})
        ]
        sick = [b for b in found if self._faults(self.names, {b})]
        sure = [b for b in sick if self._sure(channel, b)]
        return sure if len(sure) == 1 else sick or found

    def _strangers(self, sick: Sequence[str]) -> None:
        """Ask about a name whose law its column breaks where a column without a channel's name obeys it."""
        for channel in sick:
            column = self.names[channel]
            words = "; ".join(f.words for f in self._faults(self.names, {channel}))
            better = [c for c in self._nameless() if self._obeys(channel, c)]
            if column.index in self.search.found or not (better or channel == RING):
                continue  # a ring counter that does not count is one under no circumstances
            others = " or ".join(repr(c.header) for c in better) or "another column"
            self._ask(channel, column, f"named like {channel}, but {words}; is it {others}?")

    def _nameless(self) -> list[Candidate]:
        """Columns whose name says no channel, and that no law has settled."""
        named = {c.index for c in self.names.values()}
        return [c for c in self.search.pool() if not c.channels and c.index not in named]

    def _obeys(self, channel: str, c: Candidate) -> bool:
        """Whether movement speaks for a column under a name, and nothing against it."""
        names = {**self.names, channel: c}
        if self._faults(names, {channel}):
            return False
        in_set = any(
            channel in p and set(p) <= set(names) and self._goes_with(*(names[x] for x in p)) for p in _SETS
        )
        return in_set or self._says(channel, c).what == HOLDS

    def _exchanged(self, a: str, b: str) -> dict[str, Candidate]:
        return {**self.names, a: self.names[b], b: self.names[a]}

    def _sure(self, a: str, b: str) -> bool:
        """Movement speaks against the names and for the exchange, and no unit is in doubt."""
        after = self._exchanged(a, b)
        if any(self._stated(c, after[c]) and len(self._units(c, after[c])) > 1 for c in (a, b)):
            return False
        if any(
            {a, b} & set(pair) and set(pair) <= set(after) and self._goes_with(*(after[c] for c in pair))
            for pair in _SETS
        ):
            return any(f.shape for f in self._faults(self.names, {a, b}))
        own = any(f.shape for c in (a, b) for f in self._own_faults(c, self.names[c]))
        return own and any(self._says(c, after[c]).what == HOLDS for c in (a, b))

    def _take(self, channel: str, cures: Sequence[str]) -> None:
        column = self.names[channel]
        words = "; ".join(f.words for f in self._faults(self.names, {channel}))
        if len(cures) == 1 and self._sure(channel, cures[0]):
            other = self.names[cures[0]]
            self.search.take(channel, other, f"{words} in {column.header!r}: the two names are exchanged")
            self.search.take(cures[0], column, f"{words}: the two names are exchanged")
            return
        first = cures[0] if len(cures) == 1 else channel
        others = " or ".join(repr(self.names[c].header) for c in cures)
        question = f"named like {channel}, but {words}; it and {others} would fit the other way round"
        self._ask(first, column, question)
        for c in cures:
            self._ask(channel if len(cures) == 1 else c, self.names[c], "", column.header)

    def _ask(self, channel: str, column: Candidate, question: str, waits: str = "") -> None:
        why = f"waits for the answer on {waits!r}" if waits else question
        self.search.found[column.index] = Found(
            column.index, channel, why, self._units(channel, column), question, bool(waits)
        )
