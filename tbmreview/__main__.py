"""``python -m tbmreview`` is ``tbmreview``."""

import sys


def main() -> int:
    """Run the command line; Ctrl-C while the program is still loading ends it as at any later moment."""
    try:
        from tbmreview import cli

        return cli.main()
    except KeyboardInterrupt:
        print("tbmreview: stopped; the drive is as it was", file=sys.stderr)
        return 1


if __name__ == "__main__":
    sys.exit(main())
