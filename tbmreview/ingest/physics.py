"""What the machine's physics says about units.

Names and units propose, the data decide: v = n p, P = 2 pi n T / 60, stroke step = v dt and what a
machine can read at all. Relations are exact identities of motion and power; the ranges are wide
(common practice, no source).
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.channels import BY_NAME
from tbmreview.domain.setup import Machine
from tbmreview.ingest.units import Unit, plausible_units

Values = NDArray[np.float64]

# 95th percentile of the magnitude over a file in which the machine bores; canonical units.
_TYPICAL: dict[str, tuple[float, float]] = {
    "main_thrust_kN": (400, 120_000),
    "aux_thrust_kN": (100, 150_000),
    "main_pressure_bar": (5, 600),
    "aux_pressure_bar": (2, 600),
    "torque_kNm": (50, 40_000),
    "head_speed_rpm": (0.5, 16),
    "penetration_mm_rev": (0.8, 60),
    "advance_speed_mm_min": (4, 300),
    "head_power_kW": (40, 15_000),
    "gripper_pressure_bar": (30, 600),
    "gripper_force_kN": (500, 150_000),
    "main_stroke_mm": (150, 4_000),
    "aux_stroke_mm": (150, 4_500),
    "belt_rate_t_h": (10, 8_000),
}
V, N, P, T, W, S, C = (
    "advance_speed_mm_min",
    "head_speed_rpm",
    "penetration_mm_rev",
    "torque_kNm",
    "head_power_kW",
    "main_stroke_mm",
    "chainage_m",
)

_MOVED_BY_BORING = frozenset({V, N, P, T, W})
_MOVED_BY_MAIN_SET = frozenset(
    {S, "main_thrust_kN", "main_pressure_bar", "gripper_pressure_bar", "gripper_force_kN"}
)


@dataclass(frozen=True, slots=True)
class Claim:
    """A column that may be a channel: raw sample (n,), the units it may be written in, and whether
    the file itself states the unit (then there is one)."""

    channel: str
    raw: Values
    units: tuple[Unit, ...]
    stated: bool


@dataclass(frozen=True, slots=True)
class Relation:
    """value = product of channels to the power of `terms`; `low` to `high` is what it should be.

    far: a value off by more than this factor is a contradiction; else it is only noted.
    """

    name: str
    terms: Mapping[str, int]
    low: float
    high: float
    far: float


VNP = Relation("v = n p", {V: 1, N: -1, P: -1}, 0.87, 1.15, 2.0)
POWER = Relation("P = 2 pi n T / 60", {W: 1, N: -1, T: -1}, 0.75, 1.15, 3.0)
STROKE = Relation("stroke step = v dt", {S: 1, V: -1}, 0.87, 1.15, 2.0)
# only tells metres from kilometres and millimetres: a guidance chainage is coarse, and v may lack time
CHAINAGE = Relation("chainage follows the integral of v", {C: 1, V: -1}, 0.4, 2.5, math.inf)


@dataclass(frozen=True, slots=True)
class Measured:
    """A relation on the raw numbers: its value before any factor of unit."""

    relation: Relation
    raw: float

    def value(self, units: Mapping[str, Unit]) -> float:
        factor = 1.0
        for channel, power in self.relation.terms.items():
            factor *= units[channel].factor ** power
        return self.raw * factor

    def holds(self, units: Mapping[str, Unit]) -> bool:
        return self.relation.low <= self.value(units) <= self.relation.high


@dataclass(frozen=True, slots=True)
class Verdict:
    """unit: the one that survives, or None; why in words; others that survive too; a question or ''."""

    unit: Unit | None
    why: str = ""
    others: tuple[str, ...] = ()
    question: str = ""


@dataclass(slots=True)
class _Work:
    claims: Mapping[str, Claim]
    machine: Machine | None
    bores: bool
    measured: list[Measured] = field(default_factory=list)

    def fault(self, claim: Claim, unit: Unit) -> str:
        """Why the claim cannot be in this unit, '' where it can."""
        in_use = self.bores if claim.channel in _MOVED_BY_BORING else self.main_set_pushes
        in_use = in_use and claim.channel in _MOVED_BY_BORING | _MOVED_BY_MAIN_SET
        return range_fault(claim.channel, unit.convert(claim.raw), self.machine, in_use=in_use)

    @property
    def main_set_pushes(self) -> bool:
        """Whether most boring of the sample is by the main set. On a day that the auxiliaries push, the
        mains stay closed and the grippers open: what they read says nothing of their unit."""
        if not self.bores:
            return False
        if V in self.claims:
            return any(m.relation is STROKE for m in self.measured)
        return S in self.claims and not _stands_still(self.claims[S].raw)


def judge(
    claims: Sequence[Claim], seconds: Sequence[Values], machine: Machine | None
) -> tuple[dict[str, Verdict], tuple[str, ...]]:
    """A verdict for each claimed channel, and notes. seconds: stamps of each run of the sample [s]."""
    work = _Work({c.channel: c for c in claims}, machine, any(map(_shows_boring, claims)))
    work.measured = list(_measure(work.claims, seconds)) if work.bores else []
    possible = {c.channel: tuple(u for u in c.units if not work.fault(c, u)) for c in claims}
    units, verdicts = _settle(work, possible)
    notes = _notes(work, units)
    for channel, claim in work.claims.items():
        if channel not in verdicts:
            verdicts[channel] = _plain(claim, possible[channel], work, units)
    return {c: _as_siblings(c, verdict, verdicts) for c, verdict in verdicts.items()}, notes


def _as_siblings(channel: str, verdict: Verdict, verdicts: Mapping[str, Verdict]) -> Verdict:
    """An open unit taken as that of the settled channels of its quantity, where they agree on a possible one."""
    if verdict.unit is not None or not verdict.others:
        return verdict
    quantity = BY_NAME[channel].quantity
    settled = {
        c: v.unit for c, v in verdicts.items() if v.unit is not None and BY_NAME[c].quantity == quantity
    }
    names = {unit.name for unit in settled.values()}
    if len(names) != 1 or not names <= set(verdict.others):
        return verdict
    like = next(iter(settled))
    return Verdict(settled[like], f"no unit stated; written like {like}, of {' or '.join(verdict.others)}")


# --- ranges -------------------------------------------------------------------------------------


def _shows_boring(claim: Claim) -> bool:
    """Whether this column moves as it does only while the machine bores (in its first unit)."""
    values = np.abs(claim.units[0].convert(claim.raw))
    values = values[np.isfinite(values)]
    if claim.channel in (V, N, P) and len(values) > 20:
        return bool(np.mean(values >= _TYPICAL[claim.channel][0]) > 0.05)
    return claim.channel == S and len(values) > 20 and bool(np.ptp(values) >= _TYPICAL[S][0])


def range_fault(channel: str, values: Values, machine: Machine | None, *, in_use: bool) -> str:
    """Why these values, (n,) canonical, cannot be this channel; '' where they can.

    Values that are too small speak against a unit only where the file shows the part in use.
    """
    facts = BY_NAME[channel]
    finite = values[np.isfinite(values)]
    if len(finite) < 5:
        return ""
    outside = float(np.mean((finite < facts.low) | (finite > facts.high)))
    if outside > 0.2:
        return f"{outside:.0%} of its values lie outside {facts.low:g} to {facts.high:g} {facts.unit}"
    moving = np.abs(finite[finite != 0])
    if channel not in _TYPICAL or len(moving) < 20 or len(np.unique(moving)) < 5:
        return ""
    low, high = _typical(channel, machine)
    top = float(np.quantile(moving, 0.95))
    if top > high or (in_use and top < low):
        return (
            f"its greatest values are about {top:.4g} {facts.unit}; a machine reads {low:.4g} to {high:.4g}"
        )
    return ""


def _stands_still(values: Values) -> bool:
    """Whether nothing but noise is seen: what moves changes by far more over the file than row to row."""
    finite = values[np.isfinite(values)]
    return len(finite) < 20 or bool(np.ptp(finite) < 20 * np.mean(np.abs(np.diff(finite))))


def _typical(channel: str, machine: Machine | None) -> tuple[float, float]:
    low, high = _TYPICAL[channel]
    if machine is None:
        return low, high
    if channel == T:
        return 0.2 * machine.bore_diameter_m**3, 60 * machine.bore_diameter_m**3
    if channel == "main_thrust_kN":
        return 30.0 * machine.disc_count, 700.0 * machine.disc_count
    if channel == N:
        return low, min(high, 100 / machine.bore_diameter_m)
    return low, high


# --- relations ----------------------------------------------------------------------------------


def _measure(claims: Mapping[str, Claim], seconds: Sequence[Values]) -> Iterator[Measured]:
    if {V, N, P} <= set(claims):
        v, n, p = (claims[c].raw for c in (V, N, P))
        ratio = _median_ratio(v, n * p)
        if ratio is not None:
            yield Measured(VNP, ratio)
    if {W, N, T} <= set(claims):
        w, n, t = (claims[c].raw for c in (W, N, T))
        ratio = _median_ratio(np.abs(w), np.abs(n * t) * (2 * math.pi / 60))
        if ratio is not None:
            yield Measured(POWER, ratio)
    if {S, V} <= set(claims):
        ratio = _stroke_ratio(claims[S].raw, claims[V].raw, seconds)
        if ratio is not None:
            yield Measured(STROKE, ratio)
    if {C, V} <= set(claims) and not claims[C].stated:
        ratio = _chainage_ratio(claims[C].raw, claims[V].raw, np.concatenate(seconds))
        if ratio is not None:
            yield Measured(CHAINAGE, ratio)


def _median_ratio(a: Values, b: Values) -> float | None:
    """Median of a / b where both are well above their noise; None with too little data."""
    good = np.isfinite(a) & np.isfinite(b) & (a > 0) & (b > 0)
    if good.sum() < 20:
        return None
    good &= (a > 0.2 * np.quantile(a[good], 0.9)) & (b > 0.2 * np.quantile(b[good], 0.9))
    return float(np.median(a[good] / b[good])) if good.sum() >= 20 else None


def _stroke_ratio(stroke: Values, v: Values, seconds: Sequence[Values]) -> float | None:
    """Median over windows of the change of stroke over the integral of v dt (v per minute)."""
    ratios: list[float] = []
    at = 0
    alive = v[np.isfinite(v) & (v > 0)]
    if len(alive) < 20:
        return None
    least = 0.2 * float(np.quantile(alive, 0.9))
    for run in seconds:
        s, w = stroke[at : at + len(run)], v[at : at + len(run)]
        at += len(run)
        for i in range(0, len(run) - 30, 30):
            part = slice(i, i + 31)
            dt = np.diff(run[part])
            if not (np.all(dt > 0) and np.all(w[part] > least) and np.all(np.isfinite(s[part]))):
                continue
            expected = float(np.sum(w[part][:-1] * dt)) / 60
            if expected > 0:
                ratios.append(float(s[part][-1] - s[part][0]) / expected)
    rising = [r for r in ratios if r > 0]
    if len(rising) < 3 or len(rising) < 0.6 * len(ratios):
        return None
    return float(np.median(rising))


def _chainage_ratio(chainage: Values, v: Values, time_s: Values) -> float | None:
    """Range of the chainage over mean v times the span of time [m, v in mm/min]; None where it does not run."""
    good = np.isfinite(chainage) & np.isfinite(v) & np.isfinite(time_s)
    if good.sum() < 100 or np.std(chainage[good]) == 0 or np.std(time_s[good]) == 0:
        return None
    if abs(float(np.corrcoef(chainage[good], time_s[good])[0, 1])) < 0.9:
        return None
    low, high = np.quantile(chainage[good], (0.01, 0.99))
    expected = float(np.mean(v[good])) / 60_000 * float(np.ptp(time_s[good])) * 0.98
    return float(high - low) / expected if expected > 0 else None


# --- settling -----------------------------------------------------------------------------------


def _settle(
    work: _Work, possible: Mapping[str, tuple[Unit, ...]]
) -> tuple[dict[str, Unit], dict[str, Verdict]]:
    """(units known, verdicts on the channels that relations tie together)."""
    tied = [c for c in work.claims if any(c in m.relation.terms for m in work.measured)]
    sets = [possible[c] or work.claims[c].units for c in tied]
    fits = [dict(zip(tied, units, strict=True)) for units in product(*sets)]
    fits = [units for units in fits if all(m.holds(units) for m in work.measured)]
    if not fits:
        return _mend(work, tied)
    verdicts: dict[str, Verdict] = {}
    units: dict[str, Unit] = {}
    for channel in tied:
        names = {f[channel].name: f[channel] for f in fits}
        if len(names) == 1:
            unit = next(iter(names.values()))
            units[channel] = unit
            verdicts[channel] = Verdict(unit, _support(channel, work, units | fits[0]))
        else:
            verdicts[channel] = _open(work.claims[channel], tuple(names))
    return units, verdicts


def _support(channel: str, work: _Work, units: Mapping[str, Unit]) -> str:
    return "; ".join(
        f"{m.relation.name} holds ({m.value(units):.3f})"
        for m in work.measured
        if channel in m.relation.terms
    )


def _mend(work: _Work, tied: Sequence[str]) -> tuple[dict[str, Unit], dict[str, Verdict]]:
    """No units fit all relations: one column may carry another unit than it states."""
    stated = {c: work.claims[c].units[0] for c in tied}
    failing = [m for m in work.measured if not m.holds(stated)]
    contradicted = [m for m in failing if not 1 / m.relation.far < m.value(stated) < m.relation.far]
    changes: list[tuple[str, Unit]] = []
    for channel in tied:
        for unit in _alternatives(channel, work):
            trial = {**stated, channel: unit}
            if all(m.holds(trial) for m in work.measured):
                changes.append((channel, unit))
    if len(changes) == 1:
        return _mended(changes[0], stated, failing, work)
    if not contradicted and not changes:
        return {}, {}  # relations that hold only roughly: a note says so
    words = "; ".join(f"{m.relation.name} is off by a factor of {m.value(stated):.4g}" for m in failing)
    ways = tuple(f"{c} in {u.name}" for c, u in changes)
    blamed = sorted({c for m in failing for c in m.relation.terms})
    question = f"{words}" + (f"; it would hold with {' or '.join(ways)}" if ways else "; no unit explains it")
    return {}, {c: Verdict(None, words, ways, question) for c in blamed}


def _alternatives(channel: str, work: _Work) -> Iterator[Unit]:
    claim = work.claims[channel]
    for unit in plausible_units(BY_NAME[channel]):
        if unit.name != claim.units[0].name and not work.fault(claim, unit):
            yield unit


def _mended(
    change: tuple[str, Unit], stated: Mapping[str, Unit], failing: Sequence[Measured], work: _Work
) -> tuple[dict[str, Unit], dict[str, Verdict]]:
    channel, unit = change
    units = {**stated, channel: unit}
    off = "; ".join(f"{m.relation.name} is off by a factor of {m.value(stated):.4g}" for m in failing)
    verdicts = {c: Verdict(u, _support(c, work, units)) for c, u in units.items()}
    verdicts[channel] = Verdict(unit, f"written as {stated[channel].name}, but {off}; holds with {unit.name}")
    return units, verdicts


def _open(claim: Claim, names: tuple[str, ...]) -> Verdict:
    return Verdict(None, "", names, f"is {claim.channel} written in {' or '.join(names)}?")


def _plain(claim: Claim, possible: tuple[Unit, ...], work: _Work, units: Mapping[str, Unit]) -> Verdict:
    """A channel that no relation ties, or whose relations hold only roughly: its range decides."""
    if claim.stated:
        unit = claim.units[0]
        if possible:
            return Verdict(unit, "unit stated")
        fault = work.fault(claim, unit)
        others = tuple(other.name for other in _alternatives(claim.channel, work))
        too_small = not range_fault(claim.channel, unit.convert(claim.raw), work.machine, in_use=False)
        if too_small and not others:
            return Verdict(unit, f"unit stated, though {fault}")
        return Verdict(None, fault, others, f"written as {unit.name}, but {fault}")
    if len(possible) == 1:
        return Verdict(possible[0], f"no unit stated; only {possible[0].name} gives values a machine reads")
    names = tuple(u.name for u in possible)
    if not names:
        fault = work.fault(claim, claim.units[0])
        return Verdict(None, fault, (), f"no unit stated and none fits: in {claim.units[0].name} {fault}")
    return _open(claim, names)


def _notes(work: _Work, units: Mapping[str, Unit]) -> tuple[str, ...]:
    stated = {c: units.get(c, claim.units[0]) for c, claim in work.claims.items()}
    return tuple(
        f"{m.relation.name}: the logged values give {m.value(stated):.3f}, expected {m.relation.low:g} to {m.relation.high:g}"
        for m in work.measured
        if not m.holds(stated)
    )
