"""What the commands share: how each is described, the arguments of several, opening and putting out."""

import argparse
import math
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from tbmreview.domain.errors import UsageError
from tbmreview.domain.station import Chainage, decimetres, parse_chainage

if TYPE_CHECKING:
    from tbmreview.domain.table import Table
    from tbmreview.drive.opened import Drive

FARTHEST_M = 1e7  # as in the setup: no chainage lies beyond
LONGEST_STEP_M = 10_000.0

Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"


def command(
    commands: Commands, run: Callable[[argparse.Namespace], int], what: str, example: str
) -> argparse.ArgumentParser:
    name = run.__name__.removeprefix("run_").replace("_", "-")
    parser = commands.add_parser(
        name,
        help=what,
        description=what,
        epilog=f"example:\n  tbmreview {name} {example}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.set_defaults(run=run)
    return parser


def drive_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("drive", metavar="DRIVE", type=Path, help="the drive folder")


def stretch_arguments(parser: argparse.ArgumentParser, *, required: bool) -> None:
    for option, dest in (("--from", "from_m"), ("--to", "to_m")):
        parser.add_argument(
            option,
            dest=dest,
            metavar="C",
            type=chainage,
            required=required,
            help="chainage, 4+250 or 4250.0; where it exists twice, '4+250 back' or '4+250 ahead'",
        )


def out_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--out", metavar="FILE", type=Path, help=".csv, .parquet or .xlsx; without it, text")


def withdraw_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--withdraw", metavar="NAME", help="take the table of this name back; it stays in the drive's history"
    )


def withdrawn(arguments: argparse.Namespace, kind: str) -> int:
    """Take a table of the site back, and say so."""
    from tbmreview.drive.site_tables import withdraw_table

    if arguments.file is not None or arguments.name is not None or arguments.out is not None:
        raise UsageError("--withdraw stands alone: no FILE, --name or --out")
    print(withdraw_table(arguments.drive, kind, arguments.withdraw))
    return 0


def chainage(text: str) -> Chainage:
    """'12+345.60' or '12345.6' in metres; 'back' or 'ahead' after it says on which side of an equation."""
    value = parse_chainage(text)
    if value is None or not abs(value) <= FARTHEST_M:
        raise argparse.ArgumentTypeError(f"{text!r} is no chainage; write 4+250.0 or 4250.0")
    return value


def step(text: str) -> float:
    try:
        step_m = decimetres(float(text)) / 10
    except (ValueError, OverflowError):
        step_m = math.inf
    if step_m > LONGEST_STEP_M:
        raise argparse.ArgumentTypeError(
            f"{text!r} is no step; a step is a multiple of 0.1 m, up to {LONGEST_STEP_M:g} m"
        )
    return step_m


def scale(text: str) -> int:
    if not text.isdigit() or not 10 <= int(text) <= 100_000:
        raise argparse.ArgumentTypeError(f"{text!r} is no scale; write 500 for 1:500 (10 to 100000)")
    return int(text)


def opened(arguments: argparse.Namespace) -> "Drive":
    """The drive, with what follows from its samples up to date."""
    from tbmreview.drive.opened import open_drive
    from tbmreview.drive.progress import progress_bar

    drive = open_drive(arguments.drive)
    with progress_bar("reducing", "days") as progress:
        drive.reduce(progress)
    return drive


def put(drive: "Drive", table: "Table", out: Path | None) -> int:
    """Print a table, or write it to a file; either says which overrules are in force in its stretch."""
    from tbmreview.drive.export import GEOJSON, text_table, write_table
    from tbmreview.drive.geojson import write_geojson
    from tbmreview.drive.overrule import told_of

    told = told_of(drive, table)
    if out is None:
        print(text_table(table, drive.setup.drive.zone))
        print(f"overrules: {told['overrules']}")
    else:
        if out.suffix.lower() == GEOJSON and "position_from_m" in table:
            for left_out in write_geojson(drive, table, out):
                print(f"tbmreview: note: left out: {left_out}", file=sys.stderr)
        else:
            write_table(table, out, told)
        print(f"written: {out}, {len(table)} rows")
    return 0
