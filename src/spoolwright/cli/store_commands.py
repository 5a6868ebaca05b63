"""`spoolwright verify`, `backup`, `restore`, `export`, `adopt`: the shop's records as a whole."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spoolwright.cli.shop_place import HERE, DatabaseUrl, ShopFolder, opened

if TYPE_CHECKING:
    from spoolwright.bootstrap.verifying import Verified
    from spoolwright.store.backup import Head

FAULTS_FOUND = 14
_SHOWN_FAULTS = 50

VERIFY_EPILOG = """\b
Example, against the head that a signed document prints:
  spoolwright verify --shop shop/ --seq 1841 --head 5c1f...e2

\b
Exit code: 0 everything is as it was recorded, 14 something is not."""
BACKUP_EPILOG = """\b
Example, every night while the shop goes on working:
  spoolwright backup /mnt/safe/shop-2026-11-25 --shop shop/"""
RESTORE_EPILOG = """\b
Example, into a new folder and into an empty PostgreSQL database:
  spoolwright restore /mnt/safe/shop-2026-11-25 --shop shop-again/
  spoolwright restore /mnt/safe/shop-2026-11-25 --shop shop-again/ --database postgresql://shop@db/shop"""
EXPORT_EPILOG = """\b
Example:
  spoolwright export W100 W100-records/ --shop shop/"""
ADOPT_EPILOG = """\b
Example; corrie_940.shop/ beside the file is its shop part:
  spoolwright adopt corrie_940.toml --shop shop/"""


def verify(
    shop: ShopFolder = HERE,
    database: DatabaseUrl = None,
    head: Annotated[
        str,
        typer.Option(metavar="HASH", help="The head that a signed document prints: must be in the chain."),
    ] = "",
    seq: Annotated[
        int | None, typer.Option(min=1, metavar="N", help="Number of the record that goes with --head.")
    ] = None,
) -> None:
    """Check that everything is as it was recorded; run every stored calculation again."""
    from spoolwright.bootstrap.verifying import Printed
    from spoolwright.cli.progress import progress_bar

    if seq is not None and not head:
        raise typer.BadParameter("--seq needs the --head that is printed with it.")
    printed = (Printed("".join(head.split()).lower(), seq),) if head else ()
    with opened(shop, database) as known, progress_bar("verify") as tell:
        found = known.verify(*printed, progress=tell)
    _print_found(found, against_print=bool(printed))
    if not found.holds:
        raise typer.Exit(FAULTS_FOUND)


def backup(
    out: Annotated[Path, typer.Argument(metavar="OUT", help="Folder for the backup; must not be there yet.")],
    shop: ShopFolder = HERE,
    database: DatabaseUrl = None,
) -> None:
    """Back up records, attachments and people while the shop goes on working."""
    from spoolwright.cli.progress import progress_bar
    from spoolwright.store.backup import back_up

    with opened(shop, database) as known, progress_bar("backup") as tell:
        head = back_up(known.database, known.attachments, out, datetime.now(UTC), tell)
    _print_head("Backed up", head)


def restore(
    source: Annotated[Path, typer.Argument(metavar="BACKUP", help="Folder that `backup` has written.")],
    shop: ShopFolder = HERE,
    database: DatabaseUrl = None,
) -> None:
    """Fill a new shop from a backup; the chain is proven while it is read. Never writes over records."""
    from spoolwright.cli.progress import progress_bar
    from spoolwright.store.backup import restore as restored

    with opened(shop, database, make=True) as known, progress_bar("restore") as tell:
        head = restored(source, known.database, known.attachments, tell)
    _print_head("Restored", head)


def export(
    visit: Annotated[str, typer.Argument(metavar="VISIT", help="Number of the visit.")],
    out: Annotated[Path, typer.Argument(metavar="OUT", help="Folder to write; must not be there yet.")],
    shop: ShopFolder = HERE,
    database: DatabaseUrl = None,
) -> None:
    """Write a visit into a folder that can be read without this program."""
    from spoolwright.bootstrap.exporting import export_visit
    from spoolwright.cli.progress import progress_bar

    with opened(shop, database) as known, progress_bar("export") as tell:
        export_visit(known, visit, out, datetime.now(UTC), tell)
    typer.echo(f"Visit {visit} is in {out}: open {out / 'index.html'}.")


def adopt(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Type file (TOML); NAME.shop/ beside it.")],
    shop: ShopFolder = HERE,
    database: DatabaseUrl = None,
    reason: Annotated[str, typer.Option(help="Why it is adopted anew: the document's revision.")] = "",
) -> None:
    """Adopt a type file and its shop part, so that visits of the type can be opened."""
    from spoolwright.cli.mistakes import print_mistakes
    from spoolwright.errors import MistakesError
    from spoolwright.store.people import SET_UP

    with opened(shop, database, make=True) as known:
        try:
            entry = known.types.adopt(file, by=SET_UP, at=datetime.now(UTC), reason=reason)
        except MistakesError as error:
            print_mistakes(error, file)
            raise typer.Exit(error.exit_code) from None
    typer.echo(f"{entry.body.name} is adopted (record {entry.seq}, revision {entry.revision}).")


def _print_head(what: str, head: Head) -> None:
    typer.echo(f"{what}: {_count(head.seq, 'record')}, {_count(head.attachments, 'attachment')}.")
    typer.echo(f"Head of record {head.seq}: {head.digest}")


def _print_found(found: Verified, *, against_print: bool) -> None:
    typer.echo(
        f"{_count(found.seq, 'record')}, {_count(found.signatures, 'signature')}, "
        f"{_count(found.attachments, 'attachment')}; "
        f"{_count(found.recomputed, 'calculation')} run again."
    )
    for name, count in sorted(found.not_recomputed.items()):
        typer.echo(f"Not run again: {_count(count, 'result')} of '{name}', which this version does not hold.")
    for fault in found.faults[:_SHOWN_FAULTS]:
        typer.echo(f"  {fault}")
    if len(found.faults) > _SHOWN_FAULTS:
        typer.echo(f"  and {len(found.faults) - _SHOWN_FAULTS} more")
    if found.holds:
        typer.echo("Everything is as it was recorded.")
        typer.echo(f"Head of record {found.seq}: {found.digest}")
        if not against_print:
            typer.echo("A cut end shows only against a head printed on a signed document: --seq, --head.")
    else:
        typer.echo(
            f"{_count(len(found.faults), 'fault')} found. Keep everything as it is, restore a backup beside."
        )


def _count(number: int, noun: str) -> str:
    return f"{number:,} {noun}{'' if number == 1 else 's'}"
