"""`spoolwright serve`: the shop's pages."""

from __future__ import annotations

import socket
from contextlib import suppress
from ipaddress import ip_address
from threading import Thread
from time import monotonic, sleep
from typing import TYPE_CHECKING, Annotated

import typer

from spoolwright.cli.shop_place import HERE, DatabaseUrl, ShopFolder, opened

if TYPE_CHECKING:
    from spoolwright.bootstrap.shop import Shop

EPILOG = "Example: spoolwright serve --shop shop, then open http://127.0.0.1:8940 in a browser."
PORT = 8940
READ_AHEAD_S = 20.0


def serve(
    shop: ShopFolder = HERE,
    database: DatabaseUrl = None,
    host: Annotated[
        str, typer.Option(help="Address to listen on; only this machine unless told.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port; 0 takes a free one.")] = PORT,
    behind_tls: Annotated[
        bool, typer.Option("--behind-tls", help="A reverse proxy on this machine ends TLS before us.")
    ] = False,
) -> None:
    """Serve the shop's pages until Ctrl-C.

    Listens on this machine only. To reach it from others, put a reverse proxy with TLS before it
    (docs/how-to/serve.md) and say --behind-tls.
    """
    from spoolwright.reports.figures import printable

    with opened(shop, database, make=True) as there, _listening(host, port) as listening:
        if not _is_loopback(host):
            typer.echo(_open_to_others(printable(host), behind_tls), err=True)
        address = f"http://{printable(host)}:{listening.getsockname()[1]}"
        typer.echo(f"Shop {printable(str(shop))} at {address} (Ctrl-C ends it)")
        if not there.people.everyone():
            typer.echo("Nobody can sign in yet. Add the lead first: spoolwright person add --help")
        Thread(target=_read_ahead, args=(there,), daemon=True).start()
        _run(there, listening, behind_tls)


def _run(shop: Shop, listening: socket.socket, behind_tls: bool) -> None:
    import uvicorn

    from spoolwright.web.app import create_app
    from spoolwright.web.settings import Settings

    config = uvicorn.Config(
        create_app(shop, Settings(secure_cookies=behind_tls)),
        access_log=False,  # addresses hold serials and searches: what was asked is nobody's log
        log_level="warning",
        proxy_headers=behind_tls,
        server_header=False,
        timeout_keep_alive=75,
    )
    uvicorn.Server(config).run(sockets=[listening])


def _listening(host: str, port: int) -> socket.socket:
    from spoolwright.errors import OutputError

    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # The protocol is named because the event loop sends small answers without delay only then.
    listening = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((host, port))
        listening.listen(256)
        return listening
    except (OSError, OverflowError) as error:
        listening.close()
        raise OutputError(
            f"cannot listen on {host}, port {port}: {getattr(error, 'strerror', None) or error}.",
            mend="Give another --port or --host; --port 0 takes a free one.",
        ) from error


def _open_to_others(host: str, behind_tls: bool) -> str:
    """What is said when other machines can reach the server."""
    if behind_tls:
        return f"Listening on {host}: only the reverse proxy may reach this port. Close it to everybody else."
    return (
        f"Listening on {host} WITHOUT TLS: passwords and records cross the network readable.\n"
        "Put a reverse proxy with TLS before it and listen on 127.0.0.1 (docs/how-to/serve.md)."
    )


def _read_ahead(shop: Shop) -> None:
    """Keep what is open at hand, so that nobody waits: after the start, past midnight, while others write."""
    from datetime import UTC, datetime

    from spoolwright.bootstrap.fleet import Fleet

    with suppress(Exception):  # loads what the fleet's figures are computed and drawn with
        Fleet(shop).figures(datetime.now(UTC))
    while True:
        with suppress(Exception):  # whatever is wrong is told to the person whose page meets it
            for visit in shop.visits():
                began = monotonic()
                shop.open_items(visit.number, datetime.now(UTC).date())
                sleep(4 * (monotonic() - began))  # people come first
        sleep(READ_AHEAD_S)


def _is_loopback(host: str) -> bool:
    try:
        return host == "localhost" or ip_address(host).is_loopback
    except ValueError:
        return False
