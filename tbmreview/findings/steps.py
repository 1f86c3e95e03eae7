"""Steps of level of FPI: where ground begins that stays so."""

import numpy as np

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.findings.beside import middle_m
from tbmreview.findings.change_points import interval
from tbmreview.findings.detector import OF_LOAD, Detector, Flags, Profile
from tbmreview.findings.levels import BIN_M, Levels, fpi_levels, stretch_of
from tbmreview.findings.load_curve import by_load_of
from tbmreview.findings.of_rows import known
from tbmreview.findings.words import NO_CAUSE, against, at_chainage

KIND = "step in FPI"


def steps(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """Lasting changes of the level of FPI, along position."""
    if not len(profile.rows):
        return []
    found = fpi_levels(profile, settings)
    if found is None:
        return []
    lasting = _lasting(found, settings)
    findings = [_finding(profile, found, at, settings) for at in lasting]
    return [finding for finding in findings if finding is not None]


def _lasting(found: Levels, settings: FindingSettings) -> list[int]:
    """Changes (their number) between levels that last and differ by settings.step_ratio."""
    least = np.log(settings.step_ratio)
    return [i for i in range(len(found.changes)) if abs(_size(found, i, settings)) >= least]


def _size(found: Levels, i: int, settings: FindingSettings) -> float:
    """Log of the level after over that before a change; 0 where there is too little ground, or where its own two
    segments do not show half of it: of several changes of one direction only one does."""
    at, start = found.changes[i], found.start_m
    least = settings.step_least_m
    if start[at] - start[0] < least or start[-1] + BIN_M - start[at] < least:
        return 0.0
    before = found.logs[stretch_of(start, start[at] - settings.step_window_m, start[at])]
    after = found.logs[stretch_of(start, start[at], start[at] + settings.step_window_m)]
    size = float(np.median(after) - np.median(before))
    edges = [0, *found.changes.tolist(), len(found.logs)]
    own = float(np.mean(found.logs[at : edges[i + 2]]) - np.mean(found.logs[edges[i] : at]))
    return size if own * size > 0 and abs(own) >= abs(size) / 2 else 0.0


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
    load = by_load_of(figures, settings)
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
        figures=known(figures),
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
        "fpi_kN_per_mm_rev": float(np.exp(np.median(found.logs[stretch_of(found.start_m, *ends)]))),
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
            f"(between {low} and {high}) and stays there: {figures['fpi_kN_per_mm_rev']:.1f} kN/(mm/rev) after it "
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
    channels=OF_LOAD,
)
