"""The command line: reads a command, runs it, and turns what went wrong into an exit code.

Exit 0 done; 1 refused, nothing changed, one line says why; 2 wrong usage.
"""

import argparse
import sys
from collections.abc import Callable, Sequence

from tbmreview import __version__
from tbmreview.commands import (
    anchors,
    balance,
    discs,
    expectations,
    judging,
    logs,
    notes,
    pads,
    pages,
    penetration,
    site,
    tables,
)
from tbmreview.domain.cautions import CAUTION
from tbmreview.domain.errors import TbmReviewError, UsageError

# In the order of the help.
COMMANDS = (
    pages.define_demo,
    logs.define_start,
    logs.define_columns,
    logs.define_add,
    site.define_ground,
    anchors.define_anchors,
    site.define_delays,
    site.define_overrule,
    tables.define_table,
    tables.define_time,
    tables.define_findings,
    judging.define_verdict,
    judging.define_marks,
    judging.define_mark,
    judging.define_sign_off,
    judging.define_alignment,
    balance.define_balance,
    balance.define_backfill,
    balance.define_water,
    discs.define_discs,
    pads.define_pads,
    expectations.define_classes,
    expectations.define_expect,
    expectations.define_fit,
    penetration.define_penetration_test,
    pages.define_sheet,
    pages.define_shift,
    logs.define_check,
    pages.define_view,
    notes.define_help,
)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    try:
        arguments = _parser().parse_args(argv)
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
        formatter_class=lambda prog: argparse.RawDescriptionHelpFormatter(prog, max_help_position=16),
    )
    parser.add_argument("--version", action="version", version=f"tbmreview {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for define in COMMANDS:
        define(commands)
    return parser
