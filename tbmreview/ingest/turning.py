"""v = n p does not tell the head speed from the penetration: power, turning free and steadiness do."""

from itertools import product

import numpy as np

from tbmreview.ingest.candidates import Candidate, Search
from tbmreview.ingest.laws import TIGHT, turns_free, unsteadiness
from tbmreview.ingest.ranges import N, P, T, V, W, range_fault


def check_turn(search: Search) -> None:
    """v = n p does not tell n from p: turning free, power and steadiness do."""
    v, n, p = (search.taken[c] for c in (V, N, P))
    if n.fixed or p.fixed:
        return
    verdict, words, sure = _which_turns(search, v, n, p)
    named = n.channels[:1] == (N,) or p.channels[:1] == (P,)
    if verdict > 0 and (named or sure):
        return
    if verdict < 0 and sure and _units_swap(search, n, p):
        search.take(N, p, f"v = n p holds either way; {words}")
        search.take(P, n, f"v = n p holds either way; {words}")
    elif verdict < 0 or not named:
        question = (
            f"is this the head speed and {p.header!r} the penetration, or the other way round? v = n p holds "
            f"either way{'; ' if words else ''}{words}"
        )
        search.take(N, n, "v = n p holds either way", question)


def _units_swap(search: Search, n: Candidate, p: Candidate) -> bool:
    return any(
        not range_fault(N, u.convert(p.raw), search.machine, in_use=True) for u in search.units_of(p, N)
    )


def _which_turns(search: Search, v: Candidate, n: Candidate, p: Candidate) -> tuple[int, str, bool]:
    """(1 where n is the head speed, -1 where p is, 0 not known; in words; whether that is sure)."""
    power = [_power_spread(search, c) for c in (n, p)]
    if min(power) < TIGHT and max(power) > 2 * min(power) + 0.002:
        winner = n if power[0] < power[1] else p
        return (1 if winner is n else -1), f"P = 2 pi n T / 60 holds with {winner.header!r} only", True
    free = turns_free(n.raw, p.raw, v.raw), turns_free(p.raw, n.raw, v.raw)
    if max(free) >= 20 and max(free) > 4 * min(free):
        winner = n if free[0] > free[1] else p
        return (1 if winner is n else -1), f"{winner.header!r} runs while nothing advances", True
    busy = np.abs(v.raw) > 0.2 * np.nanquantile(np.abs(v.raw), 0.9)
    loose = unsteadiness(n.raw, busy), unsteadiness(p.raw, busy)
    if max(loose) > 2 * min(loose):
        winner = n if loose[0] < loose[1] else p
        return (
            (1 if winner is n else -1),
            f"{winner.header!r} is the steadier by {max(loose) / max(min(loose), 1e-9):.2g}",
            False,
        )
    return 0, "", False


def _power_spread(search: Search, n: Candidate) -> float:
    """Least spread of power / (n torque) over the columns named so; infinite without them."""
    fits = [
        search.laws.product(w.index, n.index, t.index)
        for w, t in product(search.named(W), search.named(T))
        if len({w.index, t.index, n.index}) == 3
    ]
    return min((f.spread for f in fits if f is not None), default=np.inf)
