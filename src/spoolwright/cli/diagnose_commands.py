"""`spoolwright diagnose`: which module, how sure, and what to look at next."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from spoolwright.cli import options

EXIT_BY_OUTCOME = {
    "nothing_found": 0,
    "cause_found": 10,
    "group_found": 10,
    "cannot_tell": 11,
    "unclear": 12,
}

EPILOG = """\b
Example:
  spoolwright diagnose run-1.csv --type corrie_940.toml --baseline corrie_940.baseline.json --html why.html

\b
Exit code: 0 nothing wrong is found, 10 a cause or a group of causes is, 12 not clear, 11 cannot tell;
2 the call is wrong, 3 to 5 the input, 6 a result could not be written."""


def diagnose(
    runs: options.Runs,
    type_file: options.TypeFile,
    baseline: options.Baseline = None,
    earlier: Annotated[
        list[Path] | None,
        typer.Option(metavar="RUN", help="A run of the same engine from an earlier visit that was accepted."),
    ] = None,
    sheet: options.Sheets = None,
    channel_map: options.ChannelMap = None,
    priors: options.Priors = None,
    checks: options.Checks = None,
    costs: options.Costs = None,
    history: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="The shop's history, for engines that share the cause."),
    ] = None,
    json: options.Json = None,
    html: options.Html = None,
    pdf: options.Pdf = None,
    everything: Annotated[bool, typer.Option("--all", help="List every suspect and reading.")] = False,
) -> None:
    """Diagnose an engine from the runs of a visit: causes with probabilities, evidence, next check."""
    from rich.console import Console

    from spoolwright import bootstrap
    from spoolwright.cli.progress import progress_bar
    from spoolwright.cli.reporting import attempted
    from spoolwright.reports.diagnosis_terminal import print_diagnosis

    files = bootstrap.DiagnosisFiles(baseline, priors, checks, costs, history)
    given = [*runs, type_file, *(earlier or []), *(sheet or []), *files.named()]
    bootstrap.check_outputs([p for p in (json, html, pdf) if p], [*given, *filter(None, [channel_map])])
    with progress_bar("Diagnosing") as tell:
        found = bootstrap.diagnose(
            runs, type_file, earlier=earlier or (), sheets=sheet, channel_map=channel_map, files=files,
            progress=tell,
        )  # fmt: skip
        written = attempted(
            lambda: bootstrap.write_diagnosis(found, json=json, html=html, pdf=pdf, progress=tell)
        )
    console = Console()
    print_diagnosis(found, console, everything=everything)
    written.end(console, EXIT_BY_OUTCOME[found.outcome])
