"""What the site states beside the logs: ground."""

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
