"""`spoolwright type`: check a type file, print its schema."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from spoolwright.sources.typefile import LoadedType

app = typer.Typer(no_args_is_help=True, help="Check a type file; print its JSON schema.")


@app.command("check")
def check(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Type file (TOML).")],
    fills: Annotated[
        bool, typer.Option("--fills", help="List every engine model parameter the file leaves to be filled.")
    ] = False,
) -> None:
    """Find every mistake of a type file at once, each with its line and how to mend it.

    Exit code: 0 no mistake, 4 mistakes or an unreadable file.
    """
    from rich.console import Console

    from spoolwright.cli.mistakes import print_mistakes
    from spoolwright.errors import TypeFileError
    from spoolwright.sources.typefile import load_type

    try:
        loaded = load_type(file)
    except TypeFileError as error:
        print_mistakes(error, file)
        raise typer.Exit(error.exit_code) from None
    _print_summary(loaded, Console(highlight=False), fills=fills)


@app.command("schema")
def schema(
    out: Annotated[Path | None, typer.Option("--out", help="Write to this file instead.")] = None,
) -> None:
    """Print the JSON schema of a type file, for editors that check while you type."""
    from spoolwright.crafts.typefile.schema import schema_text
    from spoolwright.errors import OutputError

    if out is None:
        typer.echo(schema_text(), nl=False)
        return
    try:
        out.write_text(schema_text(), encoding="utf-8")
    except OSError as error:
        what = f"cannot write the schema: {error.strerror}."
        raise OutputError(what, where=str(out), mend="Check folder and rights.") from error


def _print_summary(loaded: LoadedType, console: Console, *, fills: bool) -> None:
    from rich.table import Table
    from rich.text import Text

    t = loaded.type_file
    console.print(Text(f"{t.type.name}: no mistake found.", style="bold"))
    if t.type.demonstration:
        console.print("Demonstration data, not approved.")
    table = Table(box=None, show_header=False, pad_edge=False)
    table.add_column(justify="right")
    table.add_column()
    for number, noun in _counts(loaded):
        table.add_row(str(number), noun)
    console.print(table)
    console.print(Text(f"sha256 {loaded.sha256}", style="dim"))
    for line in _left_open(loaded):
        console.print(Text(line))
    if fills:
        console.print(_fill_table(loaded))
    elif loaded.filled:
        console.print("List them with --fills.")


def _counts(loaded: LoadedType) -> list[tuple[int, str]]:
    t = loaded.type_file
    return [
        (len(t.channel), "channels"),
        (len(t.rating), "ratings"),
        (len(t.limit), f"limits in {len(t.limit_set)} limit sets"),
        (len(t.schedule), "schedule items"),
        (len(t.gate), "gates"),
        (len(t.cell), "test cells"),
        (len(loaded.filled), "engine model parameters filled by the generic shape: nobody gave them"),
    ]


def _left_open(loaded: LoadedType) -> list[str]:
    """What the file leaves out on purpose or by oversight: no mistake, but it has a price."""
    t = loaded.type_file
    out = []
    if not t.limit:
        out.append("No limit: nothing can be judged; every reading is 'refer to engineering'.")
    if t.correction is None:
        out.append("No approved correction: readings at ratings will be 'cannot tell'.")
    if t.steady is None:
        out.append("No [steady] rule: no hold counts as a point.")
    if not t.cell:
        out.append("No test cell: correlation and calibration cannot be shown.")
    bare = [c.id for c in t.channel if c.required and not c.uncertainty and c.dimension != "state"]
    if bare:
        out.append(f"No uncertainty stated for: {', '.join(bare)}.")
    return out


def _fill_table(loaded: LoadedType) -> object:
    from rich.table import Table

    table = Table(title="Filled engine model parameters", title_justify="left", box=None, pad_edge=False)
    for name in ("parameter", "value", "rule"):
        table.add_column(name, justify="right" if name == "value" else "left")
    for f in loaded.filled:
        table.add_row(f.path, "curve" if f.value is None else f"{f.value:.5g}", f.rule)
    return table
