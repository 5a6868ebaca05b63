"""`spoolwright figures`: a shop's own figures from a table of lives."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

EPILOG = """\b
Example:
  spoolwright figures lives.csv --out figures.csv --curves curves.csv --fleet-hours 420 --lead-days 60

\b
The table has a row for each part; columns part, hours, ended (failed, suspended, between), cause, good_at.
`between`: good at good_at hours, found failed at hours. Intervals: 90 % of shape, scale and B10 life, 95 % of
the curve. Stock: expected failures of the fleet in a lead time, enough for the service level.

\b
Exit code: 0 read, 4 the table cannot be read."""


def figures(
    lives: Annotated[Path, typer.Argument(metavar="LIVES.csv", help="Table of lives.")],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write a row for each part.")
    ] = None,
    curves: Annotated[
        Path | None, typer.Option("--curves", metavar="FILE", help="Write the product-limit curves.")
    ] = None,
    fleet_hours: Annotated[
        float | None,
        typer.Option("--fleet-hours", metavar="H", min=0.0, help="Hours the fleet flies in a month."),
    ] = None,
    lead_days: Annotated[
        float | None, typer.Option("--lead-days", metavar="D", min=0.0, help="Days from order to arrival.")
    ] = None,
    service: Annotated[
        float,
        typer.Option("--service", metavar="SHARE", min=0.01, max=0.9999, help="Service level of the stock."),
    ] = 0.95,
) -> None:
    """Weibull and product-limit lives with suspensions, competing causes, stock for a service level."""
    from rich.console import Console

    from spoolwright.bootstrap.own_figures import curves_csv, figures_csv, read_figures, write_table
    from spoolwright.cli.mistakes import print_mistakes
    from spoolwright.crafts.scope.figures import demand_of
    from spoolwright.errors import LivesError

    try:
        found = read_figures(lives)
    except LivesError as error:
        print_mistakes(error, lives)
        raise typer.Exit(error.exit_code) from None
    say = Console(highlight=False, soft_wrap=True).print
    for f in found:
        said = f.told
        if f.fit is not None:
            low, high = f.fit.life_interval(0.1)
            said = (
                f"shape {f.fit.shape:.4g}, scale {f.fit.scale:.5g} h, "
                f"B10 {f.fit.life(0.1):.4g} h ({low:.4g} to {high:.4g})"
            )
        say(f"{f.part}: {f.failed} failed, {f.suspended} suspended; {said}", markup=False)
        for cause, fit in f.causes.items():
            say(
                f"  {cause or 'no cause given'}: shape {fit.shape:.4g}, scale {fit.scale:.5g} h", markup=False
            )
        if fleet_hours and lead_days and (d := demand_of(f, fleet_hours, lead_days, service)):
            say(f"  {d.in_lead_time:.3g} expected in a lead time: stock {d.stock}, fill rate {d.fill:.3f}")
    if out is not None:
        write_table(figures_csv(found, fleet_hours, lead_days, service), out)
    if curves is not None:
        write_table(curves_csv(found), curves)
