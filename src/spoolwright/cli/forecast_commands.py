"""`spoolwright forecast`: will this build pass its run, what eats the margin, what would mend it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from spoolwright.cli import options

EXIT_BY_OUTCOME = {"likely": 0, "uncertain": 12, "unlikely": 10, "cannot_tell": 11}

EPILOG = """\b
Example:
  spoolwright forecast H4417.build.toml --type corrie_940.toml --html forecast.html

\b
Exit code: 0 likely to pass (90 % or more), 10 more likely to fail, 12 between the two, 11 cannot tell;
2 the call is wrong, 3 to 5 the input, 6 a result could not be written."""


def forecast(
    build: Annotated[Path, typer.Argument(metavar="BUILD", help="Build sheet: what was found and built.")],
    type_file: options.TypeFile,
    baseline: options.Baseline = None,
    rules: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Rules as learnt, from `spoolwright forecast-learn`."),
    ] = None,
    costs: options.Costs = None,
    guard_band: Annotated[
        float,
        typer.Option(
            min=0.0,
            max=5.0,
            metavar="TIMES",
            help="Guard band in expanded uncertainties (k = 2) of the reading; the type file's at least.",
        ),
    ] = 0.0,
    json: options.Json = None,
    html: options.Html = None,
    pdf: options.Pdf = None,
    everything: Annotated[bool, typer.Option("--all", help="List every change, not the best only.")] = False,
) -> None:
    """Forecast from a build sheet whether the engine will pass its run."""
    from rich.console import Console

    from spoolwright import bootstrap
    from spoolwright.cli.progress import progress_bar
    from spoolwright.cli.reporting import attempted
    from spoolwright.reports.forecast_terminal import print_forecast

    inputs = [build, type_file, *filter(None, (baseline, rules, costs))]
    bootstrap.check_outputs([p for p in (json, html, pdf) if p is not None], inputs)
    with progress_bar("Forecasting") as tell:
        result = bootstrap.forecast(
            build,
            type_file,
            baseline=baseline,
            rules=rules,
            costs=costs,
            guard_times=guard_band,
            progress=tell,
        )
        written = attempted(
            lambda: bootstrap.write_forecast(result, json=json, html=html, pdf=pdf, progress=tell)
        )
    console = Console()
    print_forecast(result, console, everything=everything)
    written.end(console, EXIT_BY_OUTCOME[result.outcome])


LEARN_EPILOG = """\b
Example:
  spoolwright forecast-learn history.toml --type corrie_940.toml --out rules.json
  spoolwright forecast H4418.build.toml --type corrie_940.toml --rules rules.json

\b
The history names for each build that was run its build sheet and the result of `spoolwright assess`."""


def forecast_learn(
    history: Annotated[
        Path, typer.Argument(metavar="HISTORY", help="TOML file: builds that were run, with their results.")
    ],
    type_file: options.TypeFileOfEngines,
    out: Annotated[
        Path, typer.Option("--out", "-o", metavar="FILE", help="Where the rules go: a JSON file.")
    ],
    baseline: options.Baseline = None,
    rules: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Rules as learnt from earlier builds, to go on from.")
    ] = None,
) -> None:
    """Compare forecasts with runs of past builds, and update the coefficients of the rules."""
    from rich.console import Console

    from spoolwright import bootstrap
    from spoolwright.cli.progress import progress_bar
    from spoolwright.cli.reporting import print_written
    from spoolwright.reports.forecast_learnt import print_learnt

    bootstrap.check_outputs([out], [history, type_file, *filter(None, (baseline, rules))])
    with progress_bar("Learning") as tell:
        learnt = bootstrap.forecast_learn(
            history, type_file, out, baseline=baseline, rules=rules, progress=tell
        )
    console = Console()
    print_learnt(learnt, console)
    print_written(console, out)
