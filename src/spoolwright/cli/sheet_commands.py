"""`spoolwright sheet`: begin a run sheet from a recording, check one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from spoolwright.crafts.testcell.run_sheet import RunSheet
    from spoolwright.crafts.typefile.model import TypeFile

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Begin a run sheet from a recording; check one.",
)

TypeOption = Annotated[Path, typer.Option("--type", metavar="FILE", help="Type file of the engine.")]


@app.command("new")
def new(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="The recording.")],
    type_file: TypeOption,
    channel_map: Annotated[
        Path | None, typer.Option(metavar="FILE", help="TOML file: names in the recording to channels.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Where to; else NAME.run.toml beside the recording.")
    ] = None,
) -> None:
    """Begin the run sheet of a recording with what its header tells; a person fills in the rest.

    An existing sheet is never overwritten.
    """
    from spoolwright import bootstrap
    from spoolwright.errors import RunSheetError
    from spoolwright.reports.figures import printable

    path = bootstrap.begin_sheet(run, type_file, channel_map=channel_map, out=out)
    typer.echo(f"Begun: {printable(str(path))}")
    try:
        bootstrap.read_sheet(path, type_file)
    except RunSheetError as error:
        typer.echo("Still to be filled in:")
        for problem in error.problems:
            typer.echo(printable(f"  [{problem.where}] {problem.what}"))
    typer.echo(printable(f"Then: spoolwright sheet check {path} --type {type_file}"))


@app.command("check")
def check(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Run sheet (TOML).")],
    type_file: TypeOption,
) -> None:
    """Find every mistake of a run sheet at once, each with its line and how to mend it.

    Exit code: 0 no mistake, 4 mistakes or an unreadable file.
    """
    from spoolwright import bootstrap
    from spoolwright.cli.mistakes import print_mistakes
    from spoolwright.errors import RunSheetError

    try:
        sheet, known = bootstrap.read_sheet(file, type_file)
    except RunSheetError as error:
        print_mistakes(error, file)
        raise typer.Exit(error.exit_code) from None
    signed = len(sheet.correction)
    typer.echo(
        f"Run {sheet.run} of engine {sheet.engine.serial}, limits: {sheet.limit_set}. No mistake found."
    )
    if signed:
        typer.echo(f"{signed} signed correction{'s' if signed != 1 else ''} of the recorded data.")
    for line in _left_out(sheet, known):
        typer.echo(line)


def _left_out(sheet: RunSheet, known: TypeFile) -> list[str]:
    """What the sheet leaves out: no mistake, but it has a price."""
    out = []
    if sheet.fuel is None:
        out.append("No fuel sample: performance cannot be judged.")
    if known.data_plate and sheet.engine.torque_conformation is None:
        out.append("No torque conformation from the data plate: power cannot be judged.")
    done = {c.item for c in sheet.check}
    owed = [s for s in known.schedule if s.kind == "check" and sheet.limit_set in s.sets and s.id not in done]
    if owed:
        out.append(f"Checks not signed, open after the run: {', '.join(s.id for s in owed)}.")
    return out
