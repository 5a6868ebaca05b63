"""The command line. Start-up loads nothing heavy: each command imports what it needs when it runs."""

from __future__ import annotations

import os
import sys
from typing import Annotated

import typer

from spoolwright import __version__
from spoolwright.cli import assess_commands, demo_commands, rig_commands, type_commands
from spoolwright.errors import SpoolwrightError

app = typer.Typer(
    name="spoolwright",
    help="A recorded engine test run in, a defensible proposal out. A licensed person decides.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
app.command("assess")(assess_commands.assess)
app.add_typer(type_commands.app, name="type")
app.add_typer(rig_commands.app, name="rig")
app.command("demo")(demo_commands.demo)

INTERNAL_ERROR = 70


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"spoolwright {__version__}")
        raise typer.Exit


@app.callback()
def main(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Version.")
    ] = False,
) -> None:
    """A recorded engine test run in, a defensible proposal out."""


def run() -> None:
    """Entry point: an error of ours becomes a sentence and an exit code, never a traceback."""
    try:
        app()
    except SpoolwrightError as error:
        typer.echo(f"spoolwright: {error}", err=True)
        sys.exit(error.exit_code)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(141)
    except MemoryError:
        typer.echo(
            "spoolwright: there is not enough memory for this. Assess fewer or shorter runs.", err=True
        )
        sys.exit(INTERNAL_ERROR)
    except Exception as error:
        if os.environ.get("SPOOLWRIGHT_TRACEBACK"):
            raise
        typer.echo(
            f"spoolwright: a fault in the program itself ({type(error).__name__}: {error}). "
            "Set SPOOLWRIGHT_TRACEBACK=1 and run again to see where, and report it.",
            err=True,
        )
        sys.exit(INTERNAL_ERROR)
