"""`spoolwright assess`: recorded runs in, verdicts with margins and reasons out."""

from __future__ import annotations

from typing import Annotated

import typer

from spoolwright.cli import options

EXIT_BY_OUTCOME = {"all_meet": 0, "some_do_not_meet": 10, "cannot_tell": 11}

EPILOG = """\b
Example, two runs of one visit with a page to read and a print to sign:
  spoolwright assess run-1.csv run-2.mf4 --type corrie_940.toml --html report.html --pdf report.pdf

Beside each recording lies its run sheet, run-1.run.toml; `spoolwright sheet new` begins one.

\b
Exit code: 0 all readings meet their limits, 10 some do not, 11 cannot tell;
2 the call is wrong, 3 to 5 the input, 6 a result could not be written."""


def assess(
    runs: options.Runs,
    type_file: options.TypeFile,
    sheet: options.Sheets = None,
    channel_map: options.ChannelMap = None,
    baseline: options.Baseline = None,
    json: options.Json = None,
    html: options.Html = None,
    pdf: options.Pdf = None,
    all_verdicts: Annotated[
        bool, typer.Option("--all", help="List every reading, not the thin ones only.")
    ] = False,
) -> None:
    """Assess the recorded runs of one engine's visit against its type file."""
    from rich.console import Console

    from spoolwright import bootstrap
    from spoolwright.cli.progress import progress_bar
    from spoolwright.cli.reporting import attempted
    from spoolwright.reports.terminal import print_summary

    inputs = [*runs, type_file, *(sheet or []), *filter(None, (channel_map, baseline))]
    bootstrap.check_outputs([p for p in (json, html, pdf) if p is not None], inputs)
    with progress_bar("Assessing") as tell:
        result = bootstrap.assess(
            runs, type_file, sheets=sheet, channel_map=channel_map, baseline=baseline, progress=tell
        )
        written = attempted(
            lambda: bootstrap.write_reports(result, json=json, html=html, pdf=pdf, progress=tell)
        )
    console = Console()
    print_summary(result.assessment, console, all_verdicts=all_verdicts)
    written.end(console, EXIT_BY_OUTCOME[result.assessment.disposition.outcome])
