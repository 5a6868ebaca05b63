"""`spoolwright forecast-history`: the shop's own builds with their runs, for `forecast-learn`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from spoolwright.cli.shop_place import HERE, DatabaseUrl, ShopFolder, opened

EPILOG = """\b
Example:
  spoolwright forecast-history --type-id corrie_940 --cell cell_1 --out builds/ --shop shop/
  spoolwright forecast-learn builds/history.toml --type corrie_940.toml --out rules.json

\b
Of each visit the first build sheet that a decided run followed, accepted or rejected. The rules learnt are
put among the shop's own tables on the page of the fleet."""


def forecast_history(
    type_id: Annotated[str, typer.Option(metavar="ID", help="Type of the engines.")],
    cell: Annotated[str, typer.Option(metavar="ID", help="Cell of runs whose result names none.")],
    out: Annotated[Path, typer.Option("--out", "-o", metavar="FOLDER", help="A new folder.")],
    shop: ShopFolder = HERE,
    database: DatabaseUrl = None,
) -> None:
    """Write the shop's builds and their runs as a history to learn the forecast's rules from."""
    from spoolwright.bootstrap.build_history import write_history
    from spoolwright.reports.figures import printable

    with opened(shop, database) as known:
        builds = write_history(known, type_id, cell, out)
    for b in builds:
        typer.echo(printable(f"{b.visit}: run {b.decision}"))
    typer.echo(printable(f"{len(builds)} written: {out / 'history.toml'}"))
