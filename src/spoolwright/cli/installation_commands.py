"""`spoolwright installation`: checks on the aircraft against the bench run."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

EPILOG = """\b
Example:
  spoolwright installation check checks.csv --run run-1.csv --type corrie_940.toml --out told.csv

\b
checks.csv has a header line with units in brackets:
  date,hours [h],pressure_altitude [ft],oat [degC],ng [%],np [%],torque [%],mgt [degC],bleed,anti_ice
The flight manual's table comes from NAME.shop/power_check.toml beside the type file.

\b
Exit code: 0 every check meets the manual, 10 one does not, 11 the manual does not cover one;
2 the call is wrong, 3 to 5 the input, 6 a result could not be written."""

app = typer.Typer(help="After installation: the operator's checks on the aircraft.", no_args_is_help=True)


@app.callback()
def installation() -> None:
    """After installation: the operator's checks on the aircraft."""


@app.command("check", epilog=EPILOG)
def check(
    checks: Annotated[Path, typer.Argument(metavar="CHECKS", help="The operator's checks, a CSV file.")],
    run: Annotated[
        list[Path], typer.Option(metavar="RUN", help="Accepted bench run; the last one is compared with.")
    ],
    type_file: Annotated[Path, typer.Option("--type", metavar="FILE", help="Type file of the engine.")],
    sheet: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE", help="Run sheet per RUN; else NAME.run.toml."),
    ] = None,
    baseline: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The shop's average engine, from `calibrate`.")
    ] = None,
    out: Annotated[Path | None, typer.Option(metavar="FILE", help="Write a row a check as CSV.")] = None,
) -> None:
    """Compare checks on the aircraft with the bench run: the manual's verdict, agreement, margin, trend."""
    from spoolwright import bootstrap
    from spoolwright.bootstrap.installing import check_installation
    from spoolwright.cli.progress import progress_bar
    from spoolwright.reports.figures import printable
    from spoolwright.reports.installation_table import csv_text, lines_of
    from spoolwright.reports.jsonfile import write_text

    inputs = [checks, *run, type_file, *(sheet or []), *filter(None, [baseline])]
    bootstrap.check_outputs([out] if out else [], inputs)
    with progress_bar("Comparing") as tell:
        found = check_installation(checks, run, type_file, sheets=sheet, baseline=baseline, progress=tell)
    for line in lines_of(found):
        typer.echo(printable(line))
    if out is not None:
        write_text(out, csv_text(found))
        typer.echo(f"Written: {printable(str(out))}")
    outcomes = {c.manual for c in found.checks}
    raise typer.Exit(10 if "does not meet" in outcomes else 11 if "cannot tell" in outcomes else 0)
