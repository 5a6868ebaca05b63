"""Where a command finds the shop: the options that every command on a shop has."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from spoolwright.bootstrap.shop import Shop

ShopFolder = Annotated[
    Path,
    typer.Option(
        "--shop",
        envvar="SPOOLWRIGHT_SHOP",
        metavar="FOLDER",
        help="The shop's folder: attachments, and the records unless they are in PostgreSQL.",
    ),
]
DatabaseUrl = Annotated[
    str | None,
    typer.Option(
        "--database",
        envvar="SPOOLWRIGHT_DATABASE",
        metavar="URL",
        help="PostgreSQL that holds the records: postgresql://USER@HOST/NAME.",
        show_default=False,
        show_envvar=True,
    ),
]
HERE = Path("shop")


@contextmanager
def opened(folder: Path, url: str | None, *, make: bool = False) -> Iterator[Shop]:
    """The shop, closed again at the end; one that is not there is made only when that is meant."""
    from spoolwright.bootstrap.shop import open_shop
    from spoolwright.errors import InputError

    if not make and not (folder / "attachments").is_dir():
        raise InputError(
            "there is no shop in this folder.",
            where=str(folder),
            mend="Name it with --shop, or set one up: spoolwright person add.",
        )
    shop = open_shop(url, folder)
    try:
        yield shop
    finally:
        shop.close()
