"""The command line: each command reads its arguments, calls one act of `drive`, prints and exits.

Exit 0 done; 1 refused, nothing changed, one line says why; 2 wrong usage.
"""

import argparse
import math
import re
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from tbmreview import __version__
from tbmreview.domain.cautions import CAUTION
from tbmreview.domain.errors import TbmReviewError, UsageError
from tbmreview.domain.ground import GROUND_KINDS
from tbmreview.domain.station import decimetres

if TYPE_CHECKING:
    from tbmreview.domain.table import Table
    from tbmreview.drive.opened import Drive

BY = ("step", "stroke", "ring", "ring-place", "shift", "day", "ground", "mark", "drive")

FARTHEST_M = 1e7  # as in the setup: no chainage lies beyond
LONGEST_STEP_M = 10_000.0


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    arguments = _parser().parse_args(argv)
    try:
        run: Callable[[argparse.Namespace], int] = arguments.run
        return run(arguments)
    except UsageError as error:
        return _say(str(error), 2)
    except TbmReviewError as error:
        return _say(str(error), 1)
    except KeyboardInterrupt:
        return _say("stopped; the drive is as it was", 1)
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except OSError as error:
        return _say(f"{error.filename or 'file'}: {error.strerror or error}", 1)


def _say(text: str, code: int) -> int:
    print(f"tbmreview: {' '.join(text.split())}", file=sys.stderr)
    return code


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="tbmreview",
        description="Review what a hard-rock tunnel boring machine logged, along chainage.",
        epilog=CAUTION,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"tbmreview {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for define in (_demo, _start, _columns, _add, _ground, _table, _time, _findings, _sheet, _check, _view):
        define(commands)
    return parser


Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"


def _command(
    commands: Commands, run: Callable[[argparse.Namespace], int], what: str, example: str
) -> argparse.ArgumentParser:
    name = run.__name__.removeprefix("run_")
    parser = commands.add_parser(
        name,
        help=what,
        description=what,
        epilog=f"example:\n  tbmreview {name} {example}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.set_defaults(run=run)
    return parser


def _demo(commands: Commands) -> None:
    parser = _command(
        commands,
        run_demo,
        "build the invented sample drive from sample_logs and open it",
        "larkfell --no-window",
    )
    parser.add_argument("folder", metavar="FOLDER", nargs="?", type=Path, default=Path("larkfell-demo"))
    parser.add_argument(
        "--no-window", action="store_true", help="print what was found, write a sheet and a table into FOLDER"
    )


def _start(commands: Commands) -> None:
    parser = _command(commands, run_start, "make a drive folder", "east-drive --setup drive.toml")
    _drive(parser)
    parser.add_argument(
        "--setup",
        metavar="FILE",
        type=Path,
        required=True,
        help="what is known of drive, machine and shifts (TOML)",
    )


def _columns(commands: Commands) -> None:
    parser = _command(
        commands,
        run_columns,
        "show how each column of a log is understood; exit 1 while a question is open",
        "monday.csv --setup drive.toml --out map.toml",
    )
    parser.add_argument("files", metavar="FILE", nargs="+", type=Path)
    parser.add_argument(
        "--setup", metavar="FILE", type=Path, help="the drive's setup: its zone and machine settle questions"
    )
    parser.add_argument(
        "--out", metavar="MAP.toml", type=Path, help="write the map, to edit and to give to add --columns"
    )


def _add(commands: Commands) -> None:
    parser = _command(
        commands, run_add, "import logs: all files or none", "east-drive monday.csv tuesday.zip"
    )
    _drive(parser)
    parser.add_argument("files", metavar="FILE", nargs="+", type=Path)
    parser.add_argument(
        "--columns",
        metavar="MAP.toml",
        type=Path,
        help="how columns are to be understood (see columns --out)",
    )
    parser.add_argument(
        "--replace",
        action="store_true",
        help="the files correct what is stored: their values win where both have the stamp",
    )


def _ground(commands: Commands) -> None:
    parser = _command(
        commands,
        run_ground,
        "import a ground table",
        "east-drive forecast.csv --as predicted --name tender --issued 2030-05-01",
    )
    _drive(parser)
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


def _table(commands: Commands) -> None:
    parser = _command(commands, run_table, "indicators, grouped", "east-drive --by ground --out ground.csv")
    _drive(parser)
    parser.add_argument("--by", choices=BY, required=True)
    parser.add_argument(
        "--step",
        metavar="M",
        type=_step,
        help="step in m, a multiple of 0.1 (with --by step; default 1.0)",
    )
    _stretch(parser, required=False)
    _out(parser)


def _time(commands: Commands) -> None:
    parser = _command(commands, run_time, "hours by state, utilisation and rates", "east-drive --by shift")
    _drive(parser)
    parser.add_argument("--by", choices=("shift", "day", "drive"), default="shift")
    _out(parser)


def _findings(commands: Commands) -> None:
    parser = _command(
        commands, run_findings, "what was noticed, with its evidence", "east-drive --out findings.csv"
    )
    _drive(parser)
    _out(parser)


def _sheet(commands: Commands) -> None:
    parser = _command(
        commands,
        run_sheet,
        "annotated sheets at a fixed scale",
        "east-drive --from 4+250 --to 4+400 --out sheet.pdf",
    )
    _drive(parser)
    _stretch(parser, required=True)
    parser.add_argument(
        "--scale", metavar="N", type=_scale, default=500, help="length scale 1:N (default 500)"
    )
    parser.add_argument("--out", metavar="FILE", type=Path, required=True, help=".pdf, .svg or .png")


def _check(commands: Commands) -> None:
    parser = _command(commands, run_check, "verify every chunk, the catalogue and the totals", "east-drive")
    _drive(parser)
    for option, what in (
        ("--quarantine", "rows that were not taken in"),
        ("--conflicts", "rows whose stamp was there with other values"),
    ):
        parser.add_argument(
            option, metavar="FILE", type=Path, help=f"write the {what} (.csv, .parquet or .xlsx)"
        )


def _view(commands: Commands) -> None:
    _drive(_command(commands, run_view, "open the window", "east-drive"))


def _drive(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("drive", metavar="DRIVE", type=Path, help="the drive folder")


def _stretch(parser: argparse.ArgumentParser, *, required: bool) -> None:
    for option, dest in (("--from", "from_m"), ("--to", "to_m")):
        parser.add_argument(
            option,
            dest=dest,
            metavar="C",
            type=_chainage,
            required=required,
            help="chainage, 4+250 or 4250.0",
        )


def _out(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--out", metavar="FILE", type=Path, help=".csv, .parquet or .xlsx; without it, text")


def _chainage(text: str) -> float:
    """'12+345.60' or '12345.6' in metres."""
    found = re.fullmatch(r"(-?)(\d+)\+(\d{3}(?:\.\d+)?)", text.strip())
    if found:
        value = int(found[2]) * 1000 + float(found[3])
        return -value if found[1] else value
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not abs(value) <= FARTHEST_M:
        raise argparse.ArgumentTypeError(f"{text!r} is no chainage; write 4+250.0 or 4250.0")
    return value


def _step(text: str) -> float:
    try:
        step_m = decimetres(float(text)) / 10
    except (ValueError, OverflowError):
        step_m = math.inf
    if step_m > LONGEST_STEP_M:
        raise argparse.ArgumentTypeError(
            f"{text!r} is no step; a step is a multiple of 0.1 m, up to {LONGEST_STEP_M:g} m"
        )
    return step_m


def _scale(text: str) -> int:
    if not text.isdigit() or not 10 <= int(text) <= 100_000:
        raise argparse.ArgumentTypeError(f"{text!r} is no scale; write 500 for 1:500 (10 to 100000)")
    return int(text)


def run_start(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.start import start

    drive = start(arguments.drive, arguments.setup)
    print(
        f"{drive.folder}: drive '{drive.setup.drive.name}' made; its setup, with every default, is drive.toml"
    )
    return 0


def run_columns(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.columns import columns

    seen = columns(arguments.files, arguments.setup)
    print(seen.text())
    if arguments.out:
        seen.write_map(arguments.out)
        print(f"written: {arguments.out}")
    return 1 if seen.questions else 0


def run_add(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.add import add
    from tbmreview.drive.progress import progress_bar

    with progress_bar("adding") as progress:
        report = add(
            arguments.drive,
            arguments.files,
            column_map=arguments.columns,
            progress=progress,
            replace=arguments.replace,
        )
    print(report.text())
    return 0


def run_ground(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.ground import import_ground

    print(
        import_ground(
            arguments.drive, arguments.file, arguments.kind, name=arguments.name, issued=arguments.issued
        )
    )
    return 0


def run_table(arguments: argparse.Namespace) -> int:
    if arguments.step is not None and arguments.by != "step":
        print(f"tbmreview: note: --step is of no use with --by {arguments.by}", file=sys.stderr)
    drive = _opened(arguments)
    return _put(
        drive,
        drive.table(
            arguments.by,
            step_m=arguments.step or 1.0,
            from_chainage_m=arguments.from_m,
            to_chainage_m=arguments.to_m,
        ),
        arguments.out,
    )


def run_time(arguments: argparse.Namespace) -> int:
    drive = _opened(arguments)
    return _put(drive, drive.time(arguments.by), arguments.out)


def run_findings(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.detect import findings_table, findings_text

    drive = _opened(arguments)
    if arguments.out:
        return _put(drive, findings_table(drive), arguments.out)
    print(findings_text(drive))
    print(f"\n{CAUTION}")
    return 0


def run_sheet(arguments: argparse.Namespace) -> int:
    from tbmreview.sheet.write import write_sheet

    drive = _opened(arguments)
    for path in write_sheet(drive, arguments.out, arguments.from_m, arguments.to_m, scale=arguments.scale):
        print(f"written: {path}")
    return 0


def run_check(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.check import check

    report = check(arguments.drive)
    print(report.text())
    if arguments.quarantine or arguments.conflicts:
        drive = _opened(arguments)
        for out, rows in ((arguments.quarantine, drive.quarantine), (arguments.conflicts, drive.conflicts)):
            if out:
                _put(drive, rows(), out)
    return 1 if report.problems else 0


def run_view(arguments: argparse.Namespace) -> int:
    from tbmreview.viewer.app import run

    _opened(arguments)
    return run(arguments.drive)


def run_demo(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.demo import build, report_text
    from tbmreview.drive.export import write_table
    from tbmreview.drive.progress import progress_bar

    with progress_bar("reading") as progress:
        demo = build(arguments.folder, progress=progress)
    print(report_text(demo))
    if not arguments.no_window:
        from tbmreview.viewer.app import run

        return run(demo.drive.folder)
    from tbmreview.sheet.write import write_sheet

    table = arguments.folder / "by-metre.csv"
    write_table(demo.drive.table("step", step_m=1.0), table)
    low, high = sorted(demo.stretch_m)
    for path in [table, *write_sheet(demo.drive, arguments.folder / "sheet.pdf", low, high)]:
        print(f"written: {path}")
    print(f"\n{CAUTION}")
    return 0


def _opened(arguments: argparse.Namespace) -> "Drive":
    from tbmreview.drive.opened import open_drive

    return open_drive(arguments.drive)


def _put(drive: "Drive", table: "Table", out: Path | None) -> int:
    from tbmreview.drive.export import text_table, write_table

    if out is None:
        print(text_table(table, drive.setup.drive.zone))
    else:
        write_table(table, out)
        print(f"written: {out}, {len(table)} rows")
    return 0
