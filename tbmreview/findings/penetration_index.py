"""FPI off its local baseline: ground that bores much more easily, or much harder, than around it.

Compared on a log scale with the median of the ground before it and of the ground behind it, against the
robust spread of each; what is like one of the two is a change of rock, no finding. Net FPI where drag is
known for most of what was bored with a reaction, since gross FPI of a held shield rises in soft ground;
else gross, and then with the same reaction only. Net is compared with the same reaction where that makes
up nearly half of a side, else with all whose drag is known.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.domain.states import REACTION_LABELS, Reaction
from tbmreview.domain.station import STEP_UM, Axis, format_chainage
from tbmreview.domain.table import Table
from tbmreview.findings.baseline import PLACES_IN_WINDOW, local_baseline, places_along
from tbmreview.findings.detector import Detector, Flags, Floats, Profile
from tbmreview.findings.runs import Run, runs_of

LOW, HIGH = "FPI low", "FPI high"
NET, GROSS = "net_fpi_kN_per_mm_rev", "fpi_kN_per_mm_rev"
LEAST_ADVANCE_M = 0.02  # a row with less is a sliver of a step: its figures mean little
LEAST_FPI = 0.01  # kN/(mm/rev): drag above thrust makes net FPI negative, which has no logarithm
LEAST_DEVIATION = 0.02  # of log FPI: below 2 % the spread is the resolution of the log, not the ground
PASSES = 100  # what was found is taken out of the baseline, and its neighbours looked at again
OWN_SHARE = 0.45  # of a side: where strokes alternate between reactions, each makes up nearly half
STEP_M = STEP_UM / 1e6  # of a row
BEFORE, BEHIND = 0, 1  # the sides of a place: bored before it, and after it


@dataclass(frozen=True, slots=True)
class _Baseline:
    """Of each row and side, (2, n): median and robust deviation of log FPI, count, whether of its own
    reaction."""

    median: Floats
    deviation: Floats
    count: NDArray[np.int64]
    own: Flags

    def copies(self) -> tuple[Floats, Floats, NDArray[np.int64], Flags]:
        return self.median.copy(), self.deviation.copy(), self.count.copy(), self.own.copy()

    def of_side(self, side: NDArray[np.int64]) -> tuple[Floats, Floats, NDArray[np.int64], Flags]:
        """The same of one side of each row, (n,) each."""
        row = np.arange(len(side))
        return self.median[side, row], self.deviation[side, row], self.count[side, row], self.own[side, row]


def _nothing(n: int) -> _Baseline:
    return _Baseline(
        np.full((2, n), np.nan), np.full((2, n), np.nan), np.zeros((2, n), np.int64), np.zeros((2, n), bool)
    )


def off_baseline(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """Intervals where FPI is off its local baseline by settings.fpi_ratio and fpi_score, along position."""
    rows = profile.rows
    if not len(rows):
        return []
    net = _net_rows(rows)
    value = np.where(net, rows[NET], rows[GROSS])
    good = (rows["advance_m"] >= LEAST_ADVANCE_M) & np.isfinite(value)
    logs = np.log(np.where(good, np.maximum(value, LEAST_FPI), np.nan))
    excluded, sign = np.zeros(len(rows), bool), np.zeros(len(rows), np.int64)
    baseline, stale = _nothing(len(rows)), np.ones(len(rows), bool)
    for _ in range(PASSES):
        baseline = _baseline(profile, logs, (net, excluded, stale), settings, baseline)
        sign = _signs(logs, baseline, sign, settings)
        runs = _runs(profile, sign, settings)
        found = np.logical_or.reduce([r.rows(len(rows)) for _, r in runs] or [excluded])
        new = found & ~excluded
        if not np.any(new):
            break
        excluded |= found
        stale = _within(_middle(profile), new, (1 + 1 / PLACES_IN_WINDOW) * settings.fpi_window_m)
    side = _nearer_side(logs, baseline, settings)
    median, deviation, _, own = baseline.of_side(side)
    everything = _Compared(net, side, median, deviation, own, excluded)
    return [
        _finding(profile, _seen(profile, run.rows(len(rows)) & good, everything, direction), settings)
        for direction, run in runs
    ]


def _net_rows(rows: Table) -> Flags:
    """Rows whose reaction has a net FPI over most of its advance, (n,): they are judged by it."""
    net, known = np.zeros(len(rows), bool), np.isfinite(rows[NET])
    for code in np.unique(rows["reaction"]):
        same = rows["reaction"] == code
        net[same] = 2 * np.sum(rows["advance_m"][same & known]) >= np.sum(rows["advance_m"][same])
    return net


def _middle(profile: Profile) -> Floats:
    middle: Floats = (profile.rows["position_from_m"] + profile.rows["position_to_m"]) / 2
    return middle


def _within(position_m: Floats, rows: Flags, reach_m: float) -> Flags:
    """Whether each position, (n,) rising, is within reach of one of the rows."""
    places = position_m[rows]
    first = np.searchsorted(places, position_m - reach_m, side="left")
    return first < np.searchsorted(places, position_m + reach_m, side="right")


def _baseline(
    profile: Profile,
    logs: Floats,
    used: tuple[Flags, Flags, Flags],
    settings: FindingSettings,
    before: _Baseline,
) -> _Baseline:
    """The baseline of each row from rows that are not excluded; only what is stale is made anew.

    used: (judged by net FPI, excluded, stale), each (n,).
    """
    net, excluded, stale = used
    reaction, middle = profile.rows["reaction"], _middle(profile)
    usable = np.isfinite(logs) & ~excluded
    median, deviation, count, own = before.copies()
    for side in (BEFORE, BEHIND):
        everyone = _along(middle, logs, usable & net, stale, (side, settings.fpi_window_m))
        for code in np.unique(reaction):
            rows, at = stale & (reaction == code), reaction[stale] == code
            same = _along(middle, logs, usable & (reaction == code), rows, (side, settings.fpi_window_m))
            own[side, rows] = chosen = ~net[rows] | (same[2] >= OWN_SHARE * everyone[2][at])
            median[side, rows] = np.where(chosen, same[0], everyone[0][at])
            deviation[side, rows] = np.maximum(np.where(chosen, same[1], everyone[1][at]), LEAST_DEVIATION)
            count[side, rows] = np.where(chosen, same[2], everyone[2][at])
    return _Baseline(median, deviation, count, own)


def _along(
    position_m: Floats, logs: Floats, usable: Flags, wanted: Flags, side: tuple[int, float]
) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """Median, deviation and count on a side of each wanted row. side: (BEFORE or BEHIND, its length in m)."""
    at, place = places_along(position_m[wanted], side[1])
    half = side[1] / 2
    shifted = at - half if side[0] == BEFORE else at + half
    median, deviation, count = local_baseline(position_m, logs, usable, shifted, half)
    return median[place], deviation[place], count[place]


def _nearer_side(logs: Floats, baseline: _Baseline, settings: FindingSettings) -> NDArray[np.int64]:
    """The side that each row is more like, (n,), of those that reach a quarter of the window; where neither
    does (near an end of the drive), the longer one."""
    least = settings.fpi_window_m / 4 / STEP_M
    off = np.where(baseline.count >= least, np.abs(logs - baseline.median), np.inf)
    off = np.where(np.isnan(off), np.inf, off)
    neither = np.all(np.isinf(off), axis=0)
    side: NDArray[np.int64] = np.where(neither, np.argmax(baseline.count, axis=0), np.argmin(off, axis=0))
    return side


def _signs(
    logs: Floats, baseline: _Baseline, before: NDArray[np.int64], settings: FindingSettings
) -> NDArray[np.int64]:
    """+1 above, -1 below, 0 like either side; a row without enough ground around stays as it was judged."""
    median, deviation, count, _ = baseline.of_side(_nearer_side(logs, baseline, settings))
    off = logs - median
    judged = np.isfinite(off) & (count >= settings.fpi_least_cells)
    least = np.maximum(np.log(settings.fpi_ratio), settings.fpi_score * deviation)
    sign = np.where(judged & (np.abs(off) > least), np.sign(off), 0).astype(np.int64)
    return np.where(judged, sign, before)


def _runs(profile: Profile, sign: NDArray[np.int64], settings: FindingSettings) -> list[tuple[int, Run]]:
    low, high = profile.rows["position_from_m"], profile.rows["position_to_m"]
    found = [
        (direction, run)
        for direction in (-1, 1)
        for run in runs_of(sign == direction, low, high, settings.fpi_bridge_m, settings.fpi_least_m)
    ]
    return sorted(found, key=lambda pair: pair[1].first)


@dataclass(frozen=True, slots=True)
class _Compared:
    """Of each row, (n,): judged by net FPI; the side it is more like, with that side's median and robust
    deviation of log FPI, and whether those are of its own reaction; left out of baselines."""

    net: Flags
    side: NDArray[np.int64]
    median: Floats
    deviation: Floats
    own: Flags
    excluded: Flags


@dataclass(frozen=True, slots=True)
class _Seen:
    """A run: its rows (n,), those whose figures are given (all of them net or all gross), and whether net."""

    direction: int
    rows: Flags
    given: Flags
    net: bool
    compared: _Compared

    @property
    def level(self) -> float:
        """Median FPI of the ground that its given rows are more like."""
        return float(np.exp(np.nanmedian(self.compared.median[self.given])))

    @property
    def spread(self) -> float:
        """Robust deviation of the log of FPI there."""
        return float(np.nanmedian(self.compared.deviation[self.given]))

    @property
    def own(self) -> bool:
        """Compared with ground of the same reactions only."""
        return bool(np.all(self.compared.own[self.given]))

    @property
    def side(self) -> int:
        """The side that most of its rows are more like."""
        return int(2 * np.mean(self.compared.side[self.given]) > 1)


def _seen(profile: Profile, rows: Flags, compared: _Compared, direction: int) -> _Seen:
    advance = profile.rows["advance_m"]
    net = bool(2 * np.sum(advance[rows & compared.net]) >= np.sum(advance[rows]))
    return _Seen(direction, rows, rows & (compared.net == net), net, compared)


def _finding(profile: Profile, seen: _Seen, settings: FindingSettings) -> Finding:
    rows, level = profile.rows.rows(np.flatnonzero(seen.rows)), seen.level
    inside, around = profile.over(seen.given), _around(profile, seen, settings)
    value = inside[NET if seen.net else GROSS]
    figures = {
        "fpi_kN_per_mm_rev": value,
        "baseline_fpi_kN_per_mm_rev": level,
        "ratio": value / level,
        "robust_deviations": abs(float(np.log(max(value, LEAST_FPI) / level))) / seen.spread,
        "length_m": float(rows["position_to_m"].max() - rows["position_from_m"].min()),
        "penetration_mm_rev": inside["penetration_mm_rev"],
        "baseline_penetration_mm_rev": around["penetration_mm_rev"],
        "disc_load_kN": inside["net_disc_load_kN" if seen.net else "disc_load_kN"],
        "baseline_disc_load_kN": around["net_disc_load_kN" if seen.net else "disc_load_kN"],
        "gross_fpi_kN_per_mm_rev": inside[GROSS],
        "baseline_gross_fpi_kN_per_mm_rev": around[GROSS],
        "drag_kN": inside["thrust_kN"] - inside["net_thrust_kN"],
        "baseline_drag_kN": around["thrust_kN"] - around["net_thrust_kN"],
        "thrust_kN": inside["thrust_kN"],
    }
    return Finding(
        kind=LOW if seen.direction < 0 else HIGH,
        position_from_m=float(rows["position_from_m"].min()),
        position_to_m=float(rows["position_to_m"].max()),
        start_us=int(rows["start_us"].min()),
        end_us=int(rows["end_us"].max()),
        strength=figures["robust_deviations"],
        evidence=_evidence((rows, profile.axis), seen, figures, settings),
        figures={name: number for name, number in figures.items() if np.isfinite(number)},
    )


def _around(profile: Profile, seen: _Seen, settings: FindingSettings) -> dict[str, float]:
    """Indicators of the ground on the side that it is more like."""
    middle, at = _middle(profile), profile.rows
    low, high = at["position_from_m"][seen.rows].min(), at["position_to_m"][seen.rows].max()
    if seen.side == BEFORE:
        near = (middle >= low - settings.fpi_window_m) & (middle <= low)
    else:
        near = (middle >= high) & (middle <= high + settings.fpi_window_m)
    near &= ~seen.compared.excluded & (seen.compared.net == seen.net)
    if seen.own:
        near &= np.isin(at["reaction"], np.unique(at["reaction"][seen.given]))
    return dict(profile.over(near))


def _evidence(
    where: tuple[Table, Axis], seen: _Seen, figures: dict[str, float], settings: FindingSettings
) -> str:
    """The finding in words. where: its rows, and the axis."""
    at, axis = where
    ends = [
        format_chainage(float(axis.chainage_m(p)), 1)
        for p in (at["position_from_m"].min(), at["position_to_m"].max())
    ]
    word = "below" if seen.direction < 0 else "above"
    kind = "Net" if seen.net else "Gross"
    load = "net disc load" if seen.net else "disc load"
    return " ".join(
        part
        for part in (
            f"{kind} FPI {figures['fpi_kN_per_mm_rev']:.1f} kN/(mm/rev) over {figures['length_m']:.1f} m, "
            f"{ends[0]} to {ends[1]}: {figures['ratio']:.2f} times the {figures['baseline_fpi_kN_per_mm_rev']:.1f} "
            f"within {settings.fpi_window_m:g} m on its more similar side, "
            f"{figures['robust_deviations']:.1f} robust deviations {word} it.",
            f"Penetration {_against(figures, 'penetration_mm_rev', 'mm/rev')}, "
            f"{load} {_against(figures, 'disc_load_kN', 'kN', 0)}.",
            _drag_words(seen, figures, bool(np.any(at["drag_seen"]))),
            _reaction_words(at["reaction"], at["advance_m"], seen.own),
            "These figures give no cause. Compare with face map, muck and water, and with thrust or head "
            "speed set anew, discs changed or a restart in this stretch.",
        )
        if part
    )


def _against(figures: dict[str, float], name: str, unit: str, decimals: int = 1) -> str:
    before = figures[f"baseline_{name}"]
    text = f"{figures[name]:.{decimals}f} {unit}"
    return text if np.isnan(before) else f"{text} against {before:.{decimals}f}"


def _drag_words(seen: _Seen, figures: dict[str, float], measured: bool) -> str:
    if not seen.net:
        return "Drag is not known, so thrust is gross: a held shield would raise this FPI."
    gross = _against(figures, "gross_fpi_kN_per_mm_rev", "kN/(mm/rev)")
    drag = _against(figures, "drag_kN", "kN", 0)
    words = f"Drag {drag}, in a thrust of {figures['thrust_kN']:.0f} kN; gross FPI {gross}."
    if not measured:
        words += " No stroke here showed its own drag: if the shield was held, net FPI is lower than this."
    if figures["drag_kN"] >= figures["thrust_kN"]:
        words += " The drag figure is above the thrust here, so net FPI is below zero."
    return words


def _reaction_words(reaction: NDArray[np.int8], advance_m: Floats, own: bool) -> str:
    total = float(np.sum(advance_m))
    shares = {
        code: float(np.sum(advance_m[reaction == code])) / total for code in np.unique(reaction).tolist()
    }
    words = " and ".join(
        f"{REACTION_LABELS[Reaction(code)]} {100 * share:.0f} %"
        for code, share in sorted(shares.items(), key=lambda item: -item[1])
        if share >= 0.005
    )
    return f"Reaction: {words}." + (
        "" if own else " The ground beside it was bored with other reactions too."
    )


FPI_OFF_BASELINE = Detector(
    "FPI off its local baseline",
    (LOW, HIGH),
    "log of net FPI (gross where drag is not known) against median and robust spread of the ground on either side",
    ("fpi_window_m", "fpi_ratio", "fpi_score", "fpi_least_m", "fpi_bridge_m", "fpi_least_cells"),
    off_baseline,
)
