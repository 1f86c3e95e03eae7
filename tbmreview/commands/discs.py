"""Wear of the discs: what was changed, what each position has rolled, what is due next."""

import argparse
from pathlib import Path

from tbmreview.commands.arguments import Commands, command, drive_argument, opened, out_argument, put
from tbmreview.domain.errors import UsageError
from tbmreview.domain.ground import MAPPED, PREDICTED


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
    parser.add_argument(
        "--by",
        choices=("disc", "change", "ground"),
        help="disc: what is in at each position (default); change: each disc that came out; ground: life of discs by "
        "interval of a ground table",
    )
    parser.add_argument(
        "--ground", choices=(MAPPED, PREDICTED), help="with --by ground, which ground (default mapped)"
    )
    parser.add_argument(
        "--name",
        metavar="TEXT",
        help="with FILE, name of the table of changes, which it replaces; by default the file's name. With --by ground, "
        "name of the ground table; by default the last imported",
    )
    out_argument(parser)


def run_discs(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.discs import disc_table, import_disc_changes
    from tbmreview.drive.discs_text import disc_says, discs_text

    by, shown = arguments.by or "disc", (arguments.out, arguments.by, arguments.ground)
    if arguments.file is not None and any(shown):
        raise UsageError("--by, --ground and --out show what is stated; leave FILE out")
    if arguments.file is None and by != "ground" and (arguments.name or arguments.ground):
        raise UsageError(
            "--name says how a FILE is taken in, or with --ground which ground table --by ground is by; name the file or "
            "write --by ground"
        )
    if arguments.file is not None:
        print(import_disc_changes(arguments.drive, arguments.file, name=arguments.name))
        return 0
    drive = opened(arguments)
    rows = disc_table(drive, by, arguments.ground or MAPPED, arguments.name)
    if arguments.out is None:
        print(discs_text(drive, rows))
        return 0
    put(drive, rows, arguments.out)
    print("\n".join(disc_says(drive, rows)))
    return 0
