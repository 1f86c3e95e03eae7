"""Where the face was: surveyed stations, chainage equations, and how the strokes close on them."""

import argparse
from pathlib import Path

from tbmreview.commands.arguments import (
    Commands,
    command,
    drive_argument,
    opened,
    out_argument,
    put,
    withdraw_argument,
    withdrawn,
)
from tbmreview.domain.errors import UsageError
from tbmreview.domain.site import ANCHORS, EQUATIONS


def define_anchors(commands: Commands) -> None:
    parser = command(
        commands,
        run_anchors,
        "import surveyed stations (time, chainage; optional offset behind the face in m, point, sd, note), or "
        "chainage equations; without FILE show how the strokes close on them",
        "east-drive survey.csv",
    )
    drive_argument(parser)
    parser.add_argument(
        "file",
        metavar="FILE",
        nargs="?",
        type=Path,
        help="CSV in any dialect, Parquet or xlsx; times are local to the drive unless they say UTC",
    )
    parser.add_argument("--name", help="name of the table, which it replaces; by default the file's name")
    parser.add_argument(
        "--equations",
        action="store_true",
        help="FILE states chainage equations: time from which in force, back (the place's chainage counted from "
        "lower chainage), ahead (counted from there on upwards)",
    )
    withdraw_argument(parser)
    out_argument(parser)


def run_anchors(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.anchors import anchors_text, import_equations, import_stations, station_warnings

    if arguments.withdraw is not None:
        return withdrawn(arguments, EQUATIONS if arguments.equations else ANCHORS)
    if arguments.file is None and (arguments.equations or arguments.name):
        raise UsageError("--equations and --name say how a FILE is taken in; name the file")
    if arguments.file is not None and arguments.out is not None:
        raise UsageError("--out writes the anchors that are in the drive; leave out the FILE")
    if arguments.file is not None:
        take = import_equations if arguments.equations else import_stations
        print(take(arguments.drive, arguments.file, name=arguments.name))
        drive = opened(arguments)
        if not arguments.equations and drive.time_span_us is not None:
            for line in station_warnings(drive.closing, drive.axis, drive.setup.drive.zone):
                print(line)
        return 0
    drive = opened(arguments)
    if arguments.out is not None:
        return put(drive, drive.anchors(), arguments.out)
    print(anchors_text(drive.closing, drive.axis, drive.setup))
    return 0
