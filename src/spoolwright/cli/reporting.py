"""The end of a command that writes reports: what was found is told first, then what could not be written."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import typer

from spoolwright.errors import OutputError

if TYPE_CHECKING:
    from rich.console import Console


@dataclass(frozen=True)
class Written:
    """Reports that were written, and what kept one from being."""

    paths: Sequence[Path]
    failed: OutputError | None = None

    def end(self, console: Console, code: int) -> NoReturn:
        """Name the reports and end the command: with the failure, else with an exit code."""
        print_written(console, *self.paths)
        if self.failed is not None:
            raise self.failed
        raise typer.Exit(code)


def attempted(write: Callable[[], Sequence[Path]]) -> Written:
    """Write reports; a failure is kept until what was found is told."""
    try:
        return Written(write())
    except OutputError as error:
        return Written((), error)


def print_written(console: Console, *paths: Path) -> None:
    """Name files that were written, a line each."""
    from spoolwright.reports.figures import printable

    for path in paths:
        console.print(f"Written: {printable(str(path))}", highlight=False, markup=False, soft_wrap=True)
