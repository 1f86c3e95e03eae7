"""Making a drive and taking in what was logged: start, columns, add, check."""

import argparse
from pathlib import Path

from tbmreview.commands.arguments import Commands, command, drive_argument, put


def define_start(commands: Commands) -> None:
    parser = command(commands, run_start, "make a drive folder", "east-drive --setup drive.toml")
    drive_argument(parser)
    parser.add_argument(
        "--setup",
        metavar="FILE",
        type=Path,
        required=True,
        help="what is known of drive, machine and shifts (TOML)",
    )


def run_start(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.start import start

    drive = start(arguments.drive, arguments.setup)
    print(
        f"{drive.folder}: drive '{drive.setup.drive.name}' made; its setup, with every default, is drive.toml"
    )
    return 0


def define_columns(commands: Commands) -> None:
    parser = command(
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


def run_columns(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.columns import columns

    seen = columns(arguments.files, arguments.setup)
    print(seen.text())
    if arguments.out:
        seen.write_map(arguments.out)
        print(f"written: {arguments.out}")
    return 1 if seen.questions else 0


def define_add(commands: Commands) -> None:
    parser = command(commands, run_add, "import logs: all files or none", "east-drive monday.csv tuesday.zip")
    drive_argument(parser)
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


def run_add(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.add import add
    from tbmreview.drive.progress import interruptible, progress_bar

    with interruptible() as stopped, progress_bar("reading") as progress:
        report = add(
            arguments.drive,
            arguments.files,
            column_map=arguments.columns,
            progress=progress,
            cancelled=stopped,
            replace=arguments.replace,
        )
    print(report.text())
    return 0


def define_check(commands: Commands) -> None:
    parser = command(commands, run_check, "verify every chunk, the catalogue and the totals", "east-drive")
    drive_argument(parser)
    for option, what in (
        ("--quarantine", "rows that were not taken in"),
        ("--conflicts", "rows whose stamp was there with other values"),
        ("--set-aside", "values that were measured and made missing for the rows around them"),
    ):
        parser.add_argument(
            option, metavar="FILE", type=Path, help=f"write the {what} (.csv, .parquet or .xlsx)"
        )


def run_check(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.check import check
    from tbmreview.drive.opened import open_drive

    report = check(arguments.drive)
    print(report.text())
    wanted = (arguments.quarantine, arguments.conflicts, arguments.set_aside)
    if any(wanted):
        drive = open_drive(arguments.drive)
        for out, rows in zip(wanted, (drive.quarantine, drive.conflicts, drive.set_aside), strict=True):
            if out:
                put(drive, rows(), out)
    return 1 if report.problems else 0
