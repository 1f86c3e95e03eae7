"""Forces of single pads on the last ring."""

import argparse

from tbmreview.commands.arguments import Commands, command, drive_argument, opened, out_argument, put


def define_pads(commands: Commands) -> None:
    parser = command(
        commands,
        run_pads,
        "force of each pad on the last ring, the centre of thrust and its eccentricity against the segment designer's "
        "limits, while the pads push and while they hold; [pads] in drive.toml says where they are",
        "east-drive --by ring --out pads.csv",
    )
    drive_argument(parser)
    parser.add_argument("--by", choices=("ring", "stroke", "shift", "day", "drive"), default="ring")
    out_argument(parser)


def run_pads(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.pads import pad_forces
    from tbmreview.drive.pads_text import pads_says, pads_text
    from tbmreview.drive.progress import progress_bar

    drive = opened(arguments)
    with progress_bar("pads", "days") as progress:
        found = pad_forces(drive, arguments.by, progress)
    if arguments.out is None:
        print(pads_text(drive, found))
        return 0
    put(drive, found.rows, arguments.out)
    print("\n".join(pads_says(drive, found)))
    return 0
