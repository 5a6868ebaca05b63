"""Options that several commands have, each written once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def _file(help_text: str, *names: str) -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(*names, metavar="FILE", help=help_text)
    return option


Runs = Annotated[
    list[Path], typer.Argument(metavar="RUN", help="Recordings of one engine's visit, any order.")
]
TypeFile = Annotated[Path, _file("Type file of the engine.", "--type")]
TypeFileOfEngines = Annotated[Path, _file("Type file of the engines.", "--type")]
Baseline = Annotated[
    Path | None, _file("What the model learnt of the shop's engines, from `spoolwright calibrate`.")
]
Sheets = Annotated[
    list[Path] | None, _file("Run sheet per recording, in order; else NAME.run.toml beside it.", "--sheet")
]
ChannelMap = Annotated[Path | None, _file("TOML file: names in the recordings to channels.", "--channel-map")]
Priors = Annotated[Path | None, _file("How often the shop meets each cause.")]
Checks = Annotated[Path | None, _file("The shop's table of checks, for what to do next.")]
Costs = Annotated[Path | None, _file("The shop's hours and money for each kind of work.")]
Json = Annotated[Path | None, _file("Write the whole result as JSON.")]
Html = Annotated[Path | None, _file("Write the report as one HTML file.")]
Pdf = Annotated[Path | None, _file("Write the report as PDF.")]
