"""`spoolwright assess`: recorded runs in, verdicts with margins and reasons out."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

EXIT_BY_OUTCOME = {"all_meet": 0, "some_do_not_meet": 10, "cannot_tell": 11}


def assess(
    runs: Annotated[
        list[Path], typer.Argument(metavar="RUN…", help="Recordings of one engine's visit, in order.")
    ],
    type_file: Annotated[Path, typer.Option("--type", help="Type file of the engine.")],
    sheet: Annotated[
        list[Path] | None, typer.Option(help="Run sheet per RUN, in order; else NAME.run.toml beside it.")
    ] = None,
    channel_map: Annotated[
        Path | None, typer.Option(help="TOML file: names in the recordings to channels.")
    ] = None,
    baseline: Annotated[
        Path | None, typer.Option(help="What the model learnt from earlier accepted runs (JSON).")
    ] = None,
    json: Annotated[Path | None, typer.Option(help="Write the whole result as JSON.")] = None,
    html: Annotated[Path | None, typer.Option(help="Write the report as one HTML file.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="Write the report as PDF.")] = None,
    all_verdicts: Annotated[
        bool, typer.Option("--all", help="List every reading, not the thin ones only.")
    ] = False,
) -> None:
    """Assess the recorded runs of one engine's visit against its type file.

    Exit code: 0 all readings meet their limits, 10 some do not, 11 cannot tell;
    2 to 6 wrong call or unreadable input.
    """
    from rich.console import Console

    from spoolwright import bootstrap
    from spoolwright.cli.progress import progress_bar
    from spoolwright.reports.terminal import print_summary

    with progress_bar("Assessing") as tell:
        result = bootstrap.assess(
            runs, type_file, sheets=sheet, channel_map=channel_map, baseline=baseline, progress=tell
        )
        written = bootstrap.write_reports(result, json=json, html=html, pdf=pdf, progress=tell)
    console = Console()
    print_summary(result.assessment, console, all_verdicts=all_verdicts)
    for path in written:
        console.print(f"Written: {path}", highlight=False)
    raise typer.Exit(EXIT_BY_OUTCOME[result.assessment.disposition.outcome])
