"""`spoolwright assess`: recorded runs in, verdicts with margins and reasons out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from spoolwright.bootstrap import Assessed

EXIT_BY_OUTCOME = {"all_meet": 0, "some_do_not_meet": 10, "cannot_tell": 11}

EPILOG = """\b
Example, two runs of one visit with a page to read and a print to sign:
  spoolwright assess run-1.csv run-2.mf4 --type corrie_940.toml --html report.html --pdf report.pdf

Beside each recording lies its run sheet, run-1.run.toml; `spoolwright sheet new` begins one.

\b
Exit code: 0 all readings meet their limits, 10 some do not, 11 cannot tell;
2 the call is wrong, 3 to 5 the input, 6 a result could not be written."""


def assess(
    runs: Annotated[
        list[Path], typer.Argument(metavar="RUN", help="Recordings of one engine's visit, any order.")
    ],
    type_file: Annotated[Path, typer.Option("--type", metavar="FILE", help="Type file of the engine.")],
    sheet: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE", help="Run sheet per RUN, in order; else NAME.run.toml beside it."),
    ] = None,
    channel_map: Annotated[
        Path | None, typer.Option(metavar="FILE", help="TOML file: names in the recordings to channels.")
    ] = None,
    baseline: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="What the model learnt, from `spoolwright calibrate`."),
    ] = None,
    json: Annotated[Path | None, typer.Option(metavar="FILE", help="Write the whole result as JSON.")] = None,
    html: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the report as one HTML file.")
    ] = None,
    pdf: Annotated[Path | None, typer.Option(metavar="FILE", help="Write the report as PDF.")] = None,
    all_verdicts: Annotated[
        bool, typer.Option("--all", help="List every reading, not the thin ones only.")
    ] = False,
) -> None:
    """Assess the recorded runs of one engine's visit against its type file."""
    from spoolwright import bootstrap
    from spoolwright.cli.progress import progress_bar
    from spoolwright.errors import OutputError

    inputs = [*runs, type_file, *(sheet or []), *filter(None, (channel_map, baseline))]
    bootstrap.check_outputs([p for p in (json, html, pdf) if p is not None], inputs)
    failed, written = None, []
    with progress_bar("Assessing") as tell:
        result = bootstrap.assess(
            runs, type_file, sheets=sheet, channel_map=channel_map, baseline=baseline, progress=tell
        )
        try:
            written = bootstrap.write_reports(result, json=json, html=html, pdf=pdf, progress=tell)
        except OutputError as error:  # what was found is told first
            failed = error
    _print(result, written, all_verdicts)
    if failed is not None:
        raise failed
    raise typer.Exit(EXIT_BY_OUTCOME[result.assessment.disposition.outcome])


def _print(result: Assessed, written: Sequence[Path], all_verdicts: bool) -> None:
    from rich.console import Console

    from spoolwright.reports.figures import printable
    from spoolwright.reports.terminal import print_summary

    console = Console()
    print_summary(result.assessment, console, all_verdicts=all_verdicts)
    for path in written:
        console.print(f"Written: {printable(str(path))}", highlight=False, markup=False, soft_wrap=True)
