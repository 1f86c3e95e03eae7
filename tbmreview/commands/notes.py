"""The method notes at the terminal: help."""

import argparse
import shutil
import textwrap

from tbmreview.commands.arguments import Commands, command

MORE = "tbmreview help TOPIC prints a note; a column, strip, model or kind of finding leads to its own."


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

    width = shutil.get_terminal_size().columns
    if arguments.topic:
        print(text_of(page(page_of_topic(arguments.topic)), width), end="")
        return 0
    names = max(map(len, PAGES)) + 2
    for name in PAGES:
        said = f"{name:<{names}}{page(name).summary.replace('`', '')}"
        print(textwrap.fill(said, width, subsequent_indent=" " * names))
    print()
    print(textwrap.fill(MORE, width))
    return 0
