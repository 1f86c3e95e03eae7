"""What was bored against what was carried off, pumped behind the rings, and flowed in."""

import argparse
from collections.abc import Callable
from pathlib import Path

from tbmreview.commands.arguments import Commands, command, drive_argument, opened, out_argument, put
from tbmreview.domain.errors import UsageError


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


def define_backfill(commands: Commands) -> None:
    parser = command(
        commands,
        run_backfill,
        "import the site's table of backfill (ring, mortar [m3], pea gravel [m3]; CSV or xlsx); without FILE show the "
        "annular gap of each ring against what was pumped",
        "east-drive backfill.csv",
    )
    _site_arguments(parser)


def run_backfill(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.backfill import backfill_says, backfill_table, backfill_text, import_backfill

    if _taken_in(arguments, import_backfill):
        return 0
    drive = opened(arguments)
    rows = backfill_table(drive)
    if arguments.out is None:
        print(backfill_text(drive, rows))
        return 0
    put(drive, rows, arguments.out)
    print("\n".join(backfill_says(drive, rows)))
    return 0


def define_water(commands: Commands) -> None:
    parser = command(
        commands,
        run_water,
        "import the site's table of water inflow (chainage from, to, inflow [l/min]; CSV or xlsx); without FILE show "
        "the inflow over 10 m and its class, as stated, mapped and logged",
        "east-drive inflow.csv",
    )
    _site_arguments(parser)


def run_water(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.water import import_water, water_says, water_table, water_text

    if _taken_in(arguments, import_water):
        return 0
    drive = opened(arguments)
    rows = water_table(drive)
    if arguments.out is None:
        print(water_text(drive, rows))
        return 0
    put(drive, rows, arguments.out)
    print("\n".join(water_says(drive, rows)))
    return 0


def _site_arguments(parser: argparse.ArgumentParser) -> None:
    drive_argument(parser)
    parser.add_argument("file", metavar="FILE", type=Path, nargs="?")
    parser.add_argument("--name", help="name of the table, which it replaces; by default the file's name")
    out_argument(parser)


def _taken_in(arguments: argparse.Namespace, take: Callable[[Path, Path, str | None], str]) -> bool:
    """Whether a FILE was named; then it is in the drive."""
    if arguments.file is None:
        if arguments.name:
            raise UsageError("--name says how a FILE is taken in; name the file")
        return False
    if arguments.out:
        raise UsageError("--out writes what is stated; leave FILE out")
    print(take(arguments.drive, arguments.file, arguments.name))
    return True
