"""What the operator did in an interval: what is set anew, changed or started again is not the ground.

Thrust and head speed as the rows show them: a change of level that lasts for a metre on either side. Discs by the
site's tables, restarts by the periods, the reaction by the rows, curves by the axis.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.domain.site import DELAYS, DISC_CHANGES
from tbmreview.domain.states import REACTION_LABELS, Reaction, State
from tbmreview.domain.table import Table
from tbmreview.findings.baseline import medians
from tbmreview.findings.beside import LEAST_ADVANCE_M
from tbmreview.findings.detector import Floats, Profile
from tbmreview.findings.words import at_chainage

Ints = NDArray[np.int64]

LEVEL_ROWS = 10  # a metre of rows on either side makes a level
MOST_TOLD = 2  # changes of one kind that are told one by one
HOUR_US = 3_600_000_000
FIGURES = {
    "thrust": "changes_of_thrust",
    "head speed": "changes_of_head_speed",
    "discs": "disc_changes",
    "restart": "restarts",
    "reaction": "changes_of_reaction",
    "curve": "bends",
}
MANY = {
    "thrust": "thrust changed",
    "head speed": "head speed set anew",
    "discs": "discs changed",
    "restart": "boring restarted after a long stop",
    "reaction": "reaction changed",
    "curve": "curves began or ended",
}
OF_DISCS = re.compile(r"\b(disc|disk|cutter|meißel|meissel|rollenmei)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Done:
    """One thing that was done: what (a key of FIGURES), where [m], and in words."""

    what: str
    position_m: float
    words: str


class Doings:
    """What was done along a profile; looked up interval by interval."""

    def __init__(self, profile: Profile, settings: FindingSettings) -> None:
        self._profile, self._settings = profile, settings
        rows = profile.rows
        self._rows = rows.rows(rows["advance_m"] >= LEAST_ADVANCE_M) if len(rows) else rows
        self._restarts = _restarts(profile.periods, settings)
        self._discs = _disc_changes(profile)

    def within(self, from_m: float, to_m: float) -> list[Done]:
        """What was done from one position to another or within operator_edge_m of either, in order."""
        edge = self._settings.operator_edge_m
        low, high = from_m - edge, to_m + edge
        found = [*self._set_anew(low, high), *self._reactions(low, high)]
        for what, at, words in (self._restarts, self._discs, self._curves()):
            inside = np.flatnonzero((at >= low) & (at <= high))
            found += [
                Done(what, float(at[i]), f"{words[i]} at {at_chainage(self._profile.axis, at[i])}")
                for i in inside.tolist()
            ]
        return sorted(found, key=lambda done: (done.position_m, done.what))

    def _set_anew(self, low: float, high: float) -> list[Done]:
        if not len(self._rows):
            return []
        reach = LEVEL_ROWS / 10 + 0.5
        first, stop = np.searchsorted(self._rows["position_from_m"], (low - reach, high + reach))
        rows = self._rows.rows(slice(int(first), int(stop)))
        at, settings = rows["position_from_m"], self._settings
        name, thrust = _thrust(rows)
        kinds = (
            ("thrust", f"{name} went", "kN", 0, thrust, settings.operator_thrust_ratio),
            (
                "head speed",
                "head speed set anew",
                "rpm",
                1,
                rows["head_speed_rpm"],
                settings.operator_speed_ratio,
            ),
        )
        return [
            Done(
                what,
                float(at[i]),
                f"{words} from {before:.{digits}f} to {after:.{digits}f} {unit} at "
                f"{at_chainage(self._profile.axis, at[i])}",
            )
            for what, words, unit, digits, values, ratio in kinds
            for i, before, after in changes_of_level(values, ratio)
            if low <= at[i] <= high
        ]

    def _reactions(self, low: float, high: float) -> list[Done]:
        rows = self._rows
        if not len(rows):
            return []
        part = slice(*np.searchsorted(rows["position_from_m"], (low, high)).tolist())
        reaction, at = rows["reaction"][part], rows["position_from_m"][part]
        changed = np.flatnonzero(reaction[1:] != reaction[:-1]) + 1
        return [
            Done(
                "reaction",
                float(at[i]),
                f"reaction changed to {REACTION_LABELS[Reaction(int(reaction[i]))]} at "
                f"{at_chainage(self._profile.axis, at[i])}",
            )
            for i in changed.tolist()
        ]

    def _curves(self) -> tuple[str, Floats, Sequence[str]]:
        bends = self._profile.bends_m
        return "curve", bends, ["a curve began or ended"] * len(bends)


def _thrust(rows: Table) -> tuple[str, Floats]:
    """(its name, (n,) [kN]): net where drag is known, else gross of the reaction that most rows have."""
    net: Floats = rows["net_thrust_kN"]
    if np.all(np.isfinite(net)):
        return "net thrust", net
    usual = np.argmax(np.bincount(rows["reaction"]))
    return "thrust", np.where(rows["reaction"] == usual, rows["thrust_kN"], np.nan)


def changes_of_level(values: Floats, ratio: float) -> list[tuple[int, float, float]]:
    """(row, level before, level from it on) where the median of ten rows changes by at least a factor.

    values: (n,) in order; NaN counts for nothing. Of changes nearer to each other than ten rows the greatest.
    """
    rows = np.flatnonzero(values > 0)
    known = values[rows]
    if len(known) < 2 * LEVEL_ROWS:
        return []
    around = np.lib.stride_tricks.sliding_window_view(known, LEVEL_ROWS)
    level = medians(around, np.full(len(around), LEVEL_ROWS))
    size = np.abs(np.log(level[LEVEL_ROWS:] / level[:-LEVEL_ROWS]))
    out = []
    while size[at := int(np.argmax(size))] >= np.log(ratio):
        before, after = float(level[at]), float(level[at + LEVEL_ROWS])
        part = np.clip(known[at : at + 2 * LEVEL_ROWS], min(before, after), max(before, after))
        out.append((int(rows[at + _split(part)]), before, after))
        size[max(0, at - LEVEL_ROWS) : at + LEVEL_ROWS + 1] = 0.0
    return sorted(out)


def _split(values: Floats) -> int:
    """Where values (n,) fall in two parts of least squares about their means: the first of the second part."""
    count = np.arange(1, len(values))
    sums = np.cumsum(values)[:-1]
    return 1 + int(np.argmax(sums**2 / count + (values.sum() - sums) ** 2 / (len(values) - count)))


def _restarts(periods: Table, settings: FindingSettings) -> tuple[str, Floats, Sequence[str]]:
    """Where boring began again after a stop of operator_stop_h or more."""
    if not len(periods):
        return "restart", np.empty(0), []
    boring = periods.rows(periods["state"] == State.BORING)
    hours = (boring["start_us"][1:] - boring["end_us"][:-1]) / HOUR_US
    long = np.flatnonzero(hours >= settings.operator_stop_h)
    at: Floats = boring["position_m"][long + 1]
    return "restart", at, [f"boring restarted after {hours[i]:.1f} h" for i in long.tolist()]


def _disc_changes(profile: Profile) -> tuple[str, Floats, Sequence[str]]:
    """Where the face stood when discs were changed: by the site's table of them, else by its delays."""
    stated, delays = profile.site.get(DISC_CHANGES), profile.site.get(DELAYS)
    if stated is not None and len(stated):
        at = profile.position_at(stated["time_us"])
        places, count = np.unique(np.round(at[np.isfinite(at)], 1), return_counts=True)
        return "discs", places, [_discs_changed(n) for n in count.tolist()]
    if delays is None or not len(delays):
        return "discs", np.empty(0), []
    of_discs = np.array([bool(OF_DISCS.search(code)) for code in delays["code"].tolist()], bool)
    at = profile.position_at(delays["start_us"][of_discs])
    places = np.unique(np.round(at[np.isfinite(at)], 1))
    return "discs", places, ["discs changed"] * len(places)


def _discs_changed(count: int) -> str:
    return "one disc changed" if count == 1 else f"{count} discs changed"


def discs_stated(profile: Profile) -> bool:
    """Whether the site states anything that would tell of a disc change."""
    return any(len(profile.site[kind]) for kind in (DISC_CHANGES, DELAYS) if kind in profile.site)


def sentence(done: Sequence[Done], discs_known: bool) -> str:
    """What was done, in a sentence."""
    if not done:
        discs = "discs" if discs_known else ""
        things = ", ".join(part for part in ("Thrust", "head speed", discs) if part)
        unknown = "" if discs_known else " (disc changes are not stated)"
        return f"{things} and reaction stayed as they were within it{unknown}."
    told = []
    for what in dict.fromkeys(d.what for d in done):
        same = [d for d in done if d.what == what]
        told += [d.words for d in same] if len(same) <= MOST_TOLD else [f"{MANY[what]} {len(same)} times"]
    return f"Within it: {'; '.join(told)}."


def with_context(findings: Sequence[Finding], profile: Profile, settings: FindingSettings) -> list[Finding]:
    """The findings with a sentence on what was done within each, and how often, among the figures."""
    doings, known = Doings(profile, settings), discs_stated(profile)
    return [
        _told(finding, doings.within(finding.position_from_m, finding.position_to_m), known)
        for finding in findings
    ]


def _told(finding: Finding, done: Sequence[Done], discs_known: bool) -> Finding:
    counts = {figure: float(sum(d.what == what for d in done)) for what, figure in FIGURES.items()}
    return replace(
        finding,
        evidence=f"{finding.evidence} {sentence(done, discs_known)}",
        figures={**finding.figures, **counts},
    )
