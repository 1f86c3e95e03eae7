"""What people state beside the logs: ground, delays, overrules."""

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
from tbmreview.domain.ground import GROUND_KINDS
from tbmreview.domain.overrules import OVERRULED
from tbmreview.domain.site import DELAYS


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
        "import the site's table of delays (start, end, code, note; CSV or xlsx; times local to the drive); without "
        "FILE show what is stated",
        "east-drive week-18.xlsx",
    )
    drive_argument(parser)
    parser.add_argument("file", metavar="FILE", type=Path, nargs="?")
    parser.add_argument("--name", help="name of the table, which it replaces; by default the file's name")
    withdraw_argument(parser)
    out_argument(parser)


def run_delays(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.delays import contradiction_lines, delay_table, import_delays, overlap_lines

    if arguments.withdraw is not None:
        return withdrawn(arguments, DELAYS)
    if arguments.file is not None:
        if arguments.out:
            raise UsageError("--out writes what is stated; leave FILE out")
        print(import_delays(arguments.drive, arguments.file, name=arguments.name))
        return 0
    drive = opened(arguments)
    table = delay_table(drive)
    if not len(table) and arguments.out is None:
        print("no delays stated")
    else:
        put(drive, table, arguments.out)
    for line in overlap_lines(drive):
        print(f"overlap: {line}")
    for line in contradiction_lines(drive):
        print(f"contradiction: {line}")
    return 0


def define_overrule(commands: Commands) -> None:
    parser = command(
        commands,
        run_overrule,
        "overrule a state, reaction, stroke, ring, anchor or delay, with a reason; without WHAT: list them",
        "east-drive state standing --start '2030-05-02 08:30' --end '2030-05-02 08:42' --reason 'head test'",
    )
    drive_argument(parser)
    told = "; ".join(f"{what}: {says}" for what, says in OVERRULED.items())
    parser.add_argument(
        "what", metavar="WHAT", nargs="?", choices=tuple(OVERRULED), help=", ".join(OVERRULED)
    )
    parser.add_argument("value", metavar="VALUE", nargs="?", help=told)
    parser.add_argument("--start", metavar="TIME", help="2030-05-02 08:30, local to the drive")
    parser.add_argument("--end", metavar="TIME", help="in force to before it; may be left out for a stroke")
    parser.add_argument("--reason", metavar="TEXT", default="", help="why; required")
    parser.add_argument("--person", metavar="NAME", default="", help="who says so; by default you")
    parser.add_argument(
        "--withdraw", metavar="ID", help="take an overrule back, O1 say; it stays in the drive"
    )
    out_argument(parser)


def run_overrule(arguments: argparse.Namespace) -> int:
    from tbmreview.drive import overrule

    drive = opened(arguments)
    if arguments.what is None and arguments.withdraw is None:
        if arguments.out:
            return put(drive, overrule.overrule_table(drive), arguments.out)
        print(overrule.overrules_text(drive))
        return 0
    if arguments.withdraw is not None:
        one = overrule.withdraw(drive, arguments.withdraw, arguments.reason, arguments.person)
    elif arguments.value is None or arguments.start is None:
        raise UsageError("an overrule needs a value and --start TIME; see tbmreview overrule --help")
    else:
        span = (arguments.start, arguments.end)
        one = overrule.overrule(
            drive, arguments.what, arguments.value, span, arguments.reason, arguments.person
        )
    done = "withdrawn" if one.withdrawn else f"{one.what} '{one.value}'"
    print(f"{one.id}: {done}; {overrule.effect(drive, opened(arguments))}")
    return 0
