"""`spoolwright demo`: record a run on the simulated bench, assess it, write the report, say where."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def demo(
    out: Annotated[Path, typer.Option(help="Folder for the recording and the reports.")] = Path("demo-out"),
    preset: Annotated[
        str, typer.Option(help="Which run to record; `spoolwright rig presets` lists them.")
    ] = "healthy",
) -> None:
    """Record a run of the invented Corrie 940 on the simulated bench, assess it, say where the report is."""
    from rich.console import Console

    from spoolwright import bootstrap
    from spoolwright.cli.progress import progress_bar
    from spoolwright.reports.terminal import print_summary

    bootstrap.check_outputs([out / "report.json"], [])
    console = Console()
    with progress_bar("Demo") as tell:
        result, files = bootstrap.run_demo(out, preset, progress=tell)
    print_summary(result.assessment, console)
    console.print()
    for label, path in files.items():
        console.print(f"{label:>12}: {path}", highlight=False, markup=False, soft_wrap=True)
