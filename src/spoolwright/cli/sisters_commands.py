"""`spoolwright sisters`: engines that share a confirmed cause."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from spoolwright.bootstrap.sharing import SistersFound

_NAMED = 12
"""Engines without an entry that are named; of more, the number is told."""

EPILOG = """\b
Example:
  spoolwright sisters history.csv --engine H4417 --shares gauge=G-12
  spoolwright sisters history.csv --engine H4417 --shares part_lot --shares balancer

\b
A gauge or cell whose days of calibration are recorded is shared only by engines on which it was used since
the last good calibration before its use on this engine, and before the next one."""


def sisters(
    history: Annotated[
        Path, typer.Argument(metavar="HISTORY", help="The shop's history: CSV with a header line.")
    ],
    engine: Annotated[str, typer.Option(metavar="SERIAL", help="Engine in which the cause was confirmed.")],
    visit: Annotated[str | None, typer.Option(metavar="NAME", help="Its visit; else the last one.")] = None,
    shares: Annotated[
        list[str] | None,
        typer.Option(
            metavar="COLUMN[=NAME]",
            help="What the cause came from; without NAME all that the engine has there. Else every column.",
        ),
    ] = None,
) -> None:
    """List the engines that share with an engine what its confirmed cause came from, newest first."""
    from spoolwright import bootstrap

    _print(bootstrap.sisters(history, engine, visit=visit, shares=shares or ()))


def _print(found: SistersFound) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from spoolwright.reports.figures import printable

    console = Console(highlight=False, markup=False)
    visit = f", visit {found.visit}" if found.visit else ""
    console.print(
        printable(f"Engine {found.engine}{visit}: {'; '.join(found.looked_for) or 'nothing recorded'}.")
    )
    if not found.sisters:
        console.print("No other engine of the shop history shares it.")
    else:
        table = Table(box=None, pad_edge=False)
        for name in ("engine", "released", "shares"):
            table.add_column(name)
        for s in found.sisters:
            released = s.released_on or "still in the shop"
            table.add_row(*(Text(printable(t)) for t in (s.engine, released, "; ".join(s.shares))))
        console.print(table)
    if found.not_recorded:
        count = len(found.not_recorded)
        named = ", ".join(found.not_recorded[:_NAMED]) + (", …" if count > _NAMED else "")
        told = (
            f"Not recorded for {count} engine{'s' if count > 1 else ''}, which cannot be ruled out: {named}."
        )
        console.print(printable(told), soft_wrap=True)
