"""The method notes at the terminal: help."""

import argparse
import shutil
import textwrap

from tbmreview.commands.arguments import Commands, command


def define_help(commands: Commands) -> None:
    parser = command(
        commands,
        run_help,
        "method notes: what a figure is, its formula, source, and what breaks it",
        "net_fpi_kN_per_mm_rev",
    )
    parser.add_argument(
        "topic",
        metavar="TOPIC",
        nargs="?",
        help="a note, a column, a strip, a model or a kind of finding; without it, the list of notes",
    )


def run_help(arguments: argparse.Namespace) -> int:
    from tbmreview.help import PAGES, page, page_of_topic, text_of

    if arguments.topic:
        print(text_of(page(page_of_topic(arguments.topic)), shutil.get_terminal_size().columns), end="")
        return 0
    wide = max(map(len, PAGES)) + 2
    for name in PAGES:
        said = f"{name:<{wide}}{page(name).summary.replace('`', '')}"
        print(textwrap.fill(said, shutil.get_terminal_size().columns, subsequent_indent=" " * wide))
    print("\ntbmreview help TOPIC prints a note; a column, strip, model or kind of finding leads to its own.")
    return 0
