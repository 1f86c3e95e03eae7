"""What was to be expected of the ground: classes, expect, fit."""

import argparse
import math
from pathlib import Path

from tbmreview.commands.arguments import Commands, command, drive_argument, opened, out_argument, put
from tbmreview.domain.classes import BY_STEM
from tbmreview.domain.errors import UsageError
from tbmreview.domain.ground import MAPPED, PREDICTED


def ground_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--ground", choices=(MAPPED, PREDICTED), default=MAPPED, help="which ground (default mapped)"
    )
    parser.add_argument(
        "--name", metavar="TEXT", help="name of the ground table; by default the last imported"
    )


def define_classes(commands: Commands) -> None:
    parser = command(
        commands,
        run_classes,
        "mapped classes beside the predicted ones along what was bored, each with its scheme: equal or by how many classes "
        "off",
        "east-drive --of rmr cai --name tender --out classes.csv",
    )
    drive_argument(parser)
    parser.add_argument(
        "--of",
        metavar="QUANTITY",
        nargs="+",
        choices=tuple(BY_STEM),
        default=[],
        help=f"of {', '.join(BY_STEM)}; by default all that have a class",
    )
    parser.add_argument(
        "--name", metavar="TEXT", help="name of the predicted ground table; by default the last imported"
    )
    parser.add_argument(
        "--mapped", metavar="TEXT", help="name of the mapped ground table; by default the last imported"
    )
    parser.add_argument(
        "--convert",
        metavar="NAME",
        nargs="+",
        default=[],
        help="where a table has neither number nor class, a number by a conversion, named with its source: rmr_from_q, "
        "rqd_from_jv_115 or rqd_from_jv_110",
    )
    parser.add_argument(
        "--cross",
        action="store_true",
        help="instead: metres of each predicted class by each mapped class, and the share that is equal",
    )
    out_argument(parser)


def run_classes(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.class_match import Asked, class_cross, class_match
    from tbmreview.drive.class_match_text import match_says, match_text
    from tbmreview.drive.overrule import counted

    asked = Asked(tuple(arguments.of), arguments.mapped, arguments.name, tuple(arguments.convert))
    drive = opened(arguments)
    found = class_match(drive, asked)
    if arguments.out:
        put(drive, class_cross(found.rows) if arguments.cross else found.rows, arguments.out)
        print("\n".join(match_says(drive, found, asked)))
        return 0
    print(match_text(drive, found, asked, cross=arguments.cross))
    print(f"overrules: {counted(drive)}")
    return 0


def define_expect(commands: Commands) -> None:
    parser = command(
        commands,
        run_expect,
        "observed against expected: what models expect in each interval of a ground table, beside what was bored",
        "east-drive --model hassanpour-2011 --ground predicted --name tender --out expected.csv",
    )
    drive_argument(parser)
    parser.add_argument(
        "--model", metavar="NAME", help="one model or kept fit; by default all that have their inputs"
    )
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


def define_fit(commands: Commands) -> None:
    parser = command(
        commands,
        run_fit,
        "fit penetration index or penetration to columns of the ground table, a point an interval; without --on list "
        "the fits that were kept",
        "east-drive --of fpi --on ucs rqd --form exponential --keep 'gneiss, spring'",
    )
    drive_argument(parser)
    parser.add_argument(
        "--of", choices=("fpi", "penetration"), default="fpi", help="net field penetration index (default)"
    )
    parser.add_argument(
        "--on", metavar="COLUMN", nargs="+", help="columns of the ground table: ucs, rqd, rmr, jv, …"
    )
    parser.add_argument(
        "--form",
        choices=("linear", "exponential", "power"),
        default="linear",
        help="exponential: the logarithm of what is fitted; power: that of the columns too",
    )
    parser.add_argument(
        "--robust", action="store_true", help="robust regression, which odd intervals hardly move"
    )
    parser.add_argument("--gross", action="store_true", help="gross, where drag is not known (default: net)")
    ground_arguments(parser)
    parser.add_argument("--keep", metavar="NAME", help="keep the fit in the drive under a name")
    parser.add_argument("--note", metavar="TEXT", default="", help="a note to keep with it")
    parser.add_argument("--intervals", metavar="FILE", type=Path, help="write intervals, bands and residuals")
    out_argument(parser)


def run_fit(arguments: argparse.Namespace) -> int:
    from tbmreview.drive import fits, fits_text

    if arguments.on is None and (arguments.keep or arguments.intervals or arguments.note):
        raise UsageError("--keep, --note and --intervals need a fit: --on COLUMN")
    wanted = arguments.on and fits.wanted_of(
        arguments.of,
        arguments.on,
        arguments.form,
        robust=arguments.robust,
        ground=arguments.ground,
        name=arguments.name,
        gross=arguments.gross,
    )
    drive = opened(arguments)
    if wanted is None:
        if arguments.out:
            return put(drive, fits_text.kept_table(drive), arguments.out)
        print(fits_text.kept_text(drive, drive.setup.drive.zone))
        return 0
    found = fits.fit(drive, wanted)
    print(fits_text.fit_text(found, drive.setup.drive.zone))
    if arguments.intervals:
        put(drive, fits_text.interval_table(found), arguments.intervals)
    if arguments.out:
        put(drive, fits_text.coefficient_table([(arguments.keep or "", found, "")]), arguments.out)
    if arguments.keep:
        fits.keep(drive, found, arguments.keep, arguments.note)
        print(f"kept: '{arguments.keep}'")
    return 0
