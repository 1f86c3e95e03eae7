"""What was to be expected of the ground: expect."""

import argparse
import math

from tbmreview.commands.arguments import Commands, command, drive_argument, opened, out_argument, put
from tbmreview.domain.ground import MAPPED, PREDICTED


def ground_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--ground", choices=(MAPPED, PREDICTED), default=MAPPED, help="which ground (default mapped)"
    )
    parser.add_argument(
        "--name", metavar="TEXT", help="name of the ground table; by default the last imported"
    )


def define_expect(commands: Commands) -> None:
    parser = command(
        commands,
        run_expect,
        "observed against expected: what models expect in each interval of a ground table, beside what was bored",
        "east-drive --model hassanpour-2011 --ground predicted --name tender --out expected.csv",
    )
    drive_argument(parser)
    parser.add_argument("--model", metavar="NAME", help="one model; by default all that have their inputs")
    ground_arguments(parser)
    parser.add_argument(
        "--stated",
        metavar="INPUT=VALUE",
        action="append",
        type=stated,
        default=[],
        help="an input that neither the ground table nor the setup has; may be given several times",
    )
    parser.add_argument(
        "--gross", action="store_true", help="gross load and torque, where drag is not known (default: net)"
    )
    out_argument(parser)


def stated(text: str) -> tuple[str, float]:
    name, _, value = text.partition("=")
    try:
        number = float(value)
    except ValueError:
        number = math.nan
    if not name or not math.isfinite(number):
        raise argparse.ArgumentTypeError(f"{text!r} states nothing; write disc_tip_mm=19")
    return name.strip(), number


def run_expect(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.expected import Asked, expected, expected_text
    from tbmreview.drive.overrule import counted

    asked = Asked(arguments.model, arguments.ground, arguments.name, dict(arguments.stated), arguments.gross)
    drive = opened(arguments)
    if arguments.out:
        return put(drive, expected(drive, asked), arguments.out)
    print(expected_text(drive, asked))
    print(f"overrules: {counted(drive)}")
    return 0
