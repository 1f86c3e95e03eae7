"""Runs: flagged rows that lie together."""

from dataclasses import dataclass

import numpy as np

from tbmreview.findings.detector import Flags, Floats

LEAST_SHARE = 0.5  # of the extent of a run that must itself be flagged


@dataclass(frozen=True, slots=True)
class Run:
    """Rows first <= i < stop of a profile."""

    first: int
    stop: int

    def rows(self, count: int) -> Flags:
        """The run as a mask (count,)."""
        mask = np.zeros(count, bool)
        mask[self.first : self.stop] = True
        return mask


def runs_of(flagged: Flags, low_m: Floats, high_m: Floats, bridge_m: float, least_m: float) -> list[Run]:
    """Flagged rows joined across gaps of at most bridge_m [m], kept where at least least_m of them.

    low_m, high_m: (n,) bounds of the rows, rising. A run in which less than half the extent is
    flagged is scatter and is left out.
    """
    at = np.flatnonzero(flagged)
    if not len(at):
        return []
    reach = np.maximum.accumulate(high_m[at])
    breaks = np.flatnonzero(low_m[at[1:]] - reach[:-1] > bridge_m + 1e-9) + 1
    runs = []
    for part in np.split(at, breaks):
        low, high = low_m[part].min(), high_m[part].max()
        covered = _covered(low_m[part], high_m[part])
        if covered >= least_m - 1e-9 and covered >= LEAST_SHARE * (high - low):
            runs.append(Run(int(part[0]), int(part[-1]) + 1))
    return runs


def _covered(low_m: Floats, high_m: Floats) -> float:
    """Length of the union of intervals that rise [m]."""
    reach = np.concatenate([[-np.inf], np.maximum.accumulate(high_m)[:-1]])
    return float(np.sum(np.maximum(high_m - np.maximum(low_m, reach), 0.0)))
