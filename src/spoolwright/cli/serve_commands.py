"""`spoolwright serve`: the shop's pages."""

from __future__ import annotations

from ipaddress import ip_address
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from spoolwright.bootstrap.shop import Shop

EPILOG = "Example: spoolwright serve --shop shop, then open http://127.0.0.1:8940 in a browser."


def serve(
    shop: Annotated[
        Path, typer.Option("--shop", metavar="FOLDER", help="The shop's folder; made where there is none.")
    ] = Path("shop"),
    database: Annotated[
        str | None,
        typer.Option(metavar="URL", help="PostgreSQL instead of the file shop.sqlite in the folder."),
    ] = None,
    host: Annotated[
        str, typer.Option(help="Address to listen on; only this machine unless told.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port to listen on.")] = 8940,
    behind_tls: Annotated[
        bool, typer.Option("--behind-tls", help="A reverse proxy on this machine ends TLS before us.")
    ] = False,
) -> None:
    """Serve the shop's pages until Ctrl-C.

    Listens on this machine only. To reach it from others, put a reverse proxy with TLS before it
    (docs/how-to/serve.md) and say --behind-tls.
    """
    import uvicorn

    from spoolwright.bootstrap.shop import open_shop
    from spoolwright.reports.figures import printable
    from spoolwright.web.app import create_app
    from spoolwright.web.settings import Settings

    opened = open_shop(database, shop)
    if not _is_loopback(host) and not behind_tls:
        typer.echo(
            f"Listening on {printable(host)} WITHOUT TLS: passwords and records cross the network readable.\n"
            "Put a reverse proxy with TLS before it and listen on 127.0.0.1 (docs/how-to/serve.md).",
            err=True,
        )
    typer.echo(f"Shop {printable(str(shop))} at http://{printable(host)}:{port} (Ctrl-C ends it)")
    if not opened.people.everyone():
        typer.echo("Nobody can sign in yet. Add the lead first: spoolwright person add --help")
    Thread(target=_read_ahead, args=(opened,), daemon=True).start()
    uvicorn.run(
        create_app(opened, Settings(secure_cookies=behind_tls)),
        host=host,
        port=port,
        access_log=False,  # addresses can hold serials and searches: what was asked is nobody's log
        log_level="warning",
        proxy_headers=behind_tls,
        server_header=False,
        timeout_keep_alive=75,
    )


def _read_ahead(shop: Shop) -> None:
    """Read what is open before the first person asks: from a cold start it takes a second or two."""
    from datetime import UTC, datetime

    shop.open_items_of([v.number for v in shop.visits()], datetime.now(UTC).date())


def _is_loopback(host: str) -> bool:
    try:
        return host == "localhost" or ip_address(host).is_loopback
    except ValueError:
        return False
