"""What people decide: verdicts on findings, marks, sign-offs; and the axis in space that marks are exported on."""

import argparse
import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tbmreview.commands.arguments import (
    Commands,
    chainage,
    command,
    drive_argument,
    opened,
    out_argument,
    put,
    stretch_arguments,
)
from tbmreview.domain.errors import UsageError
from tbmreview.domain.findings import VERDICTS
from tbmreview.domain.marks import CONFIDENCES, MARK_KINDS

if TYPE_CHECKING:
    from tbmreview.domain.marks import Mark
    from tbmreview.drive.opened import Drive


def _person(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--person", metavar="NAME", default="", help="who decides; by default you")


# --- verdicts ---------------------------------------------------------------------------------------


def define_verdict(commands: Commands) -> None:
    parser = command(
        commands,
        run_verdict,
        "judge findings; without FINDING: every verdict that was given",
        "east-drive F004 F007 --as 'set aside' --note 'thrust was lowered for a disc change'",
    )
    drive_argument(parser)
    parser.add_argument("findings", metavar="FINDING", nargs="*", help="F004, as tbmreview findings names it")
    parser.add_argument("--as", dest="verdict", metavar="VERDICT", help=", ".join(VERDICTS))
    parser.add_argument("--note", metavar="TEXT", default="", help="why; required for one set aside")
    _person(parser)
    out_argument(parser)


def run_verdict(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.judge import judge, verdict_table

    drive = opened(arguments)
    if not arguments.findings:
        if arguments.verdict:
            raise UsageError("--as says how findings are judged; name the findings")
        return put(drive, verdict_table(drive), arguments.out)
    if arguments.verdict is None:
        raise UsageError(f"say how they are judged: --as {' | '.join(VERDICTS)}")
    before = {f.id: f for f in (*drive.stored_findings(), *drive.stored_findings(gone=True))}
    for one in judge(drive, arguments.findings, arguments.verdict, arguments.note, arguments.person):
        old = before.get(one.id)
        was = f" (was {old.verdict}, {old.decided_by})" if old is not None and old.decided_by else ""
        print(f"{one.id} {one.kind}: {one.verdict}, {one.decided_by}{was}")
    return 0


# --- marks ------------------------------------------------------------------------------------------


def define_marks(commands: Commands) -> None:
    parser = command(
        commands,
        run_marks,
        "the marks that people drew, and what they hold",
        "east-drive --out marks.geojson",
    )
    drive_argument(parser)
    instead = parser.add_mutually_exclusive_group()
    instead.add_argument(
        "--contrast",
        action="store_true",
        help="instead: each indicator inside against the ground on either side",
    )
    instead.add_argument(
        "--against",
        choices=("mapped", "predicted"),
        help="instead: marks against the zones of a ground table: matched, not marked, not in the table; shifts",
    )
    instead.add_argument("--acts", action="store_true", help="instead: everything that was done to marks")
    instead.add_argument("--withdrawn", action="store_true", help="with the marks that were taken back")
    parser.add_argument("--name", help="name of the prediction; by default the last one imported")
    parser.add_argument(
        "--beside", metavar="M", type=float, default=20.0, help="ground on either side, m; default 20"
    )
    parser.add_argument(
        "--out",
        metavar="FILE",
        type=Path,
        help=".csv, .parquet, .xlsx or .geojson; without it, text",
    )


def run_marks(arguments: argparse.Namespace) -> int:
    from tbmreview.drive import mark_contrast, mark_match, marks, marks_table

    if not 0 < arguments.beside <= 1000:
        raise UsageError(f"--beside {arguments.beside:g}: expected metres, over 0 to 1000")
    drive = opened(arguments)
    out: Path | None = arguments.out
    if arguments.contrast:
        drawn = drive.marks()
        if out is not None:
            return put(drive, mark_contrast.mark_contrast(drive, drawn, arguments.beside), out)
        print(mark_contrast.contrast_text(drive, drawn, arguments.beside) if drawn else "no marks")
    elif arguments.against:
        rows = mark_match.mark_matches(drive, arguments.against, arguments.name)
        if out is not None:
            return put(drive, rows, out)
        print(mark_match.matches_text(drive, rows))
    elif arguments.acts:
        return put(drive, marks.act_table(drive), out)
    elif out is not None:
        return put(drive, marks_table.mark_table(drive, arguments.withdrawn), out)
    else:
        print(marks_table.marks_text(drive, arguments.withdrawn))
    return 0


ACTS = ("draw", "change", "withdraw", "split", "merge", "undo", "redo")


def define_mark(commands: Commands) -> None:
    parser = command(
        commands,
        run_mark,
        "draw a mark, change, withdraw, split or merge marks; undo and redo what you did",
        "east-drive draw --kind 'fault zone' --from 4+290.5 --to 4+303 --finding F001 --note 'gouge'",
    )
    drive_argument(parser)
    parser.add_argument("act", choices=ACTS)
    parser.add_argument("marks", metavar="MARK", nargs="*", help="M1, as tbmreview marks names it")
    parser.add_argument("--kind", metavar="KIND", help=", ".join(MARK_KINDS))
    stretch_arguments(parser, required=False)
    parser.add_argument(
        "--from-finding",
        metavar="F",
        help="draw: take the place of a finding, where --from and --to say none",
    )
    parser.add_argument(
        "--snap", action="store_true", help="draw, change: move both ends to the nearest step of level in FPI"
    )
    parser.add_argument("--at", metavar="C", type=chainage, help="split: the chainage")
    for end in ("from", "to"):
        parser.add_argument(
            f"--{end}-u95", metavar="M", type=float, help=f"half-width of the 95 %% interval of --{end}, m"
        )
    parser.add_argument("--dip", metavar="DEG", type=float, help="dip of its planes, 0 to 90")
    direction = parser.add_mutually_exclusive_group()
    direction.add_argument("--dip-direction", metavar="DEG", type=float, help="azimuth of the dip, 0 to 360")
    direction.add_argument(
        "--strike", metavar="DEG", type=float, help="instead: strike, with the planes dipping to its right"
    )
    parser.add_argument("--confidence", choices=CONFIDENCES)
    parser.add_argument(
        "--finding", metavar="F", action="append", help="a finding that it rests on; may be repeated"
    )
    parser.add_argument(
        "--photo",
        metavar="PATH",
        action="append",
        help="a photo, seen from the drive folder or from here; may be repeated",
    )
    parser.add_argument("--ground", metavar="TEXT", help="what in the ground tables it rests on")
    parser.add_argument("--note", metavar="TEXT", help="free text")
    parser.add_argument("--reason", metavar="TEXT", default="", help="why; required to withdraw")
    _person(parser)


def run_mark(arguments: argparse.Namespace) -> int:
    from tbmreview.drive import marks

    drive = opened(arguments)
    names: list[str] = arguments.marks
    wanted = {"draw": 0, "undo": 0, "redo": 0, "change": 1, "withdraw": 1, "split": 1}.get(arguments.act)
    if wanted is not None and len(names) != wanted:
        raise UsageError(f"{arguments.act} takes {'no' if not wanted else 'one'} MARK, {len(names)} named")
    if arguments.act in ("undo", "redo"):
        turn = marks.undo if arguments.act == "undo" else marks.redo
        act, done = turn(drive, arguments.person)
        print(f"{arguments.act}: '{act.what}' of {', '.join(act.marks)}")
    else:
        done = _act(drive, arguments, names)
    for mark in done:
        state = "withdrawn" if mark.withdrawn else marks.span_text(drive, mark)
        print(f"{mark.id} {mark.kind}: {state}")
        for doubt in [] if mark.withdrawn else marks.doubts(drive, mark):
            print(f"tbmreview: note: {doubt}", file=sys.stderr)
    return 0


def _act(drive: "Drive", arguments: argparse.Namespace, names: list[str]) -> "tuple[Mark, ...]":
    from tbmreview.drive import marks

    who: str = arguments.person
    if arguments.act == "merge":
        olds = [marks.known(drive, name) for name in names]
        whole = marks.merge(drive, names, who=who)
        between = marks.between_text(olds, whole)
        if between:
            print(f"tbmreview: note: {between}", file=sys.stderr)
        return (whole,)
    if arguments.act == "withdraw":
        return (marks.withdraw_mark(drive, names[0], arguments.reason, who=who),)
    if arguments.act == "split":
        if arguments.at is None:
            raise UsageError("say where: --at C")
        return marks.split(drive, names[0], float(drive.axis.position_m(arguments.at)), who=who)
    said = _said(drive, arguments)
    if arguments.act == "change":
        if not said and not arguments.snap:
            raise UsageError("say what changes: --from, --to, --kind, --note, …")
        if arguments.snap:
            old = marks.known(drive, names[0])
            said = {"position_from_m": old.position_from_m, "position_to_m": old.position_to_m, **said}
            said |= _snapped(drive, said)
        return (marks.change(drive, names[0], said, who=who, reason=arguments.reason),)
    return (_draw(drive, arguments, said),)


def _draw(drive: "Drive", arguments: argparse.Namespace, said: dict[str, Any]) -> "Mark":
    from tbmreview.domain.marks import Mark
    from tbmreview.drive import marks

    if arguments.from_finding:
        said = {**marks.of_finding(drive, arguments.from_finding), **said}
    if "kind" not in said:
        raise UsageError(f"say what it is: --kind, one of {', '.join(MARK_KINDS)}")
    if arguments.snap:
        said |= _snapped(drive, said)
    nowhere = {"position_from_m": math.nan, "position_to_m": math.nan}
    return marks.draw(drive, Mark(**{**nowhere, **said}), arguments.person)


def _snapped(drive: "Drive", said: dict[str, Any]) -> dict[str, float]:
    """The ends at steps of level; says by how much each was moved."""
    from tbmreview.drive import marks

    ends = [said.get(name, math.nan) for name in ("position_from_m", "position_to_m")]
    if any(map(math.isnan, ends)):
        raise UsageError("say where: --from C --to C, or --from-finding F")
    new = marks.snapped(drive, *ends)
    for what, old, now in zip(("start", "end"), sorted(ends), new.values(), strict=True):
        told = (
            f"moved by {now - old:+.2f} m along the drive"
            if now != old
            else "stays, no step of level near it"
        )
        print(f"tbmreview: note: {what} {told}", file=sys.stderr)
    return new


def _said(drive: "Drive", arguments: argparse.Namespace) -> dict[str, Any]:
    """The fields of a mark that the command names."""
    told: dict[str, Any] = {
        "kind": arguments.kind,
        "position_from_m": None
        if arguments.from_m is None
        else float(drive.axis.position_m(arguments.from_m)),
        "position_to_m": None if arguments.to_m is None else float(drive.axis.position_m(arguments.to_m)),
        "from_u95_m": arguments.from_u95,
        "to_u95_m": arguments.to_u95,
        "dip_deg": arguments.dip,
        "dip_direction_deg": arguments.dip_direction
        if arguments.strike is None
        else (arguments.strike + 90) % 360,
        "confidence": arguments.confidence,
        "findings": tuple(arguments.finding) if arguments.finding else None,
        "photos": tuple(arguments.photo) if arguments.photo else None,
        "ground": arguments.ground,
        "note": arguments.note,
    }
    return {name: value for name, value in told.items() if value is not None}


# --- sign-off ---------------------------------------------------------------------------------------


def define_sign_off(commands: Commands) -> None:
    parser = command(
        commands,
        run_sign_off,
        "confirm that the data of a shift were reviewed; without --date and --name: what is signed off",
        "east-drive --date 2030-05-02 --name early --note 'F004 to be seen at the face'",
    )
    drive_argument(parser)
    parser.add_argument("--date", metavar="D", help="date on which the shift starts, 2030-05-02")
    parser.add_argument("--name", help="its name; by default every shift of the date")
    parser.add_argument("--note", metavar="TEXT", default="", help="free text; with --withdraw the reason")
    parser.add_argument(
        "--history", action="store_true", help="all that were ever given, replaced and taken back too"
    )
    parser.add_argument("--withdraw", action="store_true", help="take a sign-off back; it stays in the drive")
    _person(parser)
    out_argument(parser)


def run_sign_off(arguments: argparse.Namespace) -> int:
    from tbmreview.drive import sign_off
    from tbmreview.drive.shift_review import chosen_reviews

    drive = opened(arguments)
    if arguments.date is None:
        if arguments.name or arguments.withdraw:
            raise UsageError("say which day: --date 2030-05-02")
        rows = sign_off.sign_off_table(drive, arguments.history)
        if not len(rows) and arguments.out is None:
            print("no shift is signed off")
            return 0
        return put(drive, rows, arguments.out)
    chosen = chosen_reviews(drive, arguments.date, arguments.name)
    several = len(chosen) > 1 and not arguments.withdraw  # those that are signed off stay as they are
    for review in chosen:
        if several and sign_off.stands(drive, review.start_us):
            print(f"{review.day} {review.name}: stays as it is. {review.signed}")
            continue
        one = sign_off.sign_off(drive, review.start_us, arguments.note, arguments.person, arguments.withdraw)
        told = "sign-off taken back" if one.withdrawn else sign_off.signed_text(drive, one)
        print(f"{review.day} {review.name}: {told}")
    print(sign_off.MEANS)
    return 0


# --- the axis in space ------------------------------------------------------------------------------


def define_alignment(commands: Commands) -> None:
    parser = command(
        commands,
        run_alignment,
        "import points of the axis (chainage, east, north, elevation in m), for GeoJSON and for planes that cross it",
        "east-drive axis.csv --crs EPSG:25832",
    )
    drive_argument(parser)
    parser.add_argument("file", metavar="FILE", type=Path, help="CSV, Parquet or xlsx")
    parser.add_argument(
        "--crs", required=True, help="coordinate reference system of east and north, EPSG:25832 say"
    )


def run_alignment(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.alignment import import_alignment

    print(import_alignment(arguments.drive, arguments.file, arguments.crs))
    return 0
