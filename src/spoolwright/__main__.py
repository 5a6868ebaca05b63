"""Where the program begins: Ctrl-C while it still loads ends it with a word too."""

from __future__ import annotations

import sys


def run() -> None:
    """Load the command line and hand over to it."""
    try:
        from spoolwright.cli.main import run as command

        command()
    except KeyboardInterrupt:
        sys.stderr.write("spoolwright: interrupted. No report was left half written.\n")
        sys.exit(130)


if __name__ == "__main__":
    run()
