"""What the machine's physics says about units.

Names and units propose, the data decide: v = n p, P = 2 pi n T / 60, stroke step = v dt and what a
machine can read at all. Relations are exact identities of motion and power; the ranges are wide
(common practice, no source).
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.channels import BY_NAME
from tbmreview.domain.setup import Machine
from tbmreview.ingest.laws import CHAINAGE, POWER, STROKE, TIGHT, VNP, Fit, Laws, Relation, ratio_fit
from tbmreview.ingest.ranges import TYPICAL, C, F, N, P, S, T, V, W, range_fault
from tbmreview.ingest.units import Unit, plausible_units

Values = NDArray[np.float64]

_MOVED_BY_BORING = frozenset({V, N, P, T, W})
_MOVED_BY_MAIN_SET = frozenset({S, F, "main_pressure_bar", "gripper_pressure_bar", "gripper_force_kN"})


@dataclass(frozen=True, slots=True)
class Claim:
    """A column that may be a channel: raw sample (n,), the units it may be written in, whether
    the file itself states the unit (then there is one), and whether a person did."""

    channel: str
    raw: Values
    units: tuple[Unit, ...]
    stated: bool
    fixed: bool = False


@dataclass(frozen=True, slots=True)
class Measured:
    """A relation as the raw numbers fit it."""

    relation: Relation
    fit: Fit

    def value(self, units: Mapping[str, Unit]) -> float:
        return self.relation.value(self.fit.ratio, units)

    def holds(self, units: Mapping[str, Unit]) -> bool:
        return self.relation.low <= self.value(units) <= self.relation.high


@dataclass(frozen=True, slots=True)
class Verdict:
    """unit: the one that survives, or None; why in words; others that survive too; a question or '';
    broken: a law speaks against it."""

    unit: Unit | None
    why: str = ""
    others: tuple[str, ...] = ()
    question: str = ""
    broken: bool = False


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
            left, words = _against_torque(claim, possible[channel], work, units)
            verdicts[channel] = _plain(claim, left, work, units, words)
    verdicts = {c: _as_siblings(c, verdict, verdicts) for c, verdict in verdicts.items()}
    return _one_of_a_swap(_contradiction_first(verdicts), work), notes


def _contradiction_first(verdicts: Mapping[str, Verdict]) -> dict[str, Verdict]:
    """Where a law is broken, what else is open waits: whether the machine bores is not known before."""
    first = next((c for c, v in verdicts.items() if v.unit is None and v.question and v.broken), "")
    waits = Verdict(None, f"waits for the answer on {first}")
    return {c: waits if first and v.unit is None and c != first else v for c, v in verdicts.items()}


def _one_of_a_swap(verdicts: dict[str, Verdict], work: _Work) -> dict[str, Verdict]:
    """Two columns that no machine reads as named, but would the other way round, make one question."""
    asked = [c for c, v in verdicts.items() if v.unit is None and v.question]
    for a, b in combinations(asked, 2):
        if _fits(a, work.claims[b], work) and _fits(b, work.claims[a], work):
            question = f"{verdicts[a].question}; its values and those of {b} would fit the other way round"
            waits = Verdict(None, f"waits for the answer on {a}")
            return verdicts | {a: replace(verdicts[a], question=question), b: waits}
    return verdicts


def _fits(channel: str, claim: Claim, work: _Work) -> bool:
    return any(
        not range_fault(channel, unit.convert(claim.raw), work.machine, in_use=work.bores)
        for unit in plausible_units(BY_NAME[channel])
    )


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
        return bool(np.mean(values >= TYPICAL[claim.channel][0]) > 0.05)
    return claim.channel == S and len(values) > 20 and bool(np.ptp(values) >= TYPICAL[S][0])


def _stands_still(values: Values) -> bool:
    """Whether nothing but noise is seen: what moves changes by far more over the file than row to row."""
    finite = values[np.isfinite(values)]
    return len(finite) < 20 or bool(np.ptp(finite) < 20 * np.mean(np.abs(np.diff(finite))))


# --- relations ----------------------------------------------------------------------------------


def _measure(claims: Mapping[str, Claim], seconds: Sequence[Values]) -> Iterator[Measured]:
    tied = {k: claims[c].raw for k, c in enumerate((V, N, P, T, W, S)) if c in claims}
    laws = Laws(tied, seconds)
    v, n, p, t, w, s = range(6)
    fits = (
        (VNP, laws.product(v, n, p) if {v, n, p} <= set(tied) else None),
        (POWER, laws.product(w, n, t) if {w, n, t} <= set(tied) else None),
        (STROKE, laws.rate(s, v) if {s, v} <= set(tied) else None),
    )
    yield from (Measured(relation, fit) for relation, fit in fits if fit is not None)
    if {C, V} <= set(claims) and not claims[C].stated:
        ratio = _chainage_ratio(claims[C].raw, claims[V].raw, np.concatenate(seconds))
        if ratio is not None:
            yield Measured(CHAINAGE, Fit(ratio, 0.0))


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
    pivot = _settles_the_rest(tied, fits)
    for channel in tied:
        names = {f[channel].name: f[channel] for f in fits}
        if len(names) == 1:
            unit = next(iter(names.values()))
            units[channel] = unit
            verdicts[channel] = Verdict(unit, _support(channel, work, units | fits[0]))
        elif pivot in ("", channel):
            verdicts[channel] = _open(work.claims[channel], tuple(names))
        else:
            verdicts[channel] = Verdict(None, f"waits for the answer on {pivot}")
    return units, verdicts


def _settles_the_rest(tied: Sequence[str], fits: Sequence[Mapping[str, Unit]]) -> str:
    """The channel whose unit, once known, leaves one fit; '' where there is none."""
    return next((c for c in tied if len({f[c].name for f in fits}) == len(fits) > 1), "")


def _support(channel: str, work: _Work, units: Mapping[str, Unit]) -> str:
    """The relations that hold, and by which factor the other units of the channel would break the first."""
    held = [m for m in work.measured if channel in m.relation.terms]
    said = "; ".join(f"{m.relation.name} holds ({m.value(units):.3f})" for m in held)
    own = units[channel].factor
    others = (u for u in plausible_units(BY_NAME[channel]) if u.name != units[channel].name)
    off = ", ".join(f"{u.name} {max(u.factor / own, own / u.factor):.4g}" for u in others)
    return f"{said}; off by a factor in {off}" if held and off else said


def _mend(work: _Work, tied: Sequence[str]) -> tuple[dict[str, Unit], dict[str, Verdict]]:
    """No units fit all relations: one column may carry another unit than it states."""
    stated = {c: work.claims[c].units[0] for c in tied}
    failing = [m for m in work.measured if not m.holds(stated)]
    contradicted = [m for m in failing if not 1 / m.relation.far < m.value(stated) < m.relation.far]
    constant = all(m.relation in (STROKE, CHAINAGE) or m.fit.spread <= TIGHT for m in failing)
    changes: list[tuple[str, Unit]] = []
    for channel in tied if constant else ():
        for unit in () if work.claims[channel].fixed else _alternatives(channel, work):
            trial = {**stated, channel: unit}
            if all(m.holds(trial) for m in work.measured):
                changes.append((channel, unit))
    if len(changes) == 1:
        return _mended(changes[0], stated, failing, work)
    if not contradicted and not changes:
        return {}, {}  # relations that hold only roughly: a note says so
    return _asked(changes, stated, failing, work)


def _asked(
    changes: Sequence[tuple[str, Unit]], stated: Mapping[str, Unit], failing: Sequence[Measured], work: _Work
) -> tuple[dict[str, Unit], dict[str, Verdict]]:
    """One question on the column that the failing relations point at; the others wait for its answer."""
    blamed = sorted({c for m in failing for c in m.relation.terms if not work.claims[c].fixed})
    if not blamed:
        return {}, {}  # a person stated them all: a note says so

    def guilt(channel: str) -> tuple[bool, bool, int]:
        fault = bool(work.fault(work.claims[channel], stated[channel]))
        return fault, any(c == channel for c, _ in changes), sum(channel in m.relation.terms for m in failing)

    one = max(blamed, key=guilt)
    words = "; ".join(_off(m, stated, one) for m in failing)
    ways = tuple(f"{c} in {u.name}" for c, u in changes)
    question = f"{words}" + (f"; it would hold with {' or '.join(ways)}" if ways else "; no unit explains it")
    waiting = f"waits for the answer on {one}"
    return {}, {
        c: Verdict(None, words, ways, question, True) if c == one else Verdict(None, waiting) for c in blamed
    }


def _off(m: Measured, stated: Mapping[str, Unit], blamed: str) -> str:
    """By which factor a column is off what a relation asks of it, or that it follows none."""
    value = m.value(stated)
    if m.relation not in (STROKE, CHAINAGE) and m.fit.spread > TIGHT:
        return f"{m.relation.name} does not hold (off by a factor of {value:.4g}, scattering by {m.fit.spread:.0%})"
    factor = value ** m.relation.terms.get(blamed, 1)
    gear = factor > 20 and blamed in (N, T)
    said = (
        f"{m.relation.name} is off by a factor of {value:.4g}: {blamed} reads {factor:.4g} times what it asks"
    )
    return said + (
        f" (a motor behind a gear? then ignore the column, or state its unit as '1/{factor:.4g} "
        f"{stated[blamed].name}')"
        if gear
        else ""
    )


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


def _against_torque(
    claim: Claim, possible: tuple[Unit, ...], work: _Work, units: Mapping[str, Unit]
) -> tuple[tuple[Unit, ...], str]:
    """Units of the thrust in which the discs roll with a drag that discs have; why the first does not fit.

    Torque over (lever arm 0.3 D, thrust) of hard-rock and shield machines lies near 0.05 to 0.3 (common
    practice, no source); it is held against 0.01 to 0.45. Without a machine D is 2 to 16 m.
    """
    torque = work.claims.get(T)
    if claim.channel != F or torque is None or not work.main_set_pushes or not (torque.stated or T in units):
        return possible, ""
    fit = ratio_fit(np.abs(torque.raw), np.abs(claim.raw))
    if fit is None:
        return possible, ""
    bores = (2.0, 16.0) if work.machine is None else (work.machine.bore_diameter_m,) * 2
    arm = fit.ratio * units.get(T, torque.units[0]).factor
    low, high = 0.01 * 0.3 * bores[0], 0.45 * 0.3 * bores[1]
    left = tuple(u for u in possible if low <= arm / u.factor <= high)
    return (
        left,
        f"the torque is {arm / claim.units[0].factor:.3g} m times it, and discs that roll give {low:.2g} to {high:.2g} m",
    )


def _plain(
    claim: Claim, possible: tuple[Unit, ...], work: _Work, units: Mapping[str, Unit], odd: str = ""
) -> Verdict:
    """A channel that no relation ties, or whose relations hold only roughly: its range decides."""
    if claim.stated:
        unit = claim.units[0]
        if possible:
            return Verdict(unit, "unit stated")
        fault = work.fault(claim, unit) or odd
        others = tuple(other.name for other in _alternatives(claim.channel, work))
        too_small = not range_fault(claim.channel, unit.convert(claim.raw), work.machine, in_use=False)
        if too_small and not others:
            return Verdict(unit, f"unit stated, though {fault}")
        meant = f"; is it {' or '.join(others)}, or another column's name?" if others else ""
        return Verdict(None, fault, others, f"written as {unit.name}, but {fault}{meant}")
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
