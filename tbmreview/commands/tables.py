"""What comes out as tables: table, time, findings."""

import argparse
import sys

from tbmreview.commands.arguments import (
    Commands,
    command,
    drive_argument,
    opened,
    out_argument,
    put,
    step,
    stretch_arguments,
)
from tbmreview.commands.expectations import ground_arguments
from tbmreview.domain.cautions import CAUTION
from tbmreview.domain.errors import UsageError
from tbmreview.domain.ground import MAPPED
from tbmreview.domain.setup import Accuracy

BY = ("step", "stroke", "ring", "ring-place", "shift", "day", "ground", "mark", "drive")


def define_table(commands: Commands) -> None:
    parser = command(commands, run_table, "indicators, grouped", "east-drive --by ground --out ground.csv")
    drive_argument(parser)
    parser.add_argument("--by", choices=BY, required=True)
    parser.add_argument(
        "--step",
        metavar="M",
        type=step,
        help="step in m, a multiple of 0.1 (with --by step; default 1.0)",
    )
    parser.add_argument(
        "--steady",
        action="store_true",
        help="steady boring only, without loading and unloading (default: all boring)",
    )
    parser.add_argument(
        "--uncertainty",
        action="store_true",
        help="half-width of the 95 %% interval of each indicator, from [accuracy] in drive.toml: <name>_u95, and its "
        "random part <name>_u95_random; ± in text",
    )
    parser.add_argument(
        "--response",
        action="store_true",
        help="penetration against net disc load within each row: log-log slope and critical load, with their interval",
    )
    ground_arguments(parser)
    parser.add_argument(
        "--convert",
        metavar="NAME",
        nargs="+",
        default=[],
        help="with --by ground, conversions of the ground table's columns, each named with its source: rmr_from_q, qc, "
        "modulus_from_rmr_GPa, rqd_from_jv_115, rqd_from_jv_110 (the last two disagree; choose one)",
    )
    stretch_arguments(parser, required=False)
    out_argument(parser)


def run_table(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.classes import ground_says
    from tbmreview.drive.table import Asked

    if arguments.step is not None and arguments.by != "step":
        print(f"tbmreview: note: --step is of no use with --by {arguments.by}", file=sys.stderr)
    of_ground = (arguments.ground, arguments.name, arguments.convert)
    if of_ground != (MAPPED, None, []) and arguments.by != "ground":
        raise UsageError(f"--ground, --name and --convert go with --by ground, not with --by {arguments.by}")
    drive = opened(arguments)
    if arguments.uncertainty and drive.setup.accuracy == Accuracy():
        print(
            "tbmreview: note: no accuracy is given in [accuracy] of drive.toml; without it few indicators have an "
            "uncertainty",
            file=sys.stderr,
        )
    asked = Asked(
        arguments.by,
        step_m=arguments.step or 1.0,
        from_chainage_m=arguments.from_m,
        to_chainage_m=arguments.to_m,
        steady_only=arguments.steady,
        uncertainty=arguments.uncertainty,
        response=arguments.response,
        ground=arguments.ground,
        ground_name=arguments.name,
        convert=tuple(arguments.convert),
    )
    table = drive.table_on_request(asked)
    code = put(drive, table, arguments.out)
    if arguments.out is None:
        for line in ground_says(table) if arguments.by == "ground" else ():
            print(line)
        print(
            f"counted: {'steady boring, without loading and unloading' if arguments.steady else 'all boring'}"
        )
    return code


def define_time(commands: Commands) -> None:
    parser = command(
        commands, run_time, "hours by state, delays, utilisation and rates", "east-drive --by shift"
    )
    drive_argument(parser)
    parser.add_argument(
        "--by",
        choices=("shift", "day", "drive", "delay"),
        default="shift",
        help="delay: lost hours by code, the longest first. Where the site gave delays, each code has a column, and "
        "unexplained_h is the lost hours without a reason: standing, turning loaded without advance or no record, "
        "under no delay",
    )
    instead = parser.add_mutually_exclusive_group()
    instead.add_argument(
        "--critical-path",
        action="store_true",
        help="instead: who held the drive, boring, ring, regrip or waiting for the ring",
    )
    instead.add_argument(
        "--thresholds",
        action="store_true",
        help="instead: the thresholds that states and strokes are read with, where each is from, and why",
    )
    out_argument(parser)


def run_time(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.shift_text import shifts_text, sums_text

    drive = opened(arguments)
    if arguments.thresholds:
        return put(drive, drive.thresholds(), arguments.out)
    if arguments.critical_path:
        return put(drive, drive.critical_path(arguments.by), arguments.out)
    if arguments.out:
        return put(drive, drive.time(arguments.by), arguments.out)
    print(shifts_text(drive) if arguments.by == "shift" else sums_text(drive, arguments.by))
    return 0


def define_findings(commands: Commands) -> None:
    parser = command(
        commands, run_findings, "what was noticed, with its evidence", "east-drive --out findings.csv"
    )
    drive_argument(parser)
    parser.add_argument(
        "--gone", action="store_true", help="instead: findings that the detectors do not notice any more"
    )
    out_argument(parser)


def run_findings(arguments: argparse.Namespace) -> int:
    from tbmreview.domain.errors import DriveError
    from tbmreview.drive.detect import findings, findings_table, findings_text, keep
    from tbmreview.drive.judge import change_text, counts_text
    from tbmreview.drive.overrule import counted

    drive = opened(arguments)
    found = findings(drive)
    try:
        keep(drive, found)  # so that what is new, gone or moved since can be told the next time
    except DriveError as error:
        print(f"tbmreview: note: not kept ({error})", file=sys.stderr)
    if arguments.gone:
        return put(drive, findings_table(drive, drive.stored_findings(gone=True)), arguments.out)
    if arguments.out:
        return put(drive, findings_table(drive, found), arguments.out)
    print(findings_text(drive, found))
    print(f"\n{counts_text(found)}")
    for change in drive.changes_seen()[-1:]:
        print(change_text(change, drive))
    print(f"overrules: {counted(drive)}\n{CAUTION}")
    return 0
