"""Columns of a log -> channels and units: names and units propose, the data decide, the rest is asked."""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.channels import BY_NAME, EXTRA_PREFIX
from tbmreview.domain.setup import Machine
from tbmreview.ingest.candidates import Candidate, Found
from tbmreview.ingest.clean import VALUE_RULES
from tbmreview.ingest.column_map import EXTRA as MAP_EXTRA
from tbmreview.ingest.column_map import IGNORE, OPEN, ColumnMap
from tbmreview.ingest.headers import Header
from tbmreview.ingest.identity import identify
from tbmreview.ingest.mentions import NO_NAME, foreign_unit, mentioned
from tbmreview.ingest.physics import Claim, Verdict, judge
from tbmreview.ingest.report import CHANNEL, EXTRA, LEFT_OUT, STAMP, Column
from tbmreview.ingest.sample import EMPTY, NUMBER, WORDS, LogSample
from tbmreview.ingest.synonyms import Meaning, meaning
from tbmreview.ingest.units import Unit, canonical, for_channel, parse_unit, plausible_units

Values = NDArray[np.float64]

# Readings of the parts of one set of cylinders that together make the channel, by their mean.
_MEAN_OF_PARTS = frozenset(
    {"main_stroke_mm", "aux_stroke_mm", "main_pressure_bar", "aux_pressure_bar", "gripper_pressure_bar"}
)

_NO_NAME = NO_NAME
_SAME_POINT_M = 0.05  # chainages of one point of the machine differ by no more

# Channels that the reduction rests on: an open unit is asked for. Others are kept as extra channels.
_ASKED = frozenset(
    {
        "main_thrust_kN",
        "aux_thrust_kN",
        "main_stroke_mm",
        "aux_stroke_mm",
        "torque_kNm",
        "head_speed_rpm",
        "penetration_mm_rev",
        "advance_speed_mm_min",
        "gripper_pressure_bar",
        "chainage_m",
    }
)


@dataclass(frozen=True, slots=True)
class Proposal:
    """What name and unit say of a column. part: it is one of several that make the channel; mapped: a
    person said so."""

    column: Column
    header: Header
    means: Meaning
    units: tuple[Unit, ...]
    stated: bool
    part: bool
    mapped: bool = False

    @property
    def channel(self) -> str:
        return self.column.name


def understand_columns(
    sample: LogSample,
    values: Mapping[int, Values],
    seconds: Sequence[Values],
    machine: Machine | None,
    given: ColumnMap,
) -> tuple[tuple[Column, ...], tuple[str, ...]]:
    """Every column that is no stamp, in file order, and notes.

    values: number columns of the sample, raw, (n,). seconds: stamps of each run of it [s].
    """
    cleaned = {k: _without_sentinels(v) for k, v in values.items()}
    names = extra_names(sample.headers)
    done: dict[int, Column] = {}
    proposals: list[Proposal] = []
    for k, header in enumerate(sample.headers):
        empty = k in cleaned and not np.isfinite(cleaned[k]).any()
        kind = WORDS if k not in cleaned else EMPTY if empty and sample.whole else NUMBER
        proposal = _propose(k, header, kind, names[k], given)
        if empty and isinstance(proposal, Proposal) and not proposal.stated:
            proposal = Column(k, proposal.column.header, EXTRA, names[k], reason="empty in the sample")
        if isinstance(proposal, Column):
            done[k] = proposal
        else:
            proposals.append(proposal)
    proposals, told = _told_by_laws(proposals, done, sample.headers, cleaned, (seconds, machine))
    done |= told
    chosen, aside = _choose(proposals, cleaned)
    done |= aside
    verdicts, notes = judge([_claim(group, cleaned) for group in chosen.values()], seconds, machine)
    for channel, group in chosen.items():
        for proposal in group:
            column = done[proposal.column.index] = _settled(proposal, verdicts[channel], len(group))
            if column.role == EXTRA and proposal.stated:
                notes = (*notes, f"{column.header!r}: {column.reason}")
    columns = mentioned([done[k] for k in sorted(done)], sample.headers, cleaned)
    columns = tuple(_described(c, cleaned.get(c.index), names[c.index]) for c in columns)
    return columns, notes


def extra_names(headers: Sequence[Header]) -> tuple[str, ...]:
    """The name each column would have as an extra channel, none twice."""
    names: list[str] = []
    taken: set[str] = set()
    for k, header in enumerate(headers):
        base = header.raw or f"column {k + 1}"
        name, count = base, 1
        while name in taken:
            count += 1
            name = f"{base} ({count})"
        taken.add(name)
        names.append(EXTRA_PREFIX + name)
    return tuple(names)


def _without_sentinels(raw: Values) -> Values:
    bad = np.zeros(len(raw), bool)
    for rule in VALUE_RULES:
        bad |= rule.finds(raw, "")
    return np.where(bad, np.nan, raw)


# --- what name and unit say ---------------------------------------------------------------------


def _propose(k: int, header: Header, kind: str, extra: str, given: ColumnMap) -> Proposal | Column:
    label = extra.removeprefix(EXTRA_PREFIX)
    entry = given.columns.get(label)
    if entry is not None and entry.unit == OPEN and foreign_unit(header):
        entry = None  # the unit cannot be found in the data: asked as before
    if entry is not None and entry.channel == IGNORE:
        return Column(k, label, LEFT_OUT, reason="ignored by the column map")
    if kind == EMPTY:
        return Column(k, label, LEFT_OUT, reason="empty")
    if kind != NUMBER:
        return Column(k, label, LEFT_OUT, reason="text")
    if entry is not None and entry.channel == MAP_EXTRA:
        return Column(k, label, EXTRA, extra, reason="kept by the column map")
    if entry is not None:
        return _from_map(k, header, label, entry.channel, entry.unit)
    means = meaning(header)
    if not means.channels:
        reason = f"set aside: {means.set_aside}" if means.set_aside else foreign_unit(header) or _NO_NAME
        return Column(k, label, EXTRA, extra, header.unit_text, 0.0, reason)
    channel = BY_NAME[means.channels[0]]
    unit = for_channel(header.units, channel)
    exact = header.raw.casefold().startswith(channel.name.casefold())
    if unit is None and (exact or not channel.unit):
        unit = canonical(channel)
    if unit is None and header.unit_text and not header.units:
        reason = f"named like {channel.name}, but {header.unit_text!r} is no known unit"
        units = plausible_units(channel)
        column = Column(k, label, CHANNEL, channel.name, "", 0.5, reason)
    else:
        units = (unit,) if unit else plausible_units(channel)
        confidence = 1.0 if exact else (0.9 if unit else 0.6) - (0.2 if means.left else 0.0)
        column = Column(k, label, CHANNEL, channel.name, "", confidence, "", means.channels[1:])
    return Proposal(column, header, means, units, unit is not None, _is_part(header, means))


def _from_map(k: int, header: Header, label: str, channel: str, unit_text: str) -> Proposal:
    facts = BY_NAME[channel]
    means = Meaning(frozenset(), (channel,), "", "")
    if unit_text == OPEN and facts.unit:
        column = Column(k, label, CHANNEL, channel, "", 0.8, "stated by the column map, its unit left open")
        return Proposal(column, header, means, plausible_units(facts), False, False, mapped=True)
    unit = for_channel(parse_unit(unit_text), facts) if unit_text and facts.unit else canonical(facts)
    column = Column(k, label, CHANNEL, channel, unit_text, 1.0, "stated by the column map")
    return Proposal(column, header, means, (unit,) if unit else (), True, False, mapped=True)


def _is_part(header: Header, means: Meaning) -> bool:
    """One cylinder or sector of several: 'group A', 'cylinder 3', 'cylinder A stroke', 'left'."""
    numbered = (
        re.search(r"(?:\d|\b[A-H])\s*$|[^\W\d_]{3}[\s_]+(?:\d|[A-H])(?![^\W_])", header.text) is not None
    )
    return "part" in means.atoms or (numbered and not means.left.strip("abcdefgh "))


# --- what the laws of the machine say of names ---------------------------------------------------


def _told_by_laws(
    proposals: Sequence[Proposal],
    others: Mapping[int, Column],
    headers: Sequence[Header],
    values: Mapping[int, Values],
    laws: tuple[Sequence[Values], Machine | None],
) -> tuple[list[Proposal], dict[int, Column]]:
    """The proposals as the laws correct and complete them, and columns set aside or asked."""
    candidates = [
        Candidate(
            p.column.index,
            p.column.header,
            values[p.column.index],
            (p.channel, *p.column.alternatives),
            p.units if p.mapped and p.stated else p.header.units,
            p.mapped,
        )
        for p in proposals
        if not p.part
    ]
    candidates += [
        Candidate(k, c.header, values[k], (), headers[k].units)
        for k, c in others.items()
        if c.role == EXTRA and c.reason == _NO_NAME
    ]
    found = identify(candidates, *laws)
    kept = [p for p in proposals if p.column.index not in found]
    aside: dict[int, Column] = {}
    named = {p.column.index: p for p in proposals}
    labels = {c.index: c.header for c in candidates}
    for k, one in found.items():
        if one.channel and not one.question and not one.waits:
            kept.append(_as_found(one, labels[k], headers[k], named.get(k)))
        else:
            aside[k] = _not_taken(one, labels[k])
    return sorted(kept, key=lambda p: p.column.index), aside


def _as_found(found: Found, label: str, header: Header, before: Proposal | None) -> Proposal:
    unit = for_channel(header.units, BY_NAME[found.channel])
    if before is not None and before.channel == found.channel:
        column = replace(before.column, confidence=max(0.95, before.column.confidence), alternatives=())
        return replace(before, column=column)
    how = "its name says nothing" if before is None else f"its name says {before.channel}"
    column = Column(found.index, label, CHANNEL, found.channel, "", 0.8, f"{how}, but {found.why}")
    means = Meaning(frozenset(), (found.channel,), "", "")
    return Proposal(column, header, means, (unit,) if unit else found.units, unit is not None, False)


def _not_taken(found: Found, label: str) -> Column:
    if found.question or found.waits:
        return Column(found.index, label, CHANNEL, found.channel, "", 0.3, found.why, question=found.question)
    return Column(found.index, label, EXTRA, confidence=0.0, reason=found.why)


# --- several columns for one channel ------------------------------------------------------------


def _choose(
    proposals: Sequence[Proposal], values: Mapping[int, Values]
) -> tuple[dict[str, list[Proposal]], dict[int, Column]]:
    """The columns that make each channel, and those set aside for a better one."""
    by_channel: dict[str, list[Proposal]] = {}
    for proposal in proposals:
        by_channel.setdefault(proposal.channel, []).append(proposal)
    chosen: dict[str, list[Proposal]] = {}
    aside: dict[int, Column] = {}
    for channel, group in by_channel.items():
        alive = [p for p in group if not _dead(p, values)] or group
        whole = [p for p in alive if not p.part or p.column.confidence == 1.0]
        if channel in _MEAN_OF_PARTS and all(p.mapped for p in group):
            keep = group
        elif whole:
            best = max(whole, key=lambda p: _rank(p, values))
            rivals = _rivals(best, whole, values)
            keep = [best] if not rivals else []
            best, *rivals = sorted([best, *rivals], key=lambda p: p.column.index)
            aside |= {p.column.index: _rival(p, best, rivals) for p in group if p not in keep}
        else:
            keep = alive if channel in _MEAN_OF_PARTS or len(alive) == 1 else _whole_of(alive, values)
            aside |= {p.column.index: _parts_open(p, keep, alive) for p in group if p not in keep}
        if keep:
            chosen[channel] = keep
    return chosen, aside


def _dead(p: Proposal, values: Mapping[int, Values]) -> bool:
    sample = values[p.column.index]
    return not p.mapped and len(np.unique(sample[np.isfinite(sample)])) < 2


def _whole_of(parts: Sequence[Proposal], values: Mapping[int, Values]) -> list[Proposal]:
    """The one of several columns that is the sum of the others, to 2 % of its size; [] where there is none."""
    stack = np.vstack([values[p.column.index] for p in parts])
    stack = np.abs(stack[:, np.isfinite(stack).all(axis=0)])
    if len(parts) < 3 or stack.shape[1] < 20:
        return []
    total = stack.sum(axis=0)
    off = [np.median(np.abs(total - 2 * row)) / max(1e-9, np.quantile(row, 0.9)) for row in stack]
    k = int(np.argmin(off))
    return [parts[k]] if off[k] < 0.02 else []


def _rank(p: Proposal, values: Mapping[int, Values]) -> tuple[bool, int, float, int, int]:
    """Alive before dead, the face before the grippers, then confidence, the finer reading, the earlier column."""
    sample = values[p.column.index]
    different = len(np.unique(sample[np.isfinite(sample)]))
    return different > 1, _point(p), p.column.confidence, different, -p.column.index


def _point(p: Proposal) -> int:
    """Of several points of the machine whose chainage is logged: 2 the face, 0 the grippers, else 1."""
    if p.channel != "chainage_m":
        return 1
    return 2 if {"head", "face"} & p.means.atoms else 0 if "gripper" in p.means.atoms else 1


def _rivals(best: Proposal, whole: Sequence[Proposal], values: Mapping[int, Values]) -> list[Proposal]:
    """Columns as sure as the best whose values differ from it."""
    out = []
    for p in whole:
        if p is best or (_point(p), p.column.confidence) < (_point(best), best.column.confidence):
            continue
        a, b = values[best.column.index], values[p.column.index]
        alive = np.isfinite(b) & (b != 0)
        if alive.sum() >= 5 and len(np.unique(b[alive])) > 1 and not _agree(best, p, a, b):
            out.append(p)
    return out


def _agree(p: Proposal, q: Proposal, a: Values, b: Values) -> bool:
    """The same quantity twice: equal to 2 % of its size in the units stated, or proportional; of a chainage
    the same point."""
    both = np.isfinite(a) & np.isfinite(b)
    if both.sum() < 5:
        return True
    x, y = a[both], b[both]
    if p.stated and q.stated:
        x, y = p.units[0].convert(x), q.units[0].convert(y)
        size = max(1e-9, float(np.quantile(np.abs(x), 0.9)))
        reach = _SAME_POINT_M if p.channel == "chainage_m" else 0.02 * size
        return bool(np.median(np.abs(x - y)) <= reach)
    if np.std(x) == 0 or np.std(y) == 0:
        return False
    return bool(np.corrcoef(x, y)[0, 1] > 0.999)


def _rival(p: Proposal, best: Proposal, rivals: Sequence[Proposal]) -> Column:
    if p is best:
        others = " or ".join(repr(r.column.header) for r in rivals)
        what = "chainage of the face" if p.channel == "chainage_m" else _label(p)
        question = f"is this the {what}, or is it {others}? They differ"
        return replace(p.column, question=question, reason="named like another column", confidence=0.3)
    if p in rivals:
        return _waiting(p, best)
    reason = f"{p.channel} is taken from {best.column.header!r}"
    return replace(p.column, role=EXTRA, name=EXTRA_PREFIX + p.column.header, reason=reason, confidence=0.0)


def _label(p: Proposal) -> str:
    return BY_NAME[p.channel].label.lower()


def _waiting(p: Proposal, best: Proposal) -> Column:
    reason = f"waits for the answer on {best.column.header!r}"
    return replace(p.column, reason=reason, confidence=0.3)


def _parts_open(p: Proposal, whole: Sequence[Proposal], parts: Sequence[Proposal]) -> Column:
    if whole:
        return _rival(p, whole[0], ())
    if p is not parts[0]:
        return _waiting(p, parts[0])
    others = ", ".join(repr(r.column.header) for r in parts[1:])
    if p.channel == "chainage_m":
        question = f"is this the chainage of the face, or is it one of {others}?"
    else:
        question = f"is this or one of {others} the {_label(p)} of the whole, or are all of them parts of it?"
    return replace(p.column, question=question, reason="one of several parts", confidence=0.3)


# --- what the data say --------------------------------------------------------------------------


def _claim(group: Sequence[Proposal], values: Mapping[int, Values]) -> Claim:
    first = group[0]
    raw = values[first.column.index] if len(group) == 1 else mean_of([values[p.column.index] for p in group])
    return Claim(first.channel, raw, first.units, first.stated, first.mapped)


def mean_of(columns: Sequence[Values]) -> Values:
    """Mean of (n,) columns, NaN left out; NaN where all are."""
    stack = np.vstack(columns)
    count = np.isfinite(stack).sum(axis=0)
    total = np.where(np.isfinite(stack), stack, 0.0).sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), math.nan)


def _settled(p: Proposal, verdict: Verdict, count: int) -> Column:
    unit = verdict.unit
    if unit is None and p.channel not in _ASKED and (not p.stated or _nothing_to_ask(p, verdict)):
        why = f"named like {p.channel}, but its unit is open ({' or '.join(verdict.others) or verdict.why})"
        if p.stated:
            why = f"named like {p.channel}, but {verdict.why}"
        return Column(
            p.column.index, p.column.header, EXTRA, p.column.header, "", 0.3, f"{why}: kept as it is"
        )
    if p.mapped and p.stated:
        return replace(
            p.column, unit=p.units[0].name, conversion=p.units[0], reason=f"{p.column.reason}; {verdict.why}"
        )
    why = "; ".join(x for x in (p.column.reason, verdict.why) if x)
    if count > 1:
        why = f"mean of {count} columns; {why}"
    return replace(
        p.column,
        unit=unit.name if unit else "",
        conversion=unit,
        reason=why,
        alternatives=verdict.others or p.column.alternatives,
        question="" if unit else verdict.question,
        confidence=p.column.confidence if unit else 0.3,
    )


def _nothing_to_ask(p: Proposal, verdict: Verdict) -> bool:
    """Whether the unit that the log states cannot be and no other fits, though no law speaks against it."""
    return not p.mapped and not verdict.others and not verdict.broken


def _described(column: Column, values: Values | None, extra: str) -> Column:
    """An extra column's name made unique, and a word where it never changes."""
    if column.role == EXTRA:
        column = replace(column, name=extra)
    if values is None or column.role == STAMP:
        return column
    finite = values[np.isfinite(values)]
    if len(finite) >= 20 and np.all(finite == finite[0]):
        if finite[0] == -1 and column.role == CHANNEL:
            return replace(
                column, role=LEFT_OUT, name="", unit="", reason="-1 throughout: no sensor", question=""
            )
        return replace(column, reason="; ".join(x for x in (column.reason, f"constant {finite[0]:g}") if x))
    return column
