"""`spoolwright life`: add ledgers of life-limited parts up again; count cycles in recordings."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from spoolwright.crafts.life.rules import Standing

app = typer.Typer(no_args_is_help=True, help="Ledgers of life-limited parts; cycles in recordings.")

NOT_CLEAN = 2

CHECK_EPILOG = """\b
Example:
  spoolwright life check cards.csv --type corrie_940.toml --out read.csv

\b
The table has a row for each birth and each line of use; columns part_number, serial, event (birth or use),
engine, on, off, engine_hours_on, engine_hours_off, engine_starts_on, engine_starts_off, part_hours_on,
part_hours_off, part_cycles_on, part_cycles_off, class, table, flown (full=120; partial=34), document.

\b
Exit code: 0 every life is proven and within its limits, 2 one is not, 4 the table cannot be read."""

COUNT_EPILOG = """\b
Example:
  spoolwright life count run.parquet --type corrie_940.toml

\b
Advice only: the manual's count alone enters a part's total."""

TypeOption = Annotated[
    Path | None,
    typer.Option("--type", metavar="FILE", help="Type file; NAME.shop beside it holds the limits."),
]


@app.command("check", epilog=CHECK_EPILOG)
def check(
    ledger: Annotated[Path, typer.Argument(metavar="LEDGER.csv", help="Table of ledgers.")],
    type_file: TypeOption = None,
    on: Annotated[
        str, typer.Option("--on", metavar="DAY", help="Day whose limits hold, as 2026-03-14; else today.")
    ] = "",
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write every line with its arithmetic.")
    ] = None,
) -> None:
    """Add every ledger up again from birth and tell each gap and contradiction."""
    from rich.console import Console

    from spoolwright.bootstrap.lives import check_ledgers, write_read_ledgers
    from spoolwright.cli.mistakes import print_mistakes
    from spoolwright.errors import LedgerError
    from spoolwright.sources.typefile import shipped_type

    day = _day(on)
    try:
        standings = check_ledgers(ledger, type_file or shipped_type(), day)
    except LedgerError as error:
        print_mistakes(error, ledger)
        raise typer.Exit(error.exit_code) from None
    if out is not None:
        write_read_ledgers(standings, out)
    console = Console(highlight=False, markup=False)
    for standing in standings:
        _print(standing, console)
    clean = sum(s.may_be_fitted for s in standings)
    console.print(f"{clean} of {len(standings)} proven and within their limits on {day}. A person disposes.")
    if clean < len(standings):
        raise typer.Exit(NOT_CLEAN)


def _day(text: str) -> date:
    from spoolwright.errors import InputError

    if not text:
        return datetime.now(UTC).date()
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"'{text[:40]}' is not a day.", where="--on", mend="Write 2026-03-14.") from None


def _print(standing: Standing, console: Console) -> None:
    from spoolwright.reports.figures import printable

    head = f"{standing.part_number}, serial {standing.serial}: {standing.verdict}"
    console.print(printable(head), style="bold", soft_wrap=True)
    for against in standing.limits:
        console.print(printable(f"  {against.text}"), soft_wrap=True)
    for finding in standing.ledger.findings:
        console.print(printable(f"  {finding}"), soft_wrap=True)
        console.print(printable(f"    {finding.mend}"), style="dim", soft_wrap=True)


@app.command("count", epilog=COUNT_EPILOG)
def count(
    recording: Annotated[Path, typer.Argument(metavar="RECORDING", help="Recorded run or flight.")],
    type_file: TypeOption = None,
) -> None:
    """Count the cycles in a recording's gas generator speed, as advice."""
    from rich.console import Console

    from spoolwright.bootstrap.lives import count_cycles
    from spoolwright.sources.typefile import shipped_type

    counted = count_cycles(recording, type_file or shipped_type())
    console = Console(highlight=False, markup=False)
    for module, said in counted.calculation.result.items():
        cycles = said["full_cycles"]
        console.print(f"{module.replace('_', ' ')}: {cycles:.3f} full cycles")
    console.print("Advice by rainflow counting. The manual's count alone enters a total.")
