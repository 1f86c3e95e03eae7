"""Penetration tests: penetration-test."""

import argparse
from pathlib import Path

from tbmreview.commands.arguments import Commands, command, drive_argument, opened, out_argument, put
from tbmreview.domain.errors import UsageError


def define_penetration_test(commands: Commands) -> None:
    parser = command(
        commands,
        run_penetration_test,
        "penetration tests, with their curve: head speed constant, four or five loads held for two or three minutes "
        "each. Lists those kept and those found in the samples; with times, the one that was done then",
        "east-drive --from-time '2030-05-02 08:30' --to-time '2030-05-02 08:45' --discs 'gauge new, others 5 mm worn' "
        "--keep 'gneiss, May'",
    )
    drive_argument(parser)
    for option, what in (("--from-time", "from when"), ("--to-time", "until when")):
        parser.add_argument(
            option, metavar="TIME", help=f"{what} the loads were held, 2030-05-02 08:30, local"
        )
    parser.add_argument("--discs", metavar="TEXT", default="", help="the state of the discs, in words")
    parser.add_argument(
        "--gross", action="store_true", help="on gross load (default: net, where drag is known)"
    )
    parser.add_argument("--keep", metavar="NAME", help="keep the test in the drive under a name")
    parser.add_argument("--note", metavar="TEXT", default="", help="a note to keep with it")
    parser.add_argument(
        "--loads", metavar="FILE", type=Path, help="write the loads of the test that was stated"
    )
    out_argument(parser)


def run_penetration_test(arguments: argparse.Namespace) -> int:
    from tbmreview.drive import penetration_tests as tests
    from tbmreview.drive.overrule import counted, instant
    from tbmreview.drive.penetration_text import CAUTION, loads_table, table_of, text_of

    if arguments.from_time is None or arguments.to_time is None:
        return _listed(arguments)
    drive = opened(arguments)
    zone = drive.setup.drive.zone
    start, end = (instant(text, zone) for text in (arguments.from_time, arguments.to_time))
    if end <= start:
        raise UsageError(f"--to-time {arguments.to_time} is not after --from-time {arguments.from_time}")
    test = tests.stated(drive, start, end, arguments.discs.strip(), arguments.gross)
    if arguments.keep:
        tests.keep(drive, test, arguments.keep, arguments.note)
    print(f"{text_of(test, zone)}\n\n{CAUTION}\noverrules: {counted(drive, (start, end))}")
    if arguments.keep:
        print(f"kept: '{arguments.keep}'")
    if arguments.loads:
        put(drive, loads_table(test), arguments.loads)
    if arguments.out:
        put(drive, table_of([(arguments.keep or "", test, "")]), arguments.out)
    return 0


def _listed(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.overrule import counted
    from tbmreview.drive.penetration_tests import found
    from tbmreview.drive.penetration_text import all_tests, table_of, text_of_all
    from tbmreview.drive.progress import progress_bar

    given = (arguments.from_time, arguments.to_time, arguments.keep, arguments.loads)
    if any(one is not None for one in given) or arguments.note or arguments.discs:
        raise UsageError("a test is stated with both --from-time and --to-time")
    drive = opened(arguments)
    with progress_bar("looking for tests", "strokes") as progress:
        seen = found(drive, arguments.gross, progress)
    if arguments.out:
        return put(drive, table_of(all_tests(drive, seen)), arguments.out)
    print(text_of_all(drive, seen, drive.setup.drive.zone))
    print(f"overrules: {counted(drive)}")
    return 0
