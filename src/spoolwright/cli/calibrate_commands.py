"""`spoolwright calibrate`: what a type's engine model learns from the shop's accepted runs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spoolwright.cli import options

if TYPE_CHECKING:
    from rich.console import Console

    from spoolwright.crafts.testcell.diagnosis.baseline import Baseline

EPILOG = """\b
Example:
  spoolwright calibrate accepted/ --type corrie_940.toml --out corrie_940.baseline.json
  spoolwright diagnose run-1.csv --type corrie_940.toml --baseline corrie_940.baseline.json"""


def calibrate(
    history: Annotated[
        list[Path],
        typer.Argument(metavar="HISTORY", help="Recordings of accepted runs, or folders of them."),
    ],
    type_file: options.TypeFileOfEngines,
    out: Annotated[Path, typer.Option("--out", "-o", metavar="FILE", help="Where to: a JSON file.")],
    sheet: options.Sheets = None,
    channel_map: options.ChannelMap = None,
) -> None:
    """Calibrate a type's engine model on the shop's accepted runs, for diagnosis, forecast and assessment.

    Two runs at least, better ten or more engines, on days as cold and as warm as those to come. A run in
    doubt, with a failed gate, without points that count, or of an engine that did not meet its limits teaches
    nothing and is named with the reason.
    """
    from rich.console import Console

    from spoolwright import bootstrap
    from spoolwright.cli.progress import progress_bar
    from spoolwright.cli.reporting import print_written

    bootstrap.check_outputs([out], [*history, type_file, *(sheet or []), *filter(None, [channel_map])])
    with progress_bar("Calibrating") as tell:
        learnt = bootstrap.calibrate(
            history, type_file, out, sheets=sheet, channel_map=channel_map, progress=tell
        )
    console = Console(highlight=False, markup=False)
    _print(learnt, console)
    print_written(console, out)


def _print(learnt: Baseline, console: Console) -> None:
    from spoolwright.reports.calibration_terminal import print_calibration

    print_calibration(learnt, console)
