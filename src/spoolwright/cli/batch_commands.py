"""`spoolwright diagnose-all`: thousands of recordings diagnosed, a row each; what was stopped goes on."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spoolwright.cli import options

if TYPE_CHECKING:
    from spoolwright.bootstrap.batch import BatchDone

SOME_NOT_DIAGNOSED = 13

EPILOG = """\b
Example, a folder with all folders in it, then an object store, over processes and over a scheduler:
  spoolwright diagnose-all recordings/ --type corrie_940.toml --baseline corrie_940.json --out results/
  spoolwright diagnose-all s3://shop/2027 --type corrie_940.toml --out results/ --scheduler tcp://HOST:8786

Beside each recording lies its run sheet, NAME.run.toml. Stopped or killed, it goes on with --resume.

\b
Exit code: 0 every recording is diagnosed, 13 some are not and their rows say why;
2 the call is wrong, 3 to 5 the input, 6 the results could not be written."""


def diagnose_all(
    recordings: Annotated[
        str,
        typer.Argument(
            metavar="FOLDER|LIST", help="Folder of recordings, or a text file of one path or address a line."
        ),
    ],
    type_file: options.TypeFileOfEngines,
    out: Annotated[Path, typer.Option("--out", "-o", metavar="FOLDER", help="Folder for the results.")],
    baseline: options.Baseline = None,
    channel_map: options.ChannelMap = None,
    priors: options.Priors = None,
    checks: options.Checks = None,
    costs: options.Costs = None,
    processes: Annotated[
        int | None, typer.Option(min=1, max=1024, metavar="N", help="Processes; one a core when not given.")
    ] = None,
    scheduler: Annotated[
        str, typer.Option(metavar="ADDRESS", help="Let the workers of this dask scheduler work.")
    ] = "",
    resume: Annotated[
        bool,
        typer.Option("--resume", help="Go on with the results in --out: what is done is not done again."),
    ] = False,
) -> None:
    """Diagnose every recording of a folder or list, each by itself, into a table."""
    from spoolwright.bootstrap.batch import diagnose_all as run_batch
    from spoolwright.bootstrap.diagnosing import DiagnosisFiles
    from spoolwright.cli.progress import progress_bar

    if scheduler and processes is not None:
        raise typer.BadParameter("give --processes or --scheduler, not both")
    with progress_bar("Diagnosing") as tell:
        done = run_batch(
            recordings,
            type_file,
            out,
            channel_map=channel_map,
            files=DiagnosisFiles(baseline, priors, checks, costs),
            processes=processes,
            scheduler=scheduler,
            resume=resume,
            progress=tell,
        )
    raise typer.Exit(SOME_NOT_DIAGNOSED if _print(done) else 0)


def _print(done: BatchDone) -> int:
    """The summary; gives how many recordings have no diagnosis."""
    from rich.console import Console

    from spoolwright.cli.reporting import print_written
    from spoolwright.reports.batch_terminal import counted, print_batch

    console = Console()
    counts = counted(done.table)
    print_batch(counts, console)
    each = f", {done.done / done.seconds:.1f} a second" if done.done else ""
    told = f"{done.done} done now in {done.seconds:.0f} s{each}; {done.kept} were done before."
    console.print(told, highlight=False, markup=False)
    print_written(console, done.table)
    return counts.failed
