"""What is drawn: sheet, shift, view, demo."""

import argparse
from pathlib import Path

from tbmreview.commands.arguments import Commands, command, drive_argument, opened, scale, stretch_arguments
from tbmreview.domain.cautions import CAUTION


def define_demo(commands: Commands) -> None:
    parser = command(
        commands,
        run_demo,
        "build the invented sample drive from sample_logs and open it",
        "larkfell --no-window",
    )
    parser.add_argument("folder", metavar="FOLDER", nargs="?", type=Path, default=Path("larkfell-demo"))
    parser.add_argument(
        "--no-window",
        action="store_true",
        help="print the drive on a page; write a sheet of the whole, sheets at 1:500 and a table into FOLDER",
    )


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
    whole = write_sheet(demo.drive, arguments.folder / "whole.pdf", low, high, scale=None)
    for path in [table, *whole, *write_sheet(demo.drive, arguments.folder / "sheet.pdf", low, high)]:
        print(f"written: {path}")
    print(f"\n{CAUTION}")
    return 0


def define_sheet(commands: Commands) -> None:
    parser = command(
        commands,
        run_sheet,
        "annotated sheets at a fixed scale",
        "east-drive --from 4+250 --to 4+400 --out sheet.pdf",
    )
    drive_argument(parser)
    stretch_arguments(parser, required=True)
    parser.add_argument(
        "--scale", metavar="N", type=scale, default=500, help="length scale 1:N (default 500)"
    )
    parser.add_argument(
        "--strips",
        metavar="STRIP",
        nargs="+",
        type=strip,
        help="the strips from the top down; a name that there is not lists them all (by default "
        "penetration, thrust, torque, fpi, energy, reaction)",
    )
    parser.add_argument(
        "--classes",
        metavar="ROW",
        nargs="*",
        type=class_row,
        help="rows of classes below the ground, where its table carries them: rmr_class, predicted_rmr_class, …; "
        "alone: none (by default those of mapped ground)",
    )
    parser.add_argument(
        "--band",
        action="store_true",
        help="behind the values a pale band of their 95 %% uncertainty, from [accuracy] in drive.toml",
    )
    parser.add_argument("--out", metavar="FILE", type=Path, required=True, help=".pdf, .svg or .png")


def strip(name: str) -> str:
    from tbmreview.scene.strips import BY_NAME, families

    if name not in BY_NAME:
        listed = "; ".join(f"{f}: {', '.join(s.name for s in strips)}" for f, strips in families().items())
        raise argparse.ArgumentTypeError(f"{name!r} is no strip; there are {listed}")
    return name


def class_row(name: str) -> str:
    from tbmreview.scene.class_list import CLASSES_BY_NAME

    if name not in CLASSES_BY_NAME:
        raise argparse.ArgumentTypeError(
            f"{name!r} is no row of classes; there are {', '.join(CLASSES_BY_NAME)}"
        )
    return name


def run_sheet(arguments: argparse.Namespace) -> int:
    from tbmreview.scene.class_list import DEFAULT_CLASSES
    from tbmreview.scene.strips import DEFAULT
    from tbmreview.sheet.write import Choice, write_sheet

    drive = opened(arguments)
    classes = DEFAULT_CLASSES if arguments.classes is None else tuple(arguments.classes)
    choice = Choice(tuple(arguments.strips or DEFAULT), band=arguments.band, classes=classes)
    stretch = (arguments.from_m, arguments.to_m)
    for path in write_sheet(drive, arguments.out, *stretch, scale=arguments.scale, choice=choice):
        print(f"written: {path}")
    return 0


def define_shift(commands: Commands) -> None:
    parser = command(
        commands,
        run_shift,
        "the morning's shift review: a page a shift",
        "east-drive --date 2030-05-02 --name early --out shift.pdf",
    )
    drive_argument(parser)
    parser.add_argument(
        "--date",
        metavar="D",
        help="date on which the shifts start, 2030-05-02; by default the last with a record",
    )
    parser.add_argument("--name", metavar="N", help="one shift of the date; by default all")
    parser.add_argument("--out", metavar="FILE", type=Path, required=True, help=".pdf, .svg or .png")


def run_shift(arguments: argparse.Namespace) -> int:
    from tbmreview.sheet.shift_page import write_shifts

    drive = opened(arguments)
    for path in write_shifts(drive, arguments.out, arguments.date, arguments.name):
        print(f"written: {path}")
    return 0


def define_view(commands: Commands) -> None:
    drive_argument(command(commands, run_view, "open the window", "east-drive"))


def run_view(arguments: argparse.Namespace) -> int:
    from tbmreview.drive.opened import open_drive
    from tbmreview.viewer.app import run

    open_drive(arguments.drive)  # a folder that is none is told before any window
    return run(arguments.drive)
