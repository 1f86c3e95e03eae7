"""What the site states beside the logs: ground, delays."""

import argparse
from pathlib import Path

from tbmreview.commands.arguments import Commands, command, drive_argument
from tbmreview.domain.ground import GROUND_KINDS


def define_ground(commands: Commands) -> None:
    parser = command(
        commands,
        run_ground,
        "import a ground table",
        "east-drive forecast.csv --as predicted --name tender --issued 2030-05-01",
    )
    drive_argument(parser)
    parser.add_argument("file", metavar="FILE", type=Path)
    parser.add_argument(
        "--as",
        dest="kind",
        choices=GROUND_KINDS,
        required=True,
        help="mapped as encountered, predicted before, or probed ahead",
    )
    parser.add_argument("--name", help="name of a prediction; a named one is never overwritten")
    parser.add_argument("--issued", metavar="DATE", help="date on which it was issued")


def run_ground(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.ground import import_ground

    print(
        import_ground(
            arguments.drive, arguments.file, arguments.kind, name=arguments.name, issued=arguments.issued
        )
    )
    return 0


def define_delays(commands: Commands) -> None:
    parser = command(
        commands,
        run_delays,
        "import the site's table of delays: start, end, code, note (CSV or xlsx; times local to the drive)",
        "east-drive week-18.xlsx",
    )
    drive_argument(parser)
    parser.add_argument("file", metavar="FILE", type=Path)
    parser.add_argument("--name", help="name of the table, which it replaces; by default the file's name")


def run_delays(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.delays import import_delays

    print(import_delays(arguments.drive, arguments.file, name=arguments.name))
    return 0
