"""`spoolwright calibrate-shape`: what the engine model learns from earlier accepted runs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from spoolwright.crafts.testcell.learning import Lesson

EPILOG = """\b
Example:
  spoolwright calibrate-shape accepted/*.csv --type corrie_940.toml --out corrie_940.baseline.json
  spoolwright assess run-1.csv --type corrie_940.toml --baseline corrie_940.baseline.json"""


def calibrate_shape(
    runs: Annotated[
        list[Path], typer.Argument(metavar="RUN", help="Recordings of accepted runs, of several engines.")
    ],
    type_file: Annotated[Path, typer.Option("--type", metavar="FILE", help="Type file of the engines.")],
    out: Annotated[Path, typer.Option("--out", "-o", metavar="FILE", help="Where to: a JSON file.")],
    sheet: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE", help="Run sheet per RUN, in order; else NAME.run.toml beside it."),
    ] = None,
    channel_map: Annotated[
        Path | None, typer.Option(metavar="FILE", help="TOML file: names in the recordings to channels.")
    ] = None,
) -> None:
    """Learn the shape of a type's engine model from earlier runs; the model only advises.

    Two runs at least, better ten or more engines, on days as cold and as warm as those to come. A run in
    doubt, with a failed gate or without points that count teaches nothing and is named with the reason.
    """
    from rich.console import Console

    from spoolwright import bootstrap
    from spoolwright.cli.progress import progress_bar
    from spoolwright.reports.figures import printable

    bootstrap.check_outputs([out], [*runs, type_file, *(sheet or []), *filter(None, [channel_map])])
    left_out: list[Lesson] = []
    console = Console(highlight=False, markup=False)
    try:
        with progress_bar("Calibrating") as tell:
            learnt = bootstrap.calibrate_shape(
                runs, type_file, out, sheets=sheet, channel_map=channel_map, progress=tell,
                tell_left_out=left_out.append,
            )  # fmt: skip
    finally:
        for one in left_out:
            told = f"Left out: {one.file}, run {one.run} of engine {one.engine}: {one.why_not}"
            console.print(printable(told))
    console.print(f"Learnt from {learnt.runs} runs of {learnt.engines} engines.")
    console.print(f"Written: {printable(str(out))}", soft_wrap=True)
