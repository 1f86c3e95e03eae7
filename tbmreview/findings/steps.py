"""Steps of level of FPI: where ground that stays so begins; and the change points that bounds snap to."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.findings.beside import LEAST_ADVANCE_M, middle_m
from tbmreview.findings.change_points import change_points, interval, robust_sigma
from tbmreview.findings.detector import Detector, Flags, Floats, Profile
from tbmreview.findings.load_curve import by_load
from tbmreview.findings.penetration_index import fpi
from tbmreview.findings.words import NO_CAUSE, against, at_chainage

KIND = "step in FPI"
BIN_M = 0.5  # of the series in which change points are looked for
LEAST_BINS = 4  # of a segment: zones from 2 m on
SNAP_M = 3.0  # a bound that is further from any change point stays where it is


@dataclass(frozen=True, slots=True)
class Levels:
    """The series of change points: start [m] of each bin (k,), log FPI (k,), whether it is net, its robust noise,
    the penalty, and the index of each change's first bin."""

    start_m: Floats
    logs: Floats
    net: bool
    sigma: float
    penalty: float
    changes: NDArray[np.int64]


def levels(profile: Profile, settings: FindingSettings) -> Levels | None:
    """Medians of log FPI by half metre and where they change; None where there is too little ground."""
    measure, rows = fpi(profile), profile.rows
    good = (rows["advance_m"] >= LEAST_ADVANCE_M) & np.isfinite(measure.value)
    net = bool(2 * np.sum(measure.net & good) >= np.sum(good))
    good &= measure.net == net
    middle = middle_m(profile)[good]
    logs = np.log(np.maximum(measure.value[good], measure.least))
    number, first = np.unique(np.floor(middle / BIN_M).astype(np.int64), return_index=True)
    if len(number) < 2 * LEAST_BINS:
        return None
    series = _medians(logs, first)
    sigma = max(robust_sigma(series), 0.02)
    penalty = settings.step_penalty * sigma**2 * float(np.log(len(series)))
    start: Floats = np.asarray(number * BIN_M, np.float64)
    return Levels(start, series, net, sigma, penalty, change_points(series, LEAST_BINS, penalty))


def _medians(values: Floats, first: NDArray[np.int64]) -> Floats:
    """Median of each run of values that begins at `first`."""
    width = int(np.diff(np.append(first, len(values))).max())
    count = np.diff(np.append(first, len(values)))
    column = np.arange(width)
    at = np.minimum(first[:, None] + column, len(values) - 1)
    filled = np.sort(np.where(column < count[:, None], values[at], np.inf), axis=1)
    each = np.arange(len(first))
    median: Floats = (filled[each, (count - 1) // 2] + filled[each, count // 2]) / 2
    return median


def snap(
    profile: Profile, from_m: float, to_m: float, settings: FindingSettings, most_m: float = SNAP_M
) -> tuple[float, float]:
    """The bounds moved to the change points of FPI that are nearest to each [m], if within most_m; else as given."""
    found = levels(profile, settings)
    if found is None or not len(found.changes):
        return from_m, to_m
    places = found.start_m[found.changes]
    ends = [float(places[np.argmin(np.abs(places - end))]) for end in (from_m, to_m)]
    low, high = (
        new if abs(new - old) <= most_m else old for new, old in zip(ends, (from_m, to_m), strict=True)
    )
    return (low, high) if low < high else (from_m, to_m)


def steps(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """Lasting changes of the level of FPI, along position."""
    if not len(profile.rows):
        return []
    found = levels(profile, settings)
    if found is None:
        return []
    lasting = _lasting(found, settings)
    findings = [_finding(profile, found, at, settings) for at in lasting]
    return [finding for finding in findings if finding is not None]


def _lasting(found: Levels, settings: FindingSettings) -> list[int]:
    """Changes (their number) between levels that last: of those of one direction within step_least_m the greatest."""
    chosen: list[int] = []
    sizes = {i: _size(found, i, settings) for i in range(len(found.changes))}
    least_bins = settings.step_least_m / BIN_M
    for i in sorted(sizes, key=lambda i: -abs(sizes[i])):
        at = found.changes[i]
        near = [j for j in chosen if abs(found.changes[j] - at) < least_bins]
        if abs(sizes[i]) >= np.log(settings.step_ratio) and not near:
            chosen.append(i)
    return sorted(chosen)


def _size(found: Levels, i: int, settings: FindingSettings) -> float:
    """Log of the level after over that before a change; 0 where there is too little ground, or where its own two
    segments do not show half of it."""
    at, start = found.changes[i], found.start_m
    least = settings.step_least_m
    if start[at] - start[0] < least or start[-1] + BIN_M - start[at] < least:
        return 0.0
    before = found.logs[_window(start, start[at] - settings.step_window_m, start[at])]
    after = found.logs[_window(start, start[at], start[at] + settings.step_window_m)]
    size = float(np.median(after) - np.median(before))
    edges = [0, *found.changes.tolist(), len(found.logs)]
    own = float(np.mean(found.logs[at : edges[i + 2]]) - np.mean(found.logs[edges[i] : at]))
    return size if own * size > 0 and abs(own) >= abs(size) / 2 else 0.0


def _window(start_m: Floats, low: float, high: float) -> slice:
    return slice(*np.searchsorted(start_m, (low - 1e-9, high - 1e-9)).tolist())


def _finding(profile: Profile, found: Levels, i: int, settings: FindingSettings) -> Finding | None:
    """The step; None where load alone explains it."""
    at, edges = int(found.changes[i]), [0, *found.changes.tolist(), len(found.logs)]
    first, last = interval(found.logs, at, (edges[i], edges[i + 2]), found.sigma)
    place = float(found.start_m[at])
    low, high = float(found.start_m[first]) - BIN_M / 2, float(found.start_m[last]) + BIN_M / 2
    size, window_m = _size(found, i, settings), settings.step_window_m
    before, after = (
        _typical(profile, found, ends) for ends in ((place - window_m, place), (place, place + window_m))
    )
    figures = {
        **after,
        **{f"baseline_{name}": value for name, value in before.items()},
        "ratio": float(np.exp(size)),
        "robust_deviations": abs(size) / found.sigma,
        "step_at_m": place,
        "step_from_m": low,
        "step_to_m": high,
        "noise_of_log": found.sigma,
        "penalty": found.penalty,
    }
    load = by_load(
        (figures["disc_load_kN"], figures["penetration_mm_rev"]),
        (figures["baseline_disc_load_kN"], figures["baseline_penetration_mm_rev"]),
        settings,
    )
    if load is not None and load.explains(figures["ratio"], settings.curve_tolerance):
        return None
    beyond = size if load is None else float(np.log(load.left_over(figures["ratio"])))
    near = profile.rows.rows(_rows(profile, (low, high)))
    if not len(near):
        return None
    return Finding(
        kind=KIND,
        position_from_m=low,
        position_to_m=high,
        start_us=int(near["start_us"].min()),
        end_us=int(near["end_us"].max()),
        strength=abs(beyond) / found.sigma,
        evidence=_evidence(profile, found.net, figures, "" if load is None else load.words(), settings),
        figures={name: number for name, number in figures.items() if np.isfinite(number)},
    )


def _rows(profile: Profile, ends: tuple[float, float]) -> Flags:
    mask = np.zeros(len(profile.rows), bool)
    mask[slice(*np.searchsorted(middle_m(profile), ends).tolist())] = True
    return mask


def _typical(profile: Profile, found: Levels, ends: tuple[float, float]) -> dict[str, float]:
    """Median FPI, penetration and disc load of a stretch: what a short zone in it does not move."""
    part = slice(*np.searchsorted(middle_m(profile), ends).tolist())
    rows = profile.rows
    load = rows["net_disc_load_kN" if found.net else "disc_load_kN"][part]
    return {
        "fpi_kN_per_mm_rev": float(np.exp(np.median(found.logs[_window(found.start_m, *ends)]))),
        "penetration_mm_rev": float(np.nanmedian(rows["penetration_mm_rev"][part])),
        "disc_load_kN": float(np.nanmedian(load)),
    }


def _evidence(
    profile: Profile, net: bool, figures: dict[str, float], load: str, settings: FindingSettings
) -> str:
    name = "Net FPI" if net else "Gross FPI"
    way = "falls" if figures["ratio"] < 1 else "rises"
    low, high = (at_chainage(profile.axis, figures[f"step_{end}_m"]) for end in ("from", "to"))
    return " ".join(
        part
        for part in (
            f"{name} {way} to {figures['ratio']:.2f} times at {at_chainage(profile.axis, figures['step_at_m'])} "
            f"(between {low} and {high}) and stays there: {figures['fpi_kN_per_mm_rev']:.1f} kN/(mm/rev) behind it "
            f"against {figures['baseline_fpi_kN_per_mm_rev']:.1f} before it, over {settings.step_window_m:g} m on "
            f"either side; half metres scatter by {100 * figures['noise_of_log']:.0f} %.",
            f"Penetration {against(figures, 'penetration_mm_rev', 'mm/rev')}, disc load "
            f"{against(figures, 'disc_load_kN', 'kN', 0)}.",
            load,
            f"{NO_CAUSE} Compare with the face map and with the rock that was predicted here.",
        )
        if part
    )


STEPS = Detector(
    "Steps in FPI",
    (KIND,),
    "penalised change points of log net FPI by half metre (gross where drag is not known), and the medians on either "
    "side, less what a change of load alone does",
    (
        "step_ratio",
        "step_penalty",
        "step_window_m",
        "step_least_m",
        "curve_least_exponent",
        "curve_greatest_exponent",
        "curve_least_load_ratio",
        "curve_tolerance",
    ),
    steps,
)
