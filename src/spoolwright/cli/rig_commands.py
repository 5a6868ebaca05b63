"""`spoolwright rig`: record test runs of a simulated engine on a simulated bench."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

if TYPE_CHECKING:
    from spoolwright.crafts.typefile.model import TypeFile
    from spoolwright.rig.bench import Ambient
    from spoolwright.rig.record import RecordOptions

app = typer.Typer(
    help="Record test runs of a simulated engine: demonstration data, no real engine.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

_LARGEST_FAULT = 1000.0
"""Largest size of a planted fault, in per cent or its own unit: beyond is a slip of the pen."""


@app.command("record")
def record(
    type_file: Annotated[
        Path | None,
        typer.Option("--type", help="Type file of the engine; the invented Corrie 940 when left out."),
    ] = None,
    out: Annotated[Path, typer.Option(help="Folder for recording, run sheet and truth.")] = Path("rig-out"),
    preset: Annotated[str, typer.Option(help="A run by name; `spoolwright rig presets` lists them.")] = "",
    seed: Annotated[int, typer.Option(min=0, help="Makes engine, day and noise; a preset has its own.")] = 1,
    fault: Annotated[
        list[str] | None, typer.Option(help="Fault of the engine, NAME=SIZE; may be given several times.")
    ] = None,
    sensor_fault: Annotated[
        list[str] | None, typer.Option(help="Fault of the data, KIND:CHANNEL=VALUE@FROM-TO; several times.")
    ] = None,
    format: Annotated[
        Literal["csv", "parquet", "mdf4", "tdms"], typer.Option(help="Format of the recording.")
    ] = "csv",
    units: Annotated[
        Literal["type", "second", "inner"],
        typer.Option(help="Units in the file: the type file's, its second ones, or SI."),
    ] = "type",
    ambient: Annotated[
        str, typer.Option(help="Weather, e.g. t=12,p=1005,rh=60,wind=3,rain: degC, hPa, %, m/s; else drawn.")
    ] = "",
    limit_set: Annotated[str, typer.Option(help="Limit set of the approved work; the type's first.")] = "",
    cell: Annotated[str, typer.Option(help="Test cell of the type file; its first.")] = "",
    rate: Annotated[float, typer.Option(help="Rows a second.")] = 10.0,
    name: Annotated[
        str, typer.Option(help="Name of the files; made from the serial number when empty.")
    ] = "",
) -> None:
    """Record one whole test run: start, points, slams, governing, shut-down."""
    from rich.console import Console

    from spoolwright.bootstrap import check_outputs
    from spoolwright.cli.progress import progress_bar
    from spoolwright.errors import InputError
    from spoolwright.rig.record import record_run
    from spoolwright.rig.write import units_for, write_run
    from spoolwright.sources.typefile import load_type, shipped_type

    if Path(name).name != name:
        raise InputError(f"'{name}' is no name of a file.", mend="Name the folder with --out.")
    check_outputs([out / (name or "run")], [])
    loaded = load_type(type_file or shipped_type())
    asked = _Asked(preset, seed, fault or [], sensor_fault or [], ambient, limit_set, cell, rate)
    options = _options(asked, loaded.type_file, units_for(loaded.type_file, units))
    with progress_bar("Recording") as tell:
        run = record_run(loaded.type_file, loaded.engine, options, tell)
        tell("writing files", 0.95)
        written = write_run(run, out, name or f"{run.truth.day.engine.serial}-run-{run.sheet.run}", format)
    console = Console()
    console.print(f"Recording: {written.recording}", highlight=False)
    console.print(f"Run sheet: {written.sheet}", highlight=False)
    console.print(f"Truth:     {written.truth}", highlight=False)
    console.print("Demonstration data from a simulated engine, not approved.", highlight=False)


@app.command("presets")
def presets() -> None:
    """List the runs that can be recorded by name, and the faults that can be planted."""
    from rich.console import Console
    from rich.table import Table

    from spoolwright.rig.module_faults import MECHANICAL_FAULTS, MODULE_FAULTS
    from spoolwright.rig.presets import PRESETS
    from spoolwright.rig.sensor_faults import KINDS

    tables = (
        ("Presets (--preset NAME)", {p.name: p.text for p in PRESETS.values()}),
        (
            "Faults of the engine (--fault NAME=SIZE)",
            {k: f.text for k, f in (MODULE_FAULTS | MECHANICAL_FAULTS).items()},
        ),
        ("Faults of the data (--sensor-fault KIND:CHANNEL=VALUE@FROM-TO)", KINDS),
    )
    console = Console()
    for title, rows in tables:
        table = Table(box=None, show_header=False, title=title, title_justify="left", padding=(0, 2, 0, 0))
        for key, text in rows.items():
            table.add_row(key, text)
        console.print(table)
        console.print()


@dataclass(frozen=True)
class _Asked:
    """What stood on the command line."""

    preset: str
    seed: int
    faults: list[str]
    sensor_faults: list[str]
    ambient: str
    limit_set: str
    cell: str
    rate: float


def _options(asked: _Asked, known: TypeFile, units: dict[str, str]) -> RecordOptions:
    """The preset, or a run of one's own, with everything else that was asked laid over it."""
    from dataclasses import replace

    from spoolwright.rig.presets import preset_options
    from spoolwright.rig.record import RecordOptions
    from spoolwright.rig.sensor_faults import sensor_fault

    base = preset_options(asked.preset, known) if asked.preset else RecordOptions(seed=asked.seed)
    limit_set = asked.limit_set or base.sheet.limit_set or known.limit_set[0].id
    return replace(
        base,
        faults=dict(base.faults) | dict(_fault(text) for text in asked.faults),
        sensor_faults=[*base.sensor_faults, *(sensor_fault(text, known) for text in asked.sensor_faults)],
        ambient=_ambient(asked.ambient, base.ambient),
        cell=asked.cell or base.cell,
        rate=asked.rate,
        units=units,
        sheet=replace(base.sheet, limit_set=limit_set),
    )


def _fault(text: str) -> tuple[str, float]:
    from spoolwright.errors import InputError, RangeError

    name, _, written = text.partition("=")
    try:
        size = float(written)
    except ValueError:
        raise InputError(
            f"'{text}' is no fault of the engine.", mend="Write NAME=SIZE, SIZE a number."
        ) from None
    if not abs(size) <= _LARGEST_FAULT:
        told = (
            f"size {size:g} of fault '{name.strip()}' is outside -{_LARGEST_FAULT:g} to {_LARGEST_FAULT:g}."
        )
        raise RangeError(told, mend="`spoolwright rig presets` tells what sizes mean.")
    return name.strip(), size


def _ambient(text: str, base: Ambient) -> Ambient:
    """Weather from `t=12,p=1005,rh=60,wind=3,rain`; what is not named stays as it was."""
    from dataclasses import replace

    from spoolwright.errors import InputError, RangeError

    known = {
        "t": ("temperature", 1.0, 273.15, -60.0, 60.0),
        "p": ("pressure", 100.0, 0.0, 500.0, 1100.0),
        "rh": ("relative_humidity", 0.01, 0.0, 0.0, 100.0),
        "wind": ("wind_speed", 1.0, 0.0, 0.0, 60.0),
    }
    changes: dict[str, float | str] = {}
    for part in filter(None, (p.strip() for p in text.split(","))):
        key, _, number = part.partition("=")
        if part in ("rain", "snow", "fog", "none"):
            changes["precipitation"] = part
            continue
        try:
            field, factor, offset, low, high = known[key]
            given = float(number)
        except (KeyError, ValueError):
            raise InputError(
                f"'{part}' is no weather.", mend="Write t=12,p=1005,rh=60,wind=3 and rain, snow or fog."
            ) from None
        if not low <= given <= high:
            told = f"weather {key} = {given:g} is outside {low:g} to {high:g}."
            raise RangeError(told, mend="Give degC, hPa, %, m/s.")
        changes[field] = given * factor + offset
    return replace(base, **changes)  # type: ignore[arg-type]
