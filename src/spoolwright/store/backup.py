"""Backup and restore: the tables as lines of JSON and the attachments, from one state of a shop that runs on.

The form is the same for both databases, so a shop can move from one to the other. Sessions are left out.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, insert, select

from spoolwright import __version__
from spoolwright.crafts.visit.entry import canonical
from spoolwright.errors import InputError, OutputError
from spoolwright.store.attachments import StoredAttachments, sync_folder
from spoolwright.store.chain import BEGINNING, time_text
from spoolwright.store.checking import ChainCheck
from spoolwright.store.database import Database
from spoolwright.store.migrating import NEWEST
from spoolwright.store.records import count_of, end_of, rows_of
from spoolwright.store.tables import ATTACHMENT, ENTRY, PERSON_SECRET

Tell = Callable[[str, float], None]
_FORM = "spoolwright backup 1"
_TABLES = {"entry": ENTRY, "attachment": ATTACHMENT, "person_secret": PERSON_SECRET}
_PART = 500


@dataclass(frozen=True)
class Head:
    """Where the chain stood: what a backup holds."""

    seq: int
    digest: str
    attachments: int


def back_up(database: Database, attachments: StoredAttachments, out: Path, now: datetime, tell: Tell) -> Head:
    """Write a backup into a new folder, which is whole as soon as it has its name.

    Raises
    ------
    OutputError
        There is something at this place already, or it cannot be written.
    InputError
        An attachment is gone or changed: a backup that pretends otherwise is worth nothing.
    """
    if out.exists():
        raise OutputError(
            "there is something already.", where=str(out), mend="Name a folder that is not there."
        )
    growing = out.with_name(f".{out.name}.part-{os.getpid()}")
    try:
        growing.mkdir(parents=True)
        with database.read() as connection:
            head, files = _write_tables(connection, growing, now, tell)
        _write_attachments(
            attachments, files, growing, tell
        )  # they never change, so they need no transaction
        os.replace(growing, out)
        sync_folder(out.parent)
    except OSError as error:
        what = f"the backup cannot be written: {error.strerror}."
        raise OutputError(what, where=str(out), mend="Make room or choose another place.") from error
    finally:
        shutil.rmtree(growing, ignore_errors=True)
    return head


def _write_tables(connection: Connection, folder: Path, now: datetime, tell: Tell) -> tuple[Head, list[str]]:
    """The tables in one state; gives the head, and the hashes of the attachments that belong to it."""
    seq, digest = end_of(connection)
    kept = [dict(row) for row in connection.execute(select(ATTACHMENT)).mappings()]
    secrets = [dict(row) for row in connection.execute(select(PERSON_SECRET)).mappings()]
    told = _counted(rows_of(connection), count_of(connection), lambda s: tell("records", 0.5 * s))
    files = {
        f"{name}.jsonl": _write_lines(folder / f"{name}.jsonl", rows)
        for name, rows in (("entry", told), ("attachment", kept), ("person_secret", secrets))
    }
    about = {
        "form": _FORM, "tables": NEWEST, "program": __version__, "made_at": time_text(now),
        "seq": seq, "head": digest, "attachments": len(kept), "sha256": files,
    }  # fmt: skip
    _write_file(folder / "backup.json", (json.dumps(about, indent=2) + "\n").encode())
    return Head(seq, digest, len(kept)), [row["sha256"] for row in kept]


def _write_attachments(attachments: StoredAttachments, hashes: list[str], folder: Path, tell: Tell) -> None:
    for n, sha256 in enumerate(hashes, 1):
        tell(f"attachment {n} of {len(hashes)}", 0.5 + 0.5 * n / len(hashes))
        _write_file(folder / "attachments" / sha256[:2] / sha256, attachments.read(sha256))


def _counted(
    rows: Iterable[dict[str, Any]], count: int, tell: Callable[[float], None]
) -> Iterator[dict[str, Any]]:
    for n, row in enumerate(rows):
        if n % 500 == 0:
            tell(n / max(count, 1))
        yield row


def _write_lines(path: Path, rows: Iterable[Mapping[str, Any]]) -> str:
    """Rows as lines; gives the hash of the file."""
    hashed = hashlib.sha256()
    with path.open("wb") as file:
        for row in rows:
            line = canonical(dict(row)) + b"\n"
            hashed.update(line)
            file.write(line)
        file.flush()
        os.fsync(file.fileno())
    return hashed.hexdigest()


def _write_file(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def restore(backup: Path, database: Database, attachments: StoredAttachments, tell: Tell) -> Head:
    """Fill an empty shop from a backup; all of it, or nothing in the database.

    Raises
    ------
    InputError
        The folder is no backup, is not whole, or its chain does not hold.
    OutputError
        The shop has records already, or a file cannot be written.
    """
    about = _about(backup)
    with database.read() as connection:
        if end_of(connection)[0]:
            what = "this shop has records already; a restore never writes over them."
            raise OutputError(what, mend="Name a new folder, and with --database an empty database.")
    _prove_files(backup, about)
    for n, row in enumerate(_lines(backup, "attachment"), 1):
        tell(f"attachment {n} of {about['attachments']}", 0.5 * n / about["attachments"])
        _restore_file(backup, attachments, row)
    with database.write() as connection:
        for name, table in _TABLES.items():
            rows = _lines(backup, name)
            if name == "entry":
                rows = _proven(_counted(rows, about["seq"], lambda s: tell("records", 0.5 + 0.5 * s)), about)
            _insert(connection, table, rows)
    return Head(about["seq"], about["head"], about["attachments"])


def _about(backup: Path) -> dict[str, Any]:
    try:
        about = json.loads((backup / "backup.json").read_bytes())
        if about["form"] != _FORM or not isinstance(about["sha256"], dict):
            raise ValueError
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(
            "it is no backup of this program.", where=str(backup), mend="Name its folder."
        ) from error
    if about["tables"] != NEWEST:
        what = f"it was made with tables of form {about['tables']}, this version has {NEWEST}."
        mend = f"Restore it with version {about['program']}, then open the shop with this one."
        raise InputError(what, where=str(backup), mend=mend)
    return dict(about)


def _prove_files(backup: Path, about: Mapping[str, Any]) -> None:
    """Every table's file is what was written, before anything of it is read."""
    for name in _TABLES:
        path = backup / f"{name}.jsonl"
        try:
            with path.open("rb") as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError as error:
            raise InputError(f"it cannot be read: {error.strerror}.", where=str(path)) from error
        if digest != about["sha256"].get(path.name):
            raise InputError("it is not what was backed up.", where=str(path), mend="Take another backup.")


def _lines(backup: Path, name: str) -> Iterator[dict[str, Any]]:
    """The rows of a table."""
    columns = {c.name for c in _TABLES[name].columns}
    path = backup / f"{name}.jsonl"
    with path.open("rb") as file:
        for number, line in enumerate(file, 1):
            row = json.loads(line)
            if not isinstance(row, dict) or row.keys() != columns:
                raise InputError(f"line {number} is no row of '{name}'.", where=str(path))
            yield row


def _proven(rows: Iterable[dict[str, Any]], about: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    check = ChainCheck()
    for row in rows:
        for what in check.faults(row):
            raise InputError(f"record {row['seq']}: {what}", mend="Take another backup.")
        yield row
    if (check.seq, check.digest) != (about["seq"], about["head"] if about["seq"] else BEGINNING):
        raise InputError("the backup does not end where it says.", mend="Take another backup.")


def _insert(connection: Connection, table: Table, rows: Iterable[dict[str, Any]]) -> None:
    part: list[dict[str, Any]] = []
    for row in rows:
        part.append(row)
        if len(part) == _PART:
            connection.execute(insert(table), part)
            part = []
    if part:
        connection.execute(insert(table), part)


def _restore_file(backup: Path, attachments: StoredAttachments, row: Mapping[str, Any]) -> None:
    sha256 = str(row["sha256"])
    attachments.path_of(sha256)  # refuses what is no hash before it becomes a path
    path = backup / "attachments" / sha256[:2] / sha256
    try:
        content = path.read_bytes()
    except OSError as error:
        raise InputError(f"it cannot be read: {error.strerror}.", where=str(path)) from error
    if hashlib.sha256(content).hexdigest() != sha256:
        raise InputError("it is not what was backed up.", where=str(path), mend="Take another backup.")
    attachments.put(sha256, content)
