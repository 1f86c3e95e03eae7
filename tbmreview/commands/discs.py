"""Wear of the discs: what was changed, what each position has rolled, what is due next."""

import argparse
from pathlib import Path

from tbmreview.commands.arguments import Commands, command, drive_argument, opened, out_argument, put
from tbmreview.domain.errors import UsageError


def define_discs(commands: Commands) -> None:
    parser = command(
        commands,
        run_discs,
        "import the site's table of disc changes (time, disc; optional reason, wear [mm], note; CSV or xlsx; times "
        "local to the drive); without FILE show what each disc has rolled and which is due next",
        "east-drive changes.csv",
    )
    drive_argument(parser)
    parser.add_argument("file", metavar="FILE", type=Path, nargs="?")
    parser.add_argument("--name", help="name of the table, which it replaces; by default the file's name")
    parser.add_argument(
        "--by",
        choices=("disc", "change", "ground"),
        help="disc: what is in at each position (default); change: each disc that came out; ground: life of discs by "
        "mapped interval",
    )
    out_argument(parser)


def run_discs(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.discs import disc_table, import_disc_changes
    from tbmreview.drive.discs_text import disc_says, discs_text

    if arguments.file is None and arguments.name:
        raise UsageError("--name says how a FILE is taken in; name the file")
    if arguments.file is not None and (arguments.out or arguments.by):
        raise UsageError("--by and --out show what is stated; leave FILE out")
    if arguments.file is not None:
        print(import_disc_changes(arguments.drive, arguments.file, name=arguments.name))
        return 0
    drive, by = opened(arguments), arguments.by or "disc"
    if arguments.out is None:
        print(discs_text(drive, by))
        return 0
    put(drive, disc_table(drive, by), arguments.out)
    print("\n".join(disc_says(drive)))
    return 0
