"""`spoolwright sign-pack`: a digital signature on a release pack, with the certifying person's own key."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

LARGEST = 200_000_000
EPILOG = "Example: spoolwright sign-pack pack.pdf --key mehl.p12 --out pack-signed.pdf"


def sign_pack(
    pack: Annotated[Path, typer.Argument(metavar="PDF", help="The pack as the release page printed it.")],
    key: Annotated[Path, typer.Option(metavar="FILE", help="Key and certificate of the signer, PKCS #12.")],
    out: Annotated[Path, typer.Option("--out", "-o", metavar="PDF", help="The signed pack.")],
    reason: Annotated[str, typer.Option(help="Stands in the signature.")] = "Release",
) -> None:
    """Sign a release pack, so that a change of one byte shows. The passphrase is kept nowhere."""
    from spoolwright import bootstrap
    from spoolwright.reports.figures import printable
    from spoolwright.reports.jsonfile import write_bytes
    from spoolwright.reports.release_pack import signed_pdf
    from spoolwright.sources.plainfile import read_whole

    bootstrap.check_outputs([out], [pack, key])
    content = read_whole(pack, "release pack", LARGEST)
    read_whole(key, "key")
    passphrase = typer.prompt("Passphrase of the key", hide_input=True, default="", show_default=False)
    write_bytes(out, signed_pdf(content, key, passphrase.encode(), reason))
    typer.echo(f"Signed: {printable(str(out))}")
