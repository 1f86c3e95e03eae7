"""What the machine's physics says about units.

Names and units propose, the data decide: v = n p, P = 2 pi n T / 60, stroke step = v dt and what a
machine can read at all. Relations are exact identities of motion and power; the ranges are wide
(common practice, no source).
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.channels import BY_NAME
from tbmreview.domain.setup import Machine
from tbmreview.ingest.laws import CHAINAGE, STROKE, TIGHT, ratio_fit
from tbmreview.ingest.measured import AUX_STROKE, Measured, bands, fits_some_bore, lever_arm, measure
from tbmreview.ingest.ranges import AF, AS, TYPICAL, C, F, N, P, S, T, V, W, range_fault
from tbmreview.ingest.units import Unit, plausible_units

Values = NDArray[np.float64]

_GRIPPERS = "gripper_pressure_bar"
_MOVED_BY_BORING = frozenset({V, N, P, T, W})
_MOVED_BY_MAIN_SET = frozenset({S, F, "main_pressure_bar", _GRIPPERS, "gripper_force_kN"})
_MOVED_BY_AUX_SET = frozenset({AS, AF, "aux_pressure_bar"})
_SUMS = (STROKE.name, AUX_STROKE.name, CHAINAGE.name)  # taken over many rows: their spread says little
_OPEN_GRIPPERS_BAR = (
    120.0  # at most, while the auxiliaries push the whole machine (common practice, no source)
)


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
    pushing: frozenset[str] = frozenset()  # names of the stroke relations that the sample shows

    def fault(self, claim: Claim, unit: Unit) -> str:
        """Why the claim cannot be in this unit, '' where it can."""
        channel, values = claim.channel, unit.convert(claim.raw)
        in_use = (
            (channel in _MOVED_BY_BORING and self.bores)
            or (channel in _MOVED_BY_MAIN_SET and self.main_set_pushes)
            or (channel in _MOVED_BY_AUX_SET and AUX_STROKE.name in self.pushing)
        )
        least = 5 if claim.stated else 2
        fault = range_fault(channel, values, self.machine, in_use=in_use, least_different=least)
        return fault or ("" if claim.stated else self._of_a_bare_number(channel, values))

    def _of_a_bare_number(self, channel: str, values: Values) -> str:
        """Why nobody would log the channel so; asked only where the log states no unit."""
        finite = np.abs(values[np.isfinite(values)])
        top = float(np.max(finite, initial=0.0))
        if channel == _GRIPPERS and AUX_STROKE.name in self.pushing and not self.main_set_pushes:
            used = float(np.median(finite)) if len(finite) else 0.0
            if used > _OPEN_GRIPPERS_BAR:
                return f"the auxiliaries push, and the grippers would hold the machine with {used:.4g} bar"
        return f"a chainage of {top / 1000:.4g} km is that of no tunnel" if channel == C and top > 2e6 else ""

    @property
    def main_set_pushes(self) -> bool:
        """Whether most boring of the sample is by the main set. On a day that the auxiliaries push, the
        mains stay closed and the grippers open: what they read says nothing of their unit."""
        if not self.bores:
            return False
        if V in self.claims or {N, P} <= set(self.claims):
            return STROKE.name in self.pushing
        return S in self.claims and not _stands_still(self.claims[S].raw)


def judge(
    claims: Sequence[Claim], seconds: Sequence[Values], machine: Machine | None
) -> tuple[dict[str, Verdict], tuple[str, ...]]:
    """A verdict for each claimed channel, and notes. seconds: stamps of each run of the sample [s]."""
    work = _Work({c.channel: c for c in claims}, machine, any(map(_shows_boring, claims)))
    if work.bores:
        stated = frozenset(c.channel for c in claims if c.stated)
        work.measured = list(measure({c.channel: c.raw for c in claims}, stated, seconds))
        work.pushing = frozenset(m.relation.name for m in work.measured)
    possible = {c.channel: tuple(u for u in c.units if not work.fault(c, u)) for c in claims}
    units, verdicts = _settle(work, possible)
    notes = _notes(work, units)
    verdicts |= _untied(work, possible, units, verdicts)
    verdicts = {c: _as_siblings(c, verdict, verdicts) for c, verdict in verdicts.items()}
    verdicts = _one_of_siblings(_contradiction_first(verdicts), work)
    return _one_of_a_swap(verdicts, work), notes


def _contradiction_first(verdicts: Mapping[str, Verdict]) -> dict[str, Verdict]:
    """Where a law is broken, what else is open waits: whether the machine bores is not known before."""
    first = next((c for c, v in verdicts.items() if v.unit is None and v.question and v.broken), "")
    waits = Verdict(None, f"waits for the answer on the {_label(first)}")
    return {c: waits if first and v.unit is None and c != first else v for c, v in verdicts.items()}


def _one_of_siblings(verdicts: Mapping[str, Verdict], work: _Work) -> dict[str, Verdict]:
    """Of channels of one quantity whose unit is open in the same way, the one that pushes is asked."""
    asked = [c for c, v in verdicts.items() if v.unit is None and v.others and not v.broken and v.question]
    main = work.main_set_pushes
    asked.sort(key=lambda c: (c in _MOVED_BY_AUX_SET) == main)
    out = dict(verdicts)
    for a, b in combinations(asked, 2):
        same = BY_NAME[a].quantity == BY_NAME[b].quantity
        if same and out[a].question and set(verdicts[b].others) & set(verdicts[a].others):
            out[b] = Verdict(None, f"waits for the answer on the {_label(a)}", verdicts[b].others)
    return out


def _one_of_a_swap(verdicts: dict[str, Verdict], work: _Work) -> dict[str, Verdict]:
    """Two columns that no machine reads as named, but would the other way round, make one question."""
    asked = [c for c, v in verdicts.items() if v.unit is None and v.question and v.why]
    for a, b in combinations(asked, 2):
        if _fits(a, work.claims[b], work) and _fits(b, work.claims[a], work):
            question = f"{verdicts[a].question}; its values and those of the {_label(b)} would fit the other way round"
            waits = Verdict(None, f"waits for the answer on the {_label(a)}")
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
    return Verdict(
        settled[like], f"no unit stated; written like the {_label(like)}, of {' or '.join(verdict.others)}"
    )


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


# --- settling -----------------------------------------------------------------------------------


def _settle(
    work: _Work, possible: Mapping[str, tuple[Unit, ...]]
) -> tuple[dict[str, Unit], dict[str, Verdict]]:
    """(units known, verdicts on the channels that relations tie together)."""
    tied, fits = _fitting(work, possible)
    if not fits:  # without what only tells units apart
        work.measured = [m for m in work.measured if math.isfinite(m.relation.far)]
        tied, fits = _fitting(work, possible)
    if not fits:
        return _mend(work, tied)
    verdicts: dict[str, Verdict] = {}
    units: dict[str, Unit] = {}
    one = _asked_first(tied, fits)
    for channel in tied:
        names = {f[channel].name: f[channel] for f in fits}
        if len(names) == 1:
            unit = next(iter(names.values()))
            units[channel] = unit
            verdicts[channel] = Verdict(unit, _support(channel, work, units | fits[0]))
        elif channel == one:
            verdicts[channel] = _open(work.claims[channel], tuple(names))
        else:
            verdicts[channel] = Verdict(None, f"waits for the answer on the {_label(one)}", tuple(names))
    return units, verdicts


def _fitting(
    work: _Work, possible: Mapping[str, tuple[Unit, ...]]
) -> tuple[list[str], list[dict[str, Unit]]]:
    """The channels that relations tie, and the units in which all relations hold; of those, where there
    are any, the ones that write both strokes alike."""
    tied = [c for c in work.claims if any(c in m.relation.terms for m in work.measured)]
    fits: list[dict[str, Unit]] = [{}]
    for k, channel in enumerate(tied):
        ready = [
            m
            for m in work.measured
            if channel in m.relation.terms and set(m.relation.terms) <= set(tied[: k + 1])
        ]
        tried = (f | {channel: u} for f in fits for u in possible[channel] or work.claims[channel].units)
        fits = [f for f in tried if all(m.holds(f) for m in ready)]
    if {S, AS} <= set(tied):
        fits = [f for f in fits if f[S].name == f[AS].name] or fits
    return tied, fits


def _asked_first(tied: Sequence[str], fits: Sequence[Mapping[str, Unit]]) -> str:
    """The channel whose unit, once known, leaves the fewest fits."""
    return max(tied, key=lambda c: len({f[c].name for f in fits}), default="")


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
    constant = all(m.relation.name in _SUMS or m.fit.spread <= TIGHT for m in failing)
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
    words, scaled = _off(failing, stated, one)
    ways = tuple(f"{c} in {u.name}" for c, u in changes)
    if scaled and not ways:
        ways = (f"{one} in {scaled}",)
    fitting = (way.split(" in ", 1) for way in ways)
    would = " or ".join(f"the {_label(c)} in {unit}" for c, unit in fitting)
    question = words + (f"; it would hold with {would}" if ways else "; no unit explains it")
    waiting = f"waits for the answer on the {_label(one)}"
    return {}, {
        c: Verdict(None, words, ways, question, True) if c == one else Verdict(None, waiting) for c in blamed
    }


def _off(failing: Sequence[Measured], stated: Mapping[str, Unit], blamed: str) -> tuple[str, str]:
    """(by which factor a column is off what the relations ask, or that it follows none; the unit in which
    it would be, where it is that of a motor behind a gear or in percent)."""
    said: list[str] = []
    off: dict[str, float] = {}
    for m in failing:
        value = m.value(stated)
        if m.relation.name not in _SUMS and m.fit.spread > TIGHT:
            said.append(
                f"{m.relation.name} does not hold (off by a factor of {value:.4g}, scattering by {m.fit.spread:.0%})"
            )
        else:
            off[m.relation.name] = value ** m.relation.terms.get(blamed, 1)
    factor = float(np.median(list(off.values()))) if off else 1.0
    if off and max(off.values()) < 1.1 * min(off.values()):
        asks = "they ask" if len(off) > 1 else "it asks"
        said.append(f"{' and '.join(off)}: the {_label(blamed)} reads {factor:.4g} times what {asks}")
    else:
        said += [f"{name}: the {_label(blamed)} reads {f:.4g} times what it asks" for name, f in off.items()]
    unit = stated[blamed].name
    if off and factor > 20 and blamed in (N, T):
        said[-1] += " (a motor behind a gear?)"
        return "; ".join(said), f"1/{factor:.4g} {unit}"
    if off and factor < 0.2 and blamed == T:
        said[-1] += " (in percent of the installed torque?)"
        return "; ".join(said), f"{1 / factor:.4g} {unit}"
    return "; ".join(said), ""


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


def _label(channel: str) -> str:
    return BY_NAME[channel].label.lower() if channel in BY_NAME else channel


def _open(claim: Claim, names: tuple[str, ...]) -> Verdict:
    return Verdict(None, "", names, f"is the {_label(claim.channel)} written in {' or '.join(names)}?")


# --- what no exact relation ties -----------------------------------------------------------------


def _untied(
    work: _Work,
    possible: Mapping[str, tuple[Unit, ...]],
    units: Mapping[str, Unit],
    verdicts: Mapping[str, Verdict],
) -> dict[str, Verdict]:
    """Verdicts by range, by the torque that goes with a thrust and by the area that a pressure acts on."""
    known = {c: claim.units[0] for c, claim in work.claims.items() if claim.stated} | dict(units)
    found: dict[str, Verdict] = {}
    # a stated unit before an open one, and the thrusts after what tells them
    for channel in sorted(work.claims, key=lambda c: (not work.claims[c].stated, c in (F, AF))):
        if channel in verdicts:
            continue
        claim = work.claims[channel]
        if claim.stated:
            left, words = _against_torque(claim, possible[channel], work, known)
            found[channel] = _as_stated(claim, left, work, words)
        else:
            found[channel] = _bare(claim, _banded(claim, possible[channel], work, known), work)
        unit = found[channel].unit
        if unit is not None:
            known[channel] = unit
    return found


def _against_torque(
    claim: Claim, possible: tuple[Unit, ...], work: _Work, known: Mapping[str, Unit]
) -> tuple[tuple[Unit, ...], str]:
    """Units of the thrust in which the discs roll with a drag that discs have; why the first does not fit."""
    torque = work.claims.get(T)
    if claim.channel != F or torque is None or not work.main_set_pushes or T not in known:
        return possible, ""
    fit = ratio_fit(np.abs(torque.raw), np.abs(claim.raw))
    if fit is None:
        return possible, ""
    roll = lever_arm(F, work.machine, 0.0)
    arms = {u.name: roll.value(fit.ratio, {T: known[T], F: u}) for u in claim.units}
    left = tuple(u for u in possible if roll.low <= arms[u.name] <= roll.high)
    return (
        left,
        f"the torque is {arms[claim.units[0].name]:.3g} m times it, and discs that roll give {roll.low:.2g} to {roll.high:.2g} m",
    )


def _banded(
    claim: Claim, possible: tuple[Unit, ...], work: _Work, known: Mapping[str, Unit]
) -> tuple[Unit, ...]:
    """The units that the bands leave to an open channel, given those that are known."""
    thrust = F if work.main_set_pushes else AF
    raw = {c: k.raw for c, k in work.claims.items() if c not in (F, AF) or c == thrust}
    if not work.bores or (thrust == AF and AUX_STROKE.name not in work.pushing):
        return possible
    rpm, p = (_while_boring(work, known, c) for c in (N, P))
    for band in bands(raw, work.machine, rpm, p):
        terms = band.measured.relation.terms
        if claim.channel not in terms or not set(terms) <= {*known, claim.channel}:
            continue
        near = tuple(u for u in possible if band.near({**known, claim.channel: u}))
        good = [u for u in near if band.measured.holds({**known, claim.channel: u})]
        possible = near if good else possible
    if work.machine is None and claim.channel == thrust:
        torque = _while_boring(work, known, T)
        some = (u for u in possible if fits_some_bore(_while_boring(work, {thrust: u}, thrust), torque, rpm))
        possible = tuple(some) or possible
    return possible


def _while_boring(work: _Work, known: Mapping[str, Unit], channel: str) -> float:
    """The usual magnitude of a channel in use; NaN where it or its unit is not known."""
    if channel not in work.claims or channel not in known:
        return math.nan
    values = np.abs(known[channel].convert(work.claims[channel].raw))
    values = values[np.isfinite(values) & (values > 0)]
    return float(np.median(values[values > 0.2 * np.quantile(values, 0.9)])) if len(values) else math.nan


def _as_stated(claim: Claim, possible: tuple[Unit, ...], work: _Work, odd: str) -> Verdict:
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


def _bare(claim: Claim, possible: tuple[Unit, ...], work: _Work) -> Verdict:
    names = tuple(u.name for u in possible)
    if claim.channel == T and "kNm" in names and _may_be_percent(claim.raw, work):
        question = (
            "is the torque written in kNm, or in percent of the installed torque? For percent state what 1 % "
            "is, such as '40 kNm'"
        )
        return Verdict(None, "", names, question)
    if len(possible) == 1:
        return Verdict(possible[0], f"no unit stated; only {possible[0].name} gives values a machine reads")
    if not names:
        fault = work.fault(claim, claim.units[0])
        return Verdict(None, fault, (), f"no unit stated and none fits: in {claim.units[0].name} {fault}")
    return _open(claim, names)


def _may_be_percent(raw: Values, work: _Work) -> bool:
    """Whether a torque without unit, which no power ties, may be a share of what is installed: never far
    above 100, and little for the bore (a head that cuts rock takes 2 D3 kNm and more; common practice, no
    source)."""
    values = np.abs(raw[np.isfinite(raw)])
    if len(values) < 20 or float(np.max(values)) > 150:
        return False
    return work.machine is None or float(np.quantile(values, 0.95)) < 2 * work.machine.bore_diameter_m**3


def _notes(work: _Work, units: Mapping[str, Unit]) -> tuple[str, ...]:
    stated = {c: units.get(c, claim.units[0]) for c, claim in work.claims.items()}
    return tuple(
        f"{m.relation.name}: the logged values give {m.value(stated):.3f}, expected {m.relation.low:g} to {m.relation.high:g}"
        for m in work.measured
        if not m.holds(stated)
    )
