"""What was bored against what was carried off, pumped behind the rings, and flowed in."""

import argparse

from tbmreview.commands.arguments import Commands, command, drive_argument, opened, out_argument, put


def define_balance(commands: Commands) -> None:
    parser = command(
        commands,
        run_balance,
        "rock bored against the mass on the belt scale, cumulated and by ring, shift or ground; it indicates, it "
        "never proves",
        "east-drive --by ring --out balance.csv",
    )
    drive_argument(parser)
    parser.add_argument("--by", choices=("ring", "shift", "ground"), default="ring")
    out_argument(parser)


def run_balance(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.balance import balance, balance_text
    from tbmreview.drive.progress import progress_bar

    drive = opened(arguments)
    with progress_bar("belt scale", "days") as progress:
        rows, says = balance(drive, arguments.by, progress)
    if arguments.out is None:
        print(balance_text(drive, rows, says))
        return 0
    put(drive, rows, arguments.out)
    print("\n".join(says))
    return 0
