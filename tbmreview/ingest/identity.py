"""Which column is which channel, where the laws of the machine can tell: names propose, they decide.

A law is first tried on the columns named for its channels, then, where those break it, on all. A column
is taken for a channel against its name, or without one, only where exactly one set of columns obeys the
law; what the laws leave open stays with the names or is asked.
"""

from collections.abc import Iterator, Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.channels import BY_NAME
from tbmreview.domain.setup import Machine
from tbmreview.ingest.candidates import Candidate, Found, Search, Trial
from tbmreview.ingest.doing import doing, opposite_way
from tbmreview.ingest.laws import (
    POWER,
    STROKE,
    TIGHT,
    VNP,
    Laws,
    Relation,
    goes_back,
    never_goes_back,
)
from tbmreview.ingest.ranges import C, F, N, S, V, range_fault
from tbmreview.ingest.swaps import Exchange
from tbmreview.ingest.turning import check_turn
from tbmreview.ingest.units import Unit, for_channel

Values = NDArray[np.float64]
_LONGEST_STROKE_MM = 2500.0
A = "aux_stroke_mm"


def identify(
    candidates: Sequence[Candidate], seconds: Sequence[Values], machine: Machine | None
) -> dict[int, Found]:
    """What the laws say of columns, by index; columns on which they are silent are not in it."""
    alive = [c for c in candidates if c.fixed or _varies(c.raw)]
    search = Search(alive, Laws({c.index: c.raw for c in alive}, seconds), machine)
    for law in (VNP, POWER):
        _product_law(search, law)
    _strokes_of_two_sets(search, seconds)
    _stroke(search)
    _thrust(search)
    _exchanges(search, seconds)
    _chainage(search, seconds)
    return search.found | {f.index: f for f in _left_behind(search)}


def _varies(raw: Values) -> bool:
    finite = raw[np.isfinite(raw)]
    return len(finite) >= 20 and bool(np.ptp(finite) > 0)


# --- products -----------------------------------------------------------------------------------


def _product_law(search: Search, law: Relation) -> None:
    """Settle the three channels of v = n p or P = 2 pi n T / 60."""
    channels = tuple(law.terms)
    sets = [[search.taken[c]] if c in search.taken else search.contenders(c) for c in channels]
    firsts = [s[0] for s in sets if s]
    if all(sets) and all(n in c.channels[:1] for n, c in zip(channels, firsts, strict=True)):
        alone = all(len(search.named(c)) == 1 for c in channels)
        better = _better(search, law, sets, firsts) if alone else None
        if better is not None:
            _accept(search, law, better, sets)
            return
        if alone and search.holds_as_named(law, firsts):
            search.taken |= dict(zip(channels, firsts, strict=True))
            if law is VNP:
                check_turn(search)
            return
    trials = _by_name(search.trials(law, sets), channels)
    wide = not trials and (all(sets) or sum(bool(search.named(c)) for c in channels) <= 1)
    if wide and not any(c.fixed for c in firsts):
        pool = search.pool()
        trials = search.trials(law, [[search.taken[c]] if c in search.taken else pool for c in channels])
        trials = _only_one(search, law, trials)
    if trials:
        _accept(search, law, trials[0], sets)


def _better(
    search: Search, law: Relation, sets: Sequence[Sequence[Candidate]], firsts: Sequence[Candidate]
) -> Trial | None:
    """Where the columns named so obey a law only roughly: the one set that obeys it five times as well."""
    fit = search.laws.product(*(c.index for c in firsts))
    if fit is None or fit.spread <= TIGHT or any(c.fixed for c in firsts):
        return None
    pool = search.pool()
    wide = [s if s[0] in search.taken.values() else pool for s in sets]
    found = _only_one(search, law, search.trials(law, wide))
    return found[0] if found and found[0].fit.spread < 0.2 * fit.spread else None


def _by_name(trials: list[Trial], channels: Sequence[str]) -> list[Trial]:
    """Those first whose columns are named best; of equals the tightest."""

    def distance(trial: Trial) -> int:
        return sum(
            c.channels.index(n) if n in c.channels else 3
            for c, n in zip(trial.columns, channels, strict=True)
        )

    return sorted(trials, key=lambda t: (distance(t), t.fit.spread))


def _only_one(search: Search, law: Relation, trials: list[Trial]) -> list[Trial]:
    """The trial that stands alone, or whose speed a stroke follows; [] where two are as good.

    A law between columns that hardly change holds by accident, so its left side must change by more than
    the law scatters.
    """
    trials = [t for t in trials if search.laws.liveliness(t.columns[0].index) > 3 * t.fit.spread]
    if law is VNP:
        followed = [t for t in trials if _followers(search, t.columns[0], t.units[0])]
        trials = followed or trials
    if not trials:
        return []
    best = {c.index for c in trials[0].columns}
    rivals = [t for t in trials if {c.index for c in t.columns} != best]
    close = [t for t in rivals if t.fit.spread < 3 * trials[0].fit.spread + 0.002]
    return [] if close else trials[:1]


def _followers(search: Search, v: Candidate, unit: Unit) -> list[Candidate]:
    """Columns that rise as the integral of v, in mm, m or cm, and come back: strokes."""
    return [c for c in search.pool() if c is not v and _is_stroke(search, c, v, (unit,))]


def _accept(search: Search, law: Relation, trial: Trial, sets: Sequence[Sequence[Candidate]]) -> None:
    channels = tuple(law.terms)
    value = law.value(trial.fit.ratio, dict(zip(channels, trial.units, strict=True)))
    why = f"{law.name} holds ({value:.3f}, spread {trial.fit.spread:.1%})"
    for channel, c in zip(channels, trial.columns, strict=True):
        if channel not in search.taken:
            search.take(channel, c, why)
    if law is VNP:
        check_turn(search)
    columns = [search.taken[n] for n in channels]
    for k, (channel, rivals) in enumerate(zip(channels, sets, strict=True)):
        for rival in rivals:
            if channel in rival.channels[:1] and rival.index not in search.used() and not rival.fixed:
                _refuse(search, law, rival, k, columns)


def _refuse(search: Search, law: Relation, rival: Candidate, k: int, columns: Sequence[Candidate]) -> None:
    """Set aside a column of the same name that breaks the law; one in another unit is left to agree."""
    same = search.laws.proportional(rival.index, columns[k].index)
    own, its = (search.units_of(c, tuple(law.terms)[k])[0].factor for c in (columns[k], rival))
    factor = same.ratio * its / own if same is not None else 0.0
    if same is not None and same.spread < 0.01:
        if 0.97 < factor < 1.03 or not (rival.units and columns[k].units):
            return
        reason = f"{law.name} would be off by a factor of {factor:.4g}"
    else:
        reason = f"{law.name} does not hold with it"
    channel = tuple(law.terms)[k]
    search.found[rival.index] = Found(
        rival.index, "", f"named like {channel}, but {reason}; {columns[k].header!r} obeys it"
    )


# --- stroke -------------------------------------------------------------------------------------


def _stroke(search: Search) -> None:
    """The column whose step is v dt and that comes back; a distance under the name of a stroke is none."""
    v = search.taken.get(V) or next(iter(search.named(V)), None)
    if v is None:
        return
    named = search.named(S)
    for c in named:
        if not c.fixed and (unit := _distance_in(search, c, v)):
            why = f"named like {S}, but it rises without ever going back in {unit}: a distance"
            search.found[c.index] = Found(c.index, "", why)
    had_name = bool(named)
    named = [c for c in named if c.index not in search.found and c.index not in search.used()]
    if any(c.fixed for c in named):
        return
    units = search.units_of(v, V)
    fitting = sorted((c for c in named if _is_stroke(search, c, v, units)), key=lambda c: -goes_back(c.raw))
    if fitting and len(named) > 1 and not _alike(search, named):
        search.take(S, fitting[0], f"{STROKE.name} holds")
        for c in named:
            if c not in fitting:
                search.found[c.index] = Found(c.index, "", f"named like {S}, but {STROKE.name} does not hold")
            elif goes_back(c.raw) < 0.1 * goes_back(fitting[0].raw):
                why = f"named like {S}, but it never comes back: a distance"
                search.found[c.index] = Found(c.index, "", why)
    elif not fitting and V in search.taken:
        _stroke_elsewhere(search, v, had_name)


def _alike(search: Search, named: Sequence[Candidate]) -> bool:
    """Strokes that move and come back together: cylinders of one set."""
    back = [goes_back(c.raw) for c in named]
    return min(back) >= 0.5 * max(back) and all(
        (fit := search.laws.proportional(named[0].index, c.index)) is not None and fit.spread < 0.05
        for c in named[1:]
    )


def _stroke_elsewhere(search: Search, v: Candidate, has_name: bool) -> None:
    others = [c for c in search.pool() if S not in c.channels and (has_name or not c.channels)]
    others = [c for c in others if "aux_stroke_mm" not in c.channels]  # the auxiliaries may push all day
    fitting = [c for c in others if _is_stroke(search, c, v, search.units_of(v, V))]
    if len(fitting) == 1 or (fitting and _alike(search, fitting)):
        search.take(S, fitting[0], f"{STROKE.name} holds with no other column")


def _stroke_units(search: Search, c: Candidate) -> tuple[Unit, ...]:
    """Its own unit where that is a length, and those of the columns named for a stroke."""
    stated = (for_channel(o.units, BY_NAME[S]) for o in search.named(S))
    return tuple({u.name: u for u in (*search.units_of(c, S), *stated) if u is not None}.values())


def _is_stroke(search: Search, c: Candidate, v: Candidate, v_units: Sequence[Unit]) -> bool:
    fit = search.laws.rate(c.index, v.index)
    if fit is None or fit.spread > 0.5 or _distance_in(search, c, v):
        return False
    return any(
        STROKE.low <= STROKE.value(fit.ratio, {S: s, V: u}) <= STROKE.high
        and not range_fault(S, s.convert(c.raw), search.machine, in_use=False)
        for s, u in product(_stroke_units(search, c), v_units)
    )


def _distance_in(search: Search, c: Candidate, v: Candidate) -> str:
    """The unit in which a column that follows v rises further than any stroke; '' where it does not."""
    most = _LONGEST_STROKE_MM
    if search.machine is not None and search.machine.stroke_length_m:
        most = 1300.0 * search.machine.stroke_length_m
    fit = search.laws.rate(c.index, v.index)
    if fit is None:
        return ""
    for unit, u in product(_stroke_units(search, c), search.units_of(v, V)):
        if STROKE.low <= STROKE.value(fit.ratio, {S: unit, V: u}) <= STROKE.high:
            return unit.name if never_goes_back(c.raw, most / unit.factor) else ""
    return ""


def _strokes_of_two_sets(search: Search, seconds: Sequence[Values]) -> None:
    """At a regrip, the head still, the mains close and the auxiliaries open; never the other way round."""
    pair = [search.named(c) for c in (S, A)]
    if any(len(named) != 1 or named[0].fixed for named in pair):
        return
    main, aux = (named[0] for named in pair)
    still = [np.abs(c.raw) < 0.02 * _top(c.raw) for n in (N, V) if (c := _trusted(search, n)) is not None]
    if main is aux or not still:
        return
    way = opposite_way(main.raw, aux.raw, np.logical_and.reduce(still), seconds)
    if way > 0:
        why = "at a regrip, the head still, the mains close as the auxiliaries open"
        search.take(S, aux, why)
        search.take(A, main, why)


# --- names exchanged ----------------------------------------------------------------------------


def _exchanges(search: Search, seconds: Sequence[Values]) -> None:
    v, n, s = (_trusted(search, c) for c in (V, N, S))
    speed, turning, stroke = (None if c is None else c.raw for c in (v, n, s))
    seen = doing(speed, turning, stroke, seconds)
    free = [c for c in search.candidates if not c.fixed and c.index not in search.found and c.channels]
    names: dict[str, Candidate] = {}
    for channel in dict.fromkeys(c.channels[0] for c in free):
        group = [c for c in free if c.channels[0] == channel]
        if len(group) == 1 and channel not in search.taken:
            names[channel] = group[0]
    if S in names and s is names[S] and v is not None and _is_stroke(search, s, v, search.units_of(v, V)):
        del names[S]
    advance = None if v is None else _advance_m(v.raw * search.units_of(v, V)[0].factor, seconds)
    Exchange(search, names, seen, advance).settle()


def _advance_m(v: Values, seconds: Sequence[Values]) -> tuple[float, float]:
    """Advance by a speed [mm/min, (n,)]: within the runs, and from the first to the last stamp at its mean."""
    within, time_s, at = 0.0, 0.0, 0
    for run in seconds:
        part, at = v[at : at + len(run)], at + len(run)
        dt = np.diff(run)
        good = np.isfinite(dt) & np.isfinite(part[:-1]) & (dt > 0)
        within += float(np.sum(part[:-1][good] * dt[good])) / 6e4
        time_s += float(np.sum(dt[good]))
    all_s = np.concatenate(seconds)
    span = float(np.nanmax(all_s) - np.nanmin(all_s)) if np.isfinite(all_s).any() else 0.0
    return within, within * span / time_s if time_s else 0.0


def _trusted(search: Search, channel: str) -> Candidate | None:
    """The column that a law gave a channel, or the only one named for it that none refuses."""
    if channel in search.taken:
        return search.taken[channel]
    named = [c for c in search.named(channel) if c.channels[0] == channel and c.index not in search.found]
    return named[0] if len(named) == 1 else None


def _top(raw: Values) -> float:
    size = np.abs(raw[np.isfinite(raw) & (raw != 0)])
    return float(np.quantile(size, 0.9)) if len(size) else 0.0


# --- chainage -----------------------------------------------------------------------------------


def _chainage(search: Search, seconds: Sequence[Values]) -> None:
    """A chainage goes one way while the machine bores; where the sample shows 0.3 m of it, one that
    does not is asked."""
    v = search.taken.get(V)
    if v is None:
        return
    for c in search.named(C):
        time_s = np.concatenate(seconds)
        good = np.isfinite(c.raw) & np.isfinite(v.raw) & np.isfinite(time_s)
        if c.fixed or good.sum() < 100:
            continue
        metres = (
            float(np.mean(v.raw[good])) * search.units_of(v, V)[0].factor * float(np.ptp(time_s[good])) / 6e4
        )
        if metres < 0.3 or c.index in search.used():
            continue
        if abs(float(np.corrcoef(c.raw[good], time_s[good])[0, 1])) < 0.7:
            why = f"does not go one way while the head advances by some {metres:.2g} m"
            question = f"named like {C}, but it {why}; which column is the chainage?"
            search.found[c.index] = Found(c.index, C, why, search.units_of(c, C), question)


# --- thrust -------------------------------------------------------------------------------------


def _thrust(search: Search) -> None:
    """Without a name for it: the force that goes with the pressure of the main set, else what is asked."""
    v = search.taken.get(V)
    if v is None or search.named(F):
        return
    options = [c for c in search.pool() if not c.channels and _may_be_thrust(search, c, v)]
    for c, pressure in product(options, search.named("main_pressure_bar")):
        fit = search.laws.proportional(c.index, pressure.index)
        if c.units and fit is not None and fit.spread < 0.01:
            search.take(F, c, f"it is a constant times {pressure.header!r} (spread {fit.spread:.1%})")
            return
    if options:
        more = "".join(f", or {c.header!r}" for c in options[1:4])
        question = (
            f"no column is named for the thrust; is it this one{more}? The force while the head advances"
        )
        first = options[0]
        search.found[first.index] = Found(first.index, F, question, search.units_of(first, F), question)


def _may_be_thrust(search: Search, c: Candidate, v: Candidate) -> bool:
    """A force, or a number without unit, that is greater while the head advances and never too great."""
    if c.units and for_channel(c.units, BY_NAME[F]) is None:
        return False
    busy = np.abs(v.raw) > 0.2 * np.nanquantile(np.abs(v.raw), 0.9)
    known = np.isfinite(c.raw) & np.isfinite(v.raw)
    loaded, rest = (np.abs(c.raw[known & rows]) for rows in (busy, ~busy))
    if len(loaded) < 20 or (len(rest) >= 20 and np.median(loaded) < 1.5 * np.median(rest)):
        return False
    units = search.units_of(c, F)
    return any(not range_fault(F, u.convert(c.raw), search.machine, in_use=True) for u in units)


# --- what a swap leaves behind ------------------------------------------------------------------


def _left_behind(search: Search) -> Iterator[Found]:
    """Columns whose name another column proved to own: with the name that column bore, they are asked."""
    moved = {
        f.index: f.channel
        for f in search.found.values()
        if f.channel and (c := _by_index(search, f.index)).channels and c.channels[0] != f.channel
    }
    bare = [_by_index(search, k).channels[0] for k in moved]
    bare = [channel for channel in bare if channel not in search.taken]
    for channel in set(moved.values()):
        for loser in search.named(channel):
            if loser.index in search.found and search.found[loser.index].channel:
                continue
            if loser is search.taken.get(channel) or loser.channels[0] != channel:
                continue
            winner = search.taken[channel]
            why = f"named like {channel}, but {search.found[winner.index].why} with {winner.header!r}"
            if not bare:
                yield Found(loser.index, "", why)
                continue
            other = bare.pop()
            question = f"{why}; is this {other}, the two names swapped?"
            yield Found(loser.index, other, why, search.units_of(loser, other), question)


def _by_index(search: Search, index: int) -> Candidate:
    return next(c for c in search.candidates if c.index == index)
