"""What the detectors find in invented drives whose faults are known, and what they say of drives that have none.

    python -m tests.bench.study_findings [--seeds tune|report] [--kinds WORD ...] [--list] [--jobs N]

Thirty drives of 240 to 320 m with weak zones and hard bands of 3 to 40 m, changes of rock, blocky and massive ground,
held shields, stretches on the ring, lost bracing, water, muck and sensors that fail; ten without any of these, but
with thrust and head speed set anew, discs changed, curves and restarts, as the others have too. Thresholds are tuned
on one set of seeds and reported on another. Each drive is taken in as a user would, once (a few minutes; kept in the
folder for temporary files); a second run only detects. --list names what was missed and what was said of nothing.

Goals: weak zones a bore diameter or longer with a contrast of 40 % or more in net FPI recall 0.95, precision 0.9,
boundaries 1.5 m in the median and 6.4 m at the ninth decile; shorter ones recall 0.7; at most one false ground finding
in 500 m of quiet drive; sensor faults recall 0.98; a held shield found within two strokes of its onset.
"""

import argparse
from collections import defaultdict
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from tbmreview.domain.findings import Finding
from tbmreview.drive.detect import profile_of
from tbmreview.drive.opened import Drive, open_drive
from tbmreview.findings import DETECTORS
from tbmreview.findings.detector import DISCS, FAMILIES, Flags, Profile
from tests.support import finding_scores as scores
from tests.support.finding_scores import FAMILY, Calls, Tally
from tests.support.invented_ground import HELD
from tests.support.study_drives import Case, Truth, case

FAULTY, QUIET = 30, 10
SEEDS = {"tune": 0, "report": 1000}
MOST_STROKES = 8
CLAIM = "Recall on invented drives is no claim about real ground."


@dataclass
class Seen:
    """What one drive, or all of them, showed."""

    tallies: dict[str, Tally] = field(default_factory=lambda: defaultdict(Tally))
    calls: dict[str, Calls] = field(default_factory=lambda: defaultdict(Calls))
    quiet_m: float = 0.0
    quiet_groups: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    groups: dict[str, list[int]] = field(default_factory=lambda: defaultdict(lambda: [0, 0]))
    lines: list[str] = field(default_factory=list)


def study_one(which: tuple[int, bool]) -> Seen:
    """Detect in one drive and hold it against what is so."""
    one = case(*which)
    _with_defaults_of_now(one)
    drive = open_drive(one.folder)
    found = drive.findings
    seen = Seen()
    if one.quiet:
        _quiet(seen, one, found)
    else:
        _faulty(seen, one, drive, found)
    return _plain(seen)


def _with_defaults_of_now(one: Case) -> None:
    """A drive's setup states every threshold as it was when the drive was made; the study is of those of now."""
    stated, given = one.folder / "drive.toml", one.folder.parent / "drive.toml"
    if stated.read_text("utf-8") != (text := given.read_text("utf-8")):
        stated.write_text(text, encoding="utf-8")


def _quiet(seen: Seen, one: Case, found: Sequence[Finding]) -> None:
    seen.quiet_m = one.length_m
    for finding in found:
        seen.calls[finding.kind].quiet += 1
        seen.lines.append(f"{one.name}: of nothing: {_said(finding)}")
    for family in FAMILIES:
        seen.quiet_groups[family] = len(scores.groups_of(found, family))


def _faulty(seen: Seen, one: Case, drive: Drive, found: Sequence[Finding]) -> None:
    first_us = (drive.time_span_us or (0, 0))[0]
    shown = [truth for truth in one.truths if scores.can_be_seen(truth, first_us)]
    truths = scores.placed(shown, *_course(drive))
    for truth in truths:
        name = scores.classes_of(truth, one)
        if name:
            _sought(seen.tallies[name], truth, scores.finds(truth, found), (seen.lines, one))
        if truth.kind == HELD:
            seen.tallies[name].strokes.append(_strokes_to_finding(drive, truth))
    told = [f for f in found if FAMILY[f.kind] != DISCS]  # wear is everywhere; it is no event
    for finding in told:
        verdict = scores.speaks(finding, truths)
        calls = seen.calls[finding.kind]
        setattr(calls, verdict, getattr(calls, verdict) + 1)
        if verdict != "right":
            seen.lines.append(f"{one.name}: {verdict}: {_said(finding)}")
    for family in FAMILIES:
        for group in scores.groups_of(told, family):
            seen.groups[family][0] += 1
            seen.groups[family][1] += any(scores.speaks(f, truths) == "right" for f in group)


def _sought(tally: Tally, truth: Truth, hits: Sequence[Finding], told: tuple[list[str], Case]) -> None:
    """One truth; what the import asked about a channel counts as found."""
    lines, one = told
    asked = truth.kind in scores.SENSORS and truth.channel != "" and truth.channel in one.asked
    tally.there += 1
    tally.found += bool(hits) or asked
    if hits and truth.kind not in scores.SENSORS:
        tally.edges_m += scores.edges(truth, hits)
    if not hits and not asked:
        lines.append(f"{one.name}: missed: {_is(truth)}")


def _course(drive: Drive) -> tuple[np.ndarray, np.ndarray]:
    """(instants, positions of the face), both rising, from the ends of the cells."""
    cells = drive.cells
    time_us = np.r_[cells["start_us"], cells["end_us"]]
    place = np.r_[cells["position_from_m"], cells["position_to_m"]]
    order = np.lexsort((place, time_us))
    return time_us[order], np.maximum.accumulate(place[order])


def _strokes_to_finding(drive: Drive, truth: Truth) -> float:
    """Strokes from the onset after which the log alone, up to there, shows a held shield; NaN: none within some."""
    whole, settings = profile_of(drive), drive.setup.findings
    detectors = [d for d in DETECTORS if any("held" in kind for kind in d.kinds)]
    table = drive.strokes
    onset = int(np.argmin(np.abs(table["position_from_m"] - truth.from_m)))
    for strokes in range(1, MOST_STROKES + 1):
        end = int(table["stroke_start_us"][min(onset + strokes, len(table) - 1)])
        part = until(whole, end)
        found = [f for d in detectors for f in d.function(part, settings)]
        if any("held" in f.kind and f.position_to_m > truth.from_m - 0.5 for f in found):
            return float(strokes)
    return float("nan")


def until(profile: Profile, end_us: int) -> Profile:
    """What a log that ends at an instant shows of a profile."""
    rows = np.flatnonzero(profile.rows["end_us"] <= end_us)

    def over(mask: Flags) -> Mapping[str, float]:
        whole = np.zeros(len(profile.rows), bool)
        whole[rows[mask]] = True
        return profile.over(whole)

    return replace(
        profile,
        rows=profile.rows.rows(rows),
        over=over,
        strokes=profile.strokes.rows(profile.strokes["stroke_end_us"] <= end_us),
        periods=profile.periods.rows(profile.periods["end_us"] <= end_us),
    )


def _is(truth: Truth) -> str:
    hours = (truth.end_us - truth.start_us) / 3.6e9
    contrast = "" if np.isnan(truth.contrast) else f", FPI x {truth.contrast:.2f}"
    return f"{truth.kind} {truth.channel} {truth.from_m:.1f} to {truth.to_m:.1f} m{contrast}, {hours:.1f} h"


def _said(finding: Finding) -> str:
    return f"{finding.kind} {finding.position_from_m:.1f} to {finding.position_to_m:.1f} m, {finding.strength:.1f}"


def _plain(seen: Seen) -> Seen:
    """Without the defaults that do not go from process to process."""
    return Seen(
        dict(seen.tallies),
        dict(seen.calls),
        seen.quiet_m,
        dict(seen.quiet_groups),
        dict(seen.groups),
        seen.lines,
    )


def together(parts: Sequence[Seen]) -> Seen:
    """The sum of what the drives showed."""
    out = Seen()
    for part in parts:
        out.quiet_m += part.quiet_m
        out.lines += part.lines
        for name, tally in part.tallies.items():
            of = out.tallies[name]
            of.there += tally.there
            of.found += tally.found
            of.edges_m += tally.edges_m
            of.strokes += tally.strokes
        for kind, calls in part.calls.items():
            for verdict in ("right", "other", "wrong", "quiet"):
                setattr(out.calls[kind], verdict, getattr(out.calls[kind], verdict) + getattr(calls, verdict))
        for family, count in part.quiet_groups.items():
            out.quiet_groups[family] += count
        for family, (said, right) in part.groups.items():
            out.groups[family][0] += said
            out.groups[family][1] += right
    return out


def truths_table(seen: Seen, words: Sequence[str]) -> list[str]:
    """Recall by what is so."""
    lines = [
        "| what is so | there | found | recall | boundary, median m | ninth decile m | strokes to finding |"
    ]
    lines.append("|---|---|---|---|---|---|---|")
    for name in sorted(seen.tallies):
        t = seen.tallies[name]
        if words and not any(word in name for word in words):
            continue
        median, decile = np.quantile(t.edges_m, (0.5, 0.9)) if t.edges_m else (np.nan, np.nan)
        strokes = ""
        if t.strokes:
            late = np.nan_to_num(np.array(t.strokes), nan=np.inf)
            strokes = f"{np.mean(late <= 2):.2f} within 2; at most {late.max():g}"
        lines.append(
            f"| {name} | {t.there} | {t.found} | {t.found / t.there:.2f} | {_m(median)} | {_m(decile)} | {strokes} |"
        )
    return lines


def calls_table(seen: Seen, words: Sequence[str]) -> list[str]:
    """Precision by what is said. One that lies over another fault alone (a sensor's, a held shield) counts as wrong."""
    lines = [
        "| what is said | findings | right | precision | of them over another fault | in 500 m of quiet drive |"
    ]
    lines.append("|---|---|---|---|---|---|")
    for kind in sorted(seen.calls, key=lambda kind: (FAMILIES.index(FAMILY[kind]), kind)):
        c = seen.calls[kind]
        if words and not any(word in kind for word in words):
            continue
        said = c.right + c.other + c.wrong
        lines.append(
            f"| {kind} | {said} | {c.right} | {_share(c.right, said)} | {c.other} | {500 * c.quiet / max(seen.quiet_m, 1):.2f} |"
        )
    for family in FAMILIES:
        said, right = seen.groups[family]
        quiet = 500 * seen.quiet_groups[family] / max(seen.quiet_m, 1)
        if said or quiet:
            lines.append(f"| {family}, grouped | {said} | {right} | {_share(right, said)} | | {quiet:.2f} |")
    return lines


def _m(value: float) -> str:
    return "" if np.isnan(value) else f"{value:.1f}"


def _share(part: int, whole: int) -> str:
    return f"{part / whole:.2f}" if whole else ""


def main() -> None:
    """Run the study and print its tables."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.study_findings")
    parser.add_argument("--seeds", choices=tuple(SEEDS), default="tune")
    parser.add_argument("--kinds", nargs="*", default=[], help="words of the rows to show")
    parser.add_argument(
        "--list", action="store_true", help="name what was missed and what was said of nothing"
    )
    parser.add_argument("--jobs", type=int, default=1)
    given = parser.parse_args()
    first = SEEDS[given.seeds]
    which = [(first + i, False) for i in range(FAULTY)] + [(first + i, True) for i in range(QUIET)]
    if given.jobs > 1:
        with ProcessPoolExecutor(given.jobs) as pool:
            parts = list(pool.map(study_one, which))
    else:
        parts = [study_one(one) for one in which]
    seen = together(parts)
    shown = partial(filter, lambda line: not given.kinds or any(word in line for word in given.kinds))
    if given.list:
        print("\n".join(shown(seen.lines)), end="\n\n")
    print("\n".join([*truths_table(seen, given.kinds), "", *calls_table(seen, given.kinds), ""]))
    print(
        f"{FAULTY} drives with faults, {seen.quiet_m:.0f} m in {QUIET} without, seeds to {given.seeds}. {CLAIM}"
    )


if __name__ == "__main__":
    main()
