"""Acts on marks: draw, change, withdraw, split, merge, undo, redo. Each is one transaction; nothing is removed."""

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from tbmreview.domain.errors import DriveError, Overtaken, UsageError
from tbmreview.domain.marks import CONFIDENCES, MARK_KINDS, Act, Mark
from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.station import format_chainage
from tbmreview.domain.table import Table
from tbmreview.drive.alignment import Alignment, alignment_of
from tbmreview.drive.delays import texts
from tbmreview.drive.detect import profile_of
from tbmreview.drive.history import person
from tbmreview.drive.judge import normal, one_line
from tbmreview.drive.marks_table import axis_angle_deg
from tbmreview.drive.opened import Drive
from tbmreview.drive.photos import photo_file
from tbmreview.store import judged
from tbmreview.store.writing import Writing, writing

DRAWN, CHANGED, WITHDRAWN, SPLIT, MERGED, UNDONE, REDONE = (
    "drawn", "changed", "withdrawn", "split", "merged", "undone", "done again"
)  # fmt: skip
NEAR_M = 0.5  # a mark may reach so far beyond what is bored unsaid
_STAMPS = ("version", "decided_by", "decided_us")  # of a version, not of what it says
_MAY_CHANGE = tuple(f.name for f in fields(Mark) if f.name not in (*_STAMPS, "id", "withdrawn"))


def draw(drive: Drive, mark: Mark, who: str = "") -> Mark:
    """Keep a new mark; as kept, with its id. UsageError says what is wrong with it."""
    mark = checked(drive, replace(mark, id="", withdrawn=False))
    return _done(drive, Act(0, DRAWN, who), [mark])[0]


def change(
    drive: Drive,
    name: str,
    changes: Mapping[str, Any],
    seen: int | None = None,
    who: str = "",
    reason: str = "",
) -> Mark:
    """A new version of a mark. changes: fields of domain.marks.Mark. seen: the version that the person was
    looking at; Overtaken if there is another by now."""
    strange = sorted(set(changes) - set(_MAY_CHANGE))
    if strange:
        raise UsageError(f"a mark has no {', '.join(strange)} to change")
    old = known(drive, name)
    _not_crossing(drive, old, changes)
    return _done(
        drive, Act(0, CHANGED, who, 0, reason), [checked(drive, replace(old, **changes))], {old.id: seen}
    )[0]


def _not_crossing(drive: Drive, old: Mark, changes: Mapping[str, Any]) -> None:
    """An end that is moved past the other one is a slip of the hand; stating both ends says where the mark is."""
    moved = {"position_from_m", "position_to_m"} & set(changes)
    new = replace(old, **{name: changes[name] for name in moved})
    if len(moved) == 1 and new.position_from_m > new.position_to_m:
        way = "falls" if drive.axis.direction < 0 else "rises"
        raise UsageError(
            f"{old.id} runs from {span_text(drive, old)} (chainage {way} along the drive), and that end would pass the "
            "other one; state both: --from C --to C"
        )


def withdraw_mark(drive: Drive, name: str, reason: str, seen: int | None = None, who: str = "") -> Mark:
    """Take a mark back: it counts no more and stays in the drive."""
    if not reason.strip():
        raise UsageError("withdrawing a mark needs a reason: --reason TEXT")
    old = known(drive, name)
    return _done(
        drive, Act(0, WITHDRAWN, who, 0, reason.strip()), [replace(old, withdrawn=True)], {old.id: seen}
    )[0]


def split(drive: Drive, name: str, at_m: float, seen: int | None = None, who: str = "") -> tuple[Mark, ...]:
    """Two marks in the place of one, divided at a position in m; the first keeps the id."""
    old = known(drive, name)
    if not old.position_from_m < at_m < old.position_to_m:
        raise UsageError(f"{old.id} runs from {span_text(drive, old)}; it can be split between these only")
    cut = float("nan")
    first = replace(old, position_to_m=at_m, to_u95_m=cut)
    second = replace(old, position_from_m=at_m, from_u95_m=cut, id="")
    return _done(drive, Act(0, SPLIT, who), [first, second], {old.id: seen})


def merge(drive: Drive, names: Sequence[str], seen: Mapping[str, int] | None = None, who: str = "") -> Mark:
    """One mark over several and what lies between; it keeps the id, kind and planes of the first named, and has
    the findings, photos and notes of all. The others are withdrawn."""
    if len(set(names)) < 2:
        raise UsageError("merging needs two marks or more")
    olds = [known(drive, name) for name in dict.fromkeys(names)]
    low, high = min(olds, key=lambda m: m.position_from_m), max(olds, key=lambda m: m.position_to_m)
    whole = replace(
        olds[0],
        position_from_m=low.position_from_m, from_u95_m=low.from_u95_m,
        position_to_m=high.position_to_m, to_u95_m=high.to_u95_m,
        findings=_union(m.findings for m in olds), photos=_union(m.photos for m in olds),
        note="; ".join(dict.fromkeys(m.note for m in olds if m.note)),
        ground="; ".join(dict.fromkeys(m.ground for m in olds if m.ground)),
    )  # fmt: skip
    gone = [replace(m, withdrawn=True) for m in olds[1:]]
    versions: dict[str, int | None] = {m.id: (seen or {}).get(m.id) for m in olds}
    reason = f"into {olds[0].id}"
    return _done(drive, Act(0, MERGED, who, 0, reason), [whole, *gone], versions)[0]


def _union(lists: Any) -> tuple[str, ...]:
    return tuple(dict.fromkeys(one for part in lists for one in part))


# --- undo and redo -----------------------------------------------------------------------------------


def undo(drive: Drive, who: str = "") -> tuple[Act, tuple[Mark, ...]]:
    """Take back the person's last act that is in force; (that act, the marks as they are then).

    DriveError where there is none; Overtaken where another has changed one of its marks since.
    """
    return _turned(drive, who, forth=False)


def redo(drive: Drive, who: str = "") -> tuple[Act, tuple[Mark, ...]]:
    """Do again what the person took back last. See undo."""
    return _turned(drive, who, forth=True)


def stacks(acts: Sequence[Act], who: str) -> tuple[list[Act], list[Act]]:
    """(acts of a person that are in force, those taken back and not done again), the last one at the end."""
    by_number = {act.number: act for act in acts}
    done: list[Act] = []
    back: list[Act] = []
    for act in acts:
        if act.decided_by != who:
            continue
        if not act.undoes:
            done.append(act)
            back.clear()
            continue
        undone = by_number[act.undoes]
        if undone.undoes:  # it took back an undo
            origin = by_number[undone.undoes]
            back.remove(origin)
            done.append(origin)
        else:
            done.remove(undone)
            back.append(undone)
    return done, back


def _turned(drive: Drive, who: str, forth: bool) -> tuple[Act, tuple[Mark, ...]]:
    who = who.strip() or person()
    with writing(drive.folder, person()) as work:
        acts = judged.acts(work.db)
        done, back = stacks(acts, who)
        pile = back if forth else done
        if not pile:
            raise DriveError(
                f"{drive.folder}: {who} has nothing to {'do again' if forth else 'take back'} on marks"
            )
        origin = pile[-1]
        before, after = judged.marks(work.db, origin.number - 1), judged.marks(work.db, origin.number)
        now = judged.marks(work.db)
        here, there = (before, after) if forth else (after, before)
        for name in origin.marks:
            if not _alike(now[name], here.get(name)):
                raise Overtaken(_changed_since(now[name], drive))
        wanted = [
            there[name] if name in there else replace(now[name], withdrawn=True) for name in origin.marks
        ]
        undoes = max(a.number for a in acts if a.undoes == origin.number) if forth else origin.number
        act = Act(0, REDONE if forth else UNDONE, who, 0, origin.what, undoes)
        marks = judged.add_act(work, act, wanted)
        work.record(f"marks {act.what}", {"act": origin.number, "marks": list(origin.marks)})
    return origin, marks


def _alike(now: Mark, then: Mark | None) -> bool:
    """Whether two versions say the same; a mark that was not there is like one withdrawn."""
    if then is None:
        return now.withdrawn
    return _said(now) == _said(then)


def _said(mark: Mark) -> str:
    return repr([getattr(mark, f.name) for f in fields(Mark) if f.name not in _STAMPS])


# --- from a finding, and to steps of level ----------------------------------------------------------


def of_finding(drive: Drive, name: str) -> dict[str, Any]:
    """Fields of a mark that a finding proposes: its place, and itself as evidence. DriveError if there is none."""
    wanted = normal(name)
    found = next((f for f in drive.findings if f.id == wanted), None)
    if found is None:
        raise DriveError(
            f"{drive.folder}: no finding is called {name}; see: tbmreview findings {drive.folder}"
        )
    return {
        "position_from_m": found.position_from_m,
        "position_to_m": found.position_to_m,
        "findings": (found.id,),
    }


def snapped(drive: Drive, from_m: float, to_m: float) -> dict[str, float]:
    """Both ends moved to the nearest step of level in FPI, where there is one near enough [m]."""
    from tbmreview.findings.levels import snap

    low, high = sorted((from_m, to_m))
    ends = snap(profile_of(drive), low, high, drive.setup.findings)
    return dict(zip(("position_from_m", "position_to_m"), ends, strict=True))


def act_table(drive: Drive) -> Table:
    """Everything that was done to marks, the oldest first: number, what, marks, decided_by, decided_utc, reason,
    undoes (the act that it takes back)."""
    acts = drive.acts()
    return Table(
        {
            "number": np.array([a.number for a in acts], np.int64),
            "what": texts([a.what for a in acts]),
            "marks": texts([" ".join(a.marks) for a in acts]),
            "decided_by": texts([a.decided_by for a in acts]),
            "decided_utc": np.array([a.decided_us for a in acts], np.int64),
            "reason": texts([a.reason for a in acts]),
            "undoes": np.array([a.undoes or np.nan for a in acts], np.float64),
        }
    )


# --- what all acts share -----------------------------------------------------------------------------


def _done(
    drive: Drive, act: Act, versions: Sequence[Mark], seen: Mapping[str, int | None] | None = None
) -> tuple[Mark, ...]:
    """Write an act. seen: mark -> the version that the person was looking at, None: whatever there is."""
    act = replace(act, decided_by=act.decided_by.strip() or person())
    with writing(drive.folder, person()) as work:
        _not_overtaken(work, drive, seen or {})
        marks = judged.add_act(work, act, versions)
        work.record(f"marks {act.what}", {"marks": [m.id for m in marks], "by": act.decided_by})
    return marks


def _not_overtaken(work: Writing, drive: Drive, seen: Mapping[str, int | None]) -> None:
    now = judged.marks(work.db)
    for name, version in seen.items():
        if now[name].withdrawn or (version is not None and now[name].version != version):
            raise Overtaken(_changed_since(now[name], drive))


def _changed_since(now: Mark, drive: Drive) -> str:
    at = datetime.fromtimestamp(now.decided_us / MICROSECONDS, drive.setup.drive.zone)
    what = "withdrawn" if now.withdrawn else "changed"
    return (
        f"{now.id} was {what} by {now.decided_by} at {at:%Y-%m-%d %H:%M:%S}, while you looked at an older state; "
        "nothing was written, look again"
    )


def doubts(drive: Drive, mark: Mark) -> list[str]:
    """What a person should look at again, in lines: it is kept all the same."""
    said = []
    cells = drive.cells
    if len(cells):
        low, high = float(np.nanmin(cells["position_from_m"])), float(np.nanmax(cells["position_to_m"]))
        if mark.position_from_m < low - NEAR_M or mark.position_to_m > high + NEAR_M:
            whole = replace(mark, position_from_m=low, position_to_m=high)
            said.append(f"{mark.id} lies outside what is bored so far, {span_text(drive, whole)}")
    said += [
        f"{mark.id}: there is no file {path}{'' if Path(path).is_absolute() else ' in the drive folder or the current one'}"
        for path in mark.photos
        if photo_file(drive.folder, path) is None
    ]
    stated = [np.isfinite(angle) for angle in (mark.dip_deg, mark.dip_direction_deg)]
    alignment = alignment_of(drive)
    if any(stated) and np.isnan(axis_angle_deg(drive, mark, alignment)):
        said.append(f"{mark.id}: when the face met its planes is not known{_without(all(stated), alignment)}")
    return said


def _without(planes: bool, alignment: Alignment | None) -> str:
    """What is missing for it, and what to do."""
    if not planes:
        return ": dip and dip direction go together, give both"
    if alignment is None:
        return (
            " without the direction of driving; give the axis with tbmreview alignment, or [drive] azimuth_deg in "
            "drive.toml"
        )
    return ", since the alignment does not reach it; import one that does, or give [drive] azimuth_deg in drive.toml"


def between_text(olds: Sequence[Mark], whole: Mark) -> str:
    """What a merge covers that none of its marks did; '' where they touch."""
    covered, reach = 0.0, whole.position_from_m
    for one in sorted(olds, key=lambda m: m.position_from_m):
        covered += max(0.0, one.position_to_m - max(one.position_from_m, reach))
        reach = max(reach, one.position_to_m)
    gap = whole.length_m - covered
    return f"{whole.id} covers {gap:.1f} m that none of them did" if gap > NEAR_M else ""


def known(drive: Drive, name: str) -> Mark:
    """The mark of an id ('m3' too). DriveError where there is none, or it was withdrawn."""
    there = {m.id: m for m in drive.marks()}
    wanted = name.strip().upper()
    if wanted not in there:
        names = ", ".join(there) or "none"
        raise DriveError(f"{drive.folder}: no mark is called {name}; there is {names}")
    return there[wanted]


def span_text(drive: Drive, mark: Mark) -> str:
    """'4+210.50 to 4+223.00', in the order of the drive."""
    low = drive.axis.chainage_at(mark.position_from_m)
    high = drive.axis.chainage_at(mark.position_to_m, ends=True)
    return " to ".join(f"{format_chainage(float(c))} {c.side}".rstrip() for c in (low, high))


def checked(drive: Drive, mark: Mark) -> Mark:
    """The mark, its texts tidied and its bounds in order. UsageError says what is wrong with it."""
    kind = " ".join(mark.kind.replace("-", " ").replace("_", " ").split()).casefold()
    kind = "void or over-excavation" if kind == "void or over excavation" else kind
    if kind not in MARK_KINDS:
        raise UsageError(f"mark '{mark.kind}': expected one of {', '.join(MARK_KINDS)}")
    if mark.confidence not in ("", *CONFIDENCES):
        raise UsageError(f"confidence '{mark.confidence}': expected one of {', '.join(CONFIDENCES)}")
    low, high = sorted((float(mark.position_from_m), float(mark.position_to_m)))
    if not low <= high:
        raise UsageError("a mark needs both its chainages: --from C --to C")
    if low == high and kind != "change of rock":
        raise UsageError("a mark has a length; only a change of rock may be a single place")
    bounds = (
        ("half-width at the start [m]", mark.from_u95_m, 0.0, 1000.0),
        ("half-width at the end [m]", mark.to_u95_m, 0.0, 1000.0),
        ("dip [degrees]", mark.dip_deg, 0.0, 90.0),
        ("dip direction [degrees]", mark.dip_direction_deg, 0.0, 360.0),
    )
    for what, value, least, most in bounds:
        if value == value and not least <= value <= most:
            raise UsageError(f"{what} {value:g}: expected {least:g} to {most:g}")
    findings = tuple(dict.fromkeys(normal(name) for name in mark.findings))
    there = {f.id for f in (*drive.findings, *drive.stored_findings(gone=True))} if findings else set()
    strange = [name for name in findings if name not in there]
    if strange:
        raise UsageError(f"no finding is called {', '.join(strange)}; see: tbmreview findings {drive.folder}")
    return replace(
        mark, kind=kind, position_from_m=low, position_to_m=high, findings=findings,
        note=one_line(mark.note), ground=one_line(mark.ground),
    )  # fmt: skip
