"""Discs: FPI that creeps up with rolling distance in unchanged ground, and discs over their distance."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.domain.site import DISC_CHANGES
from tbmreview.domain.states import REACTION_LABELS, Reaction
from tbmreview.domain.station import format_chainage
from tbmreview.domain.table import Table
from tbmreview.findings.beside import LEAST_ADVANCE_M, middle_m
from tbmreview.findings.detector import DISCS, Detector, Flags, Floats, Profile
from tbmreview.findings.levels import GROSS, NET
from tbmreview.findings.moments import moment
from tbmreview.findings.words import at_chainage, stretch

CREEP, OVER = "FPI creeping up", "disc over its distance"
MOST_NAMED = 6  # discs in one sentence
LEAST_ROWS = 5  # of a stroke, that make its median
STATED = "drive.toml"  # a distance that half of the discs outlast by its making is no limit

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class _Strokes:
    """Strokes of one reaction in one ground between two changes, (n,) each: median log FPI, rolling distance of the
    mean disc [km], first and last row."""

    logs: Floats
    km: Floats
    rows: Ints

    def __len__(self) -> int:
        return len(self.logs)


def creeping(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """FPI against rolling distance from one change of discs to the next, within one mapped ground; where none is mapped,
    nobody says that the ground is unchanged."""
    rows = profile.rows
    changes = profile.site.get(DISC_CHANGES)
    if not len(rows) or changes is None or not len(changes) or not len(profile.strokes):
        return []
    net = np.isfinite(rows[NET]).mean() > 0.5
    value = rows[NET] if net else rows[GROSS]
    good = np.isfinite(value) & (value > 0) & (rows["advance_m"] >= LEAST_ADVANCE_M)
    km = _rolling_km(profile)
    moments = np.unique(changes["time_us"])
    campaign = np.searchsorted(moments, rows["start_us"], side="right")
    ground = _ground(profile)
    found: list[Finding] = []
    for number in np.unique(campaign[good]).tolist():
        for code in np.unique(ground[good & (campaign == number) & (ground >= 0)]).tolist():
            use = good & (campaign == number) & (ground == code)
            reaction, use = _most(rows, use)
            strokes = _by_stroke(profile, use, np.log(np.where(good, value, 1.0)), km)
            trend = _trend(strokes, settings)
            if trend is not None:
                since = int(moments[number - 1]) if number else None
                found.append(_creep(profile, strokes, trend, (since, reaction, code, bool(net))))
    return found


def _rolling_km(profile: Profile) -> Floats:
    """Rolling distance of the mean disc up to each row (n,) [km]; without radii, of evenly spaced tracks."""
    rows, machine = profile.rows, profile.machine
    radii = machine.disc_radii_m if machine is not None else ()
    bore = machine.bore_diameter_m if machine is not None else np.nan
    radius = float(np.mean(radii)) if radii else bore / 4
    with np.errstate(divide="ignore", invalid="ignore"):
        turns = 1000 * rows["advance_m"] / rows["penetration_mm_rev"]
    turns = np.where(np.isfinite(turns), turns, 0.0)
    km = np.zeros(len(rows))
    order = np.argsort(rows["start_us"], kind="stable")
    km[order] = 2 * np.pi * radius * np.cumsum(turns[order]) / 1000
    return km


def _ground(profile: Profile) -> Ints:
    """Number of the mapped interval of each row, -1 where none is mapped, (n,)."""
    ground, rows = profile.ground, profile.rows
    if not len(ground):
        return np.full(len(rows), -1, np.int64)
    order = np.argsort(ground["position_from_m"], kind="stable")
    middle = middle_m(profile)
    at = np.searchsorted(ground["position_from_m"][order], middle, side="right") - 1
    inside = (at >= 0) & (middle < ground["position_to_m"][order][np.maximum(at, 0)])
    return np.where(inside, order[np.maximum(at, 0)], -1)


def _most(rows: Table, use: Flags) -> tuple[int, Flags]:
    """(the reaction of most of the advance, the rows in use that have it)."""
    advance = np.bincount(rows["reaction"][use].astype(np.int64), rows["advance_m"][use])
    reaction = int(np.argmax(advance))
    return reaction, use & (rows["reaction"] == reaction)


def _by_stroke(profile: Profile, use: Flags, logs: Floats, km: Floats) -> _Strokes:
    at = np.flatnonzero(use)
    at = at[np.argsort(profile.rows["start_us"][at], kind="stable")]
    starts = np.sort(profile.strokes["stroke_start_us"])
    stroke = np.searchsorted(starts, profile.rows["start_us"][at], side="right")
    edges = np.r_[0, np.flatnonzero(np.diff(stroke)) + 1, len(at)]
    parts = [
        at[i:j] for i, j in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True) if j - i >= LEAST_ROWS
    ]
    return _Strokes(
        np.array([np.median(logs[part]) for part in parts]),
        np.array([np.median(km[part]) for part in parts]),
        np.array([(part[0], part[-1]) for part in parts], np.int64).reshape(-1, 2),
    )


def _trend(strokes: _Strokes, settings: FindingSettings) -> tuple[float, float, float] | None:
    """(slope of log FPI a km, rise over the strokes, Mann-Kendall score); None where it is none, or a step is nearer."""
    if len(strokes) < settings.discs_least_strokes:
        return None
    slope, score = robust_slope(strokes.km, strokes.logs)
    rise = float(np.expm1(slope * (strokes.km[-1] - strokes.km[0])))
    if rise < settings.discs_creep_percent / 100 or score < settings.discs_score:
        return None
    line = slope * (strokes.km - np.median(strokes.km))
    off_line = strokes.logs - line
    thirds = [float(np.median(part)) for part in np.array_split(strokes.logs, 3)]
    if not thirds[0] < thirds[1] < thirds[2]:
        return None
    return None if _step_is_nearer(strokes.logs, off_line) else (slope, rise, score)


def robust_slope(x: Floats, y: Floats) -> tuple[float, float]:
    """(slope of Theil and Sen: the median of those of all pairs, Mann-Kendall score in standard deviations), x rising."""
    i, j = np.triu_indices(len(x), 1)
    apart = x[j] > x[i]
    slopes = (y[j] - y[i])[apart] / (x[j] - x[i])[apart]
    n = len(x)
    signs = float(np.sign(y[j] - y[i]).sum())
    deviation = np.sqrt(n * (n - 1) * (2 * n + 5) / 18)
    return float(np.median(slopes)), signs / float(deviation)


def _step_is_nearer(logs: Floats, off_line: Floats) -> bool:
    """Whether two levels leave less than a line does: ground that changed, not discs that wear."""
    least = min(
        float(np.abs(part - np.median(part)).sum() + np.abs(rest - np.median(rest)).sum())
        for part, rest in ((logs[:k], logs[k:]) for k in range(3, len(logs) - 2))
    )
    return least < float(np.abs(off_line - np.median(off_line)).sum())


def _creep(
    profile: Profile,
    strokes: _Strokes,
    trend: tuple[float, float, float],
    of: tuple[int | None, int, int, bool],
) -> Finding:
    (slope, rise, score), (since, reaction, ground, net) = trend, of
    rows = profile.rows
    first, last = int(strokes.rows[0, 0]), int(strokes.rows[-1, 1])
    low, high = float(rows["position_from_m"][first]), float(rows["position_to_m"][last])
    middle = float(np.median(strokes.logs - slope * strokes.km))
    ends = [float(np.exp(middle + slope * km)) for km in (strokes.km[0], strokes.km[-1])]
    way = float(strokes.km[-1] - strokes.km[0])
    begin = "the record's start" if since is None else f"the disc change of {moment(profile, since)}"
    rock = profile.ground["rock"][ground]
    text = (
        f"{'Net' if net else 'Gross'} FPI rose by {100 * rise:.0f} % since {begin}, {stretch(profile.axis, low, high)}: from "
        f"{ends[0]:.1f} to {ends[1]:.1f} kN/(mm/rev) along a robust line over {len(strokes)} strokes and {way:.0f} km of the "
        f"mean disc (Mann-Kendall score {score:.1f}), in mapped {rock}, reaction {REACTION_LABELS[Reaction(reaction)]}. Discs that "
        "wear do so, and so does ground that slowly gets harder to bore: have the discs measured at the next stop that the "
        "site's permit allows."
    )
    figures = {
        "rise_pct": 100 * rise, "first_fpi_kN_per_mm_rev": ends[0], "last_fpi_kN_per_mm_rev": ends[1],
        "rolling_km": way, "strokes": float(len(strokes)), "mann_kendall_score": score,
    }  # fmt: skip
    span = int(rows["start_us"][first]), int(rows["end_us"][last])
    return Finding(CREEP, low, high, *span, score, text, figures)


# --- over their distance ------------------------------------------------------------------------


def over_distance(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """The discs that are in and have done their stated distance, in one finding: from where the one that has done most
    of its own came in to the end of the drive."""
    worn = profile.worn
    if not len(worn) or not len(profile.rows):
        return []
    stated = np.array([source.startswith(STATED) for source in worn["limit_source"].tolist()], bool)
    at = np.flatnonzero(stated & (worn["used_share"] >= settings.discs_used_share))
    if not len(at):
        return []
    at = at[np.argsort(-worn["used_share"][at], kind="stable")]
    place, end = float(profile.rows["position_to_m"].max()), int(profile.rows["end_us"].max())
    most = float(worn["used_share"][at[0]])
    text = (
        f"{len(at)} {'disc has' if len(at) == 1 else 'discs have'} done {100 * settings.discs_used_share:.0f} % or more of "
        f"the rolling distance at which they are due, at {at_chainage(profile.axis, place)} on {moment(profile, end)}: "
        f"{'; '.join(_discs(worn, at))}. Distance alone says nothing of a disc that is chipped or blocked: have "
        "them measured at the next stop that the site's permit allows."
    )
    figures = {"discs": float(len(at)), "most_used_share": most}
    since = int(worn["installed_utc"][at[0]])
    start = max(since, int(profile.rows["start_us"].min()))
    low = float(profile.position_at(np.array([start], np.int64))[0])
    return [Finding(OVER, min(low, place), place, start, end, most, text, figures)]


def _discs(worn: Table, at: Ints) -> Iterator[str]:
    for i in at[:MOST_NAMED].tolist():
        yield (
            f"disc {worn['disc'][i]:.0f} {worn['rolling_km'][i]:.0f} km of {worn['limit_km'][i]:.0f} km, in since "
            f"{format_chainage(float(worn['installed_chainage_m'][i]), 1) or 'the start of the record'}"
        )
    if len(at) > MOST_NAMED:
        yield f"{len(at) - MOST_NAMED} more"


DISCS_CREEP = Detector(
    "FPI with rolling distance",
    (CREEP,),
    "robust slope of log FPI by stroke over the rolling distance of the mean disc, from one stated change of discs to the "
    "next, within one mapped ground and one reaction; none where two levels fit better than a line",
    ("discs_creep_percent", "discs_score", "discs_least_strokes"),
    creeping,
    DISCS,
)
DISCS_OVER = Detector(
    "rolling distance of discs",
    (OVER,),
    "rolling distance of each disc since it came in against the distance that the setup states, or its wear limit at the "
    "wear rate of this drive",
    ("discs_used_share",),
    over_distance,
    DISCS,
)
