"""`spoolwright diagnose`: which module, how sure, and what to look at next."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from spoolwright.crafts.testcell.diagnosis.model import Diagnosis

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
    runs: Annotated[
        list[Path], typer.Argument(metavar="RUN", help="Recordings of one engine's visit, any order.")
    ],
    type_file: Annotated[Path, typer.Option("--type", metavar="FILE", help="Type file of the engine.")],
    baseline: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="The shop's average engine, from `spoolwright calibrate`."),
    ] = None,
    earlier: Annotated[
        list[Path] | None,
        typer.Option(metavar="RUN", help="A run of the same engine from an earlier visit that was accepted."),
    ] = None,
    sheet: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE", help="Run sheet per RUN, in order; else NAME.run.toml beside it."),
    ] = None,
    channel_map: Annotated[
        Path | None,
        typer.Option(
            "--channel-map", "--map", metavar="FILE", help="TOML file: names in the recordings to channels."
        ),
    ] = None,
    priors: Annotated[
        Path | None, typer.Option(metavar="FILE", help="How often the shop meets each cause.")
    ] = None,
    checks: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The shop's table of checks, for what to do next.")
    ] = None,
    costs: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The shop's hours and money for each kind of work.")
    ] = None,
    history: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="The shop's history, for engines that share the cause."),
    ] = None,
    json: Annotated[Path | None, typer.Option(metavar="FILE", help="Write the whole result as JSON.")] = None,
    html: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the report as one HTML file.")
    ] = None,
    pdf: Annotated[Path | None, typer.Option(metavar="FILE", help="Write the report as PDF.")] = None,
    everything: Annotated[bool, typer.Option("--all", help="List every suspect and reading.")] = False,
) -> None:
    """Diagnose an engine from the runs of a visit: causes with probabilities, evidence, next check."""
    from spoolwright import bootstrap
    from spoolwright.cli.progress import progress_bar
    from spoolwright.errors import OutputError

    files = bootstrap.DiagnosisFiles(baseline, priors, checks, costs, history)
    inputs = [
        *runs,
        type_file,
        *(earlier or []),
        *(sheet or []),
        *files.named(),
        *filter(None, [channel_map]),
    ]
    bootstrap.check_outputs([p for p in (json, html, pdf) if p is not None], inputs)
    failed, written = None, []
    with progress_bar("Diagnosing") as tell:
        found = bootstrap.diagnose(
            runs, type_file, earlier=earlier or (), sheets=sheet, channel_map=channel_map, files=files,
            progress=tell,
        )  # fmt: skip
        try:
            written = bootstrap.write_diagnosis(found, json=json, html=html, pdf=pdf, progress=tell)
        except OutputError as error:  # what was found is told first
            failed = error
    _print(found, written, everything)
    if failed is not None:
        raise failed
    raise typer.Exit(EXIT_BY_OUTCOME[found.outcome])


def _print(found: Diagnosis, written: Sequence[Path], everything: bool) -> None:
    from rich.console import Console

    from spoolwright.reports.diagnosis_terminal import print_diagnosis
    from spoolwright.reports.figures import printable

    console = Console()
    print_diagnosis(found, console, everything=everything)
    for path in written:
        console.print(f"Written: {printable(str(path))}", highlight=False, markup=False, soft_wrap=True)
