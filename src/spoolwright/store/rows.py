"""Between an entry and its row. The body is kept as exactly the bytes that are hashed and signed."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from pydantic import ValidationError

from spoolwright.crafts.typefile.base import Record
from spoolwright.crafts.visit.entry import KINDS, Body, Entry, New, Signature, canonical
from spoolwright.errors import InputError
from spoolwright.store.chain import digest_of, time_of, time_text


class UnreadableEntryError(InputError):
    """A stored entry cannot be read as what it says it is."""


def row_of(new: New, *, seq: int, previous: str, by: str, at: datetime) -> dict[str, Any]:
    """The row of a record at its place in the chain.

    Raises
    ------
    InputError
        The subject is no subject, or the body holds what cannot be stored and read back.
    """
    _check_subject(new.subject)
    row = {
        "seq": seq,
        "subject": new.subject,
        "revision": new.after + 1,
        "kind": new.body.kind,
        "visit": new.visit,
        "author": by,
        "at": time_text(at),
        "reason": new.reason,
        "body": _text_of(new.body, new.subject),
        "signature": _text_of(new.signature, new.subject) if new.signature else "",
        "previous": previous,
    }
    try:
        return {**row, "digest": digest_of(row)}
    except UnicodeEncodeError as error:
        raise _unstorable(new.subject, "a character that is none") from error


def entry_of(row: Mapping[str, Any]) -> Entry[Body]:
    """The entry of a row.

    Raises
    ------
    UnreadableEntryError
        Its kind is not known, or its body or signature is not of that kind.
    """
    kind = KINDS.get(row["kind"])
    where = f"record {row['seq']}"
    if kind is None:
        what = f"'{row['kind']}' is no kind of record that this version knows."
        raise UnreadableEntryError(what, where=where, mend="Open the shop with the version that wrote it.")
    try:
        body = kind.model_validate_json(row["body"])
        signature = Signature.model_validate_json(row["signature"]) if row["signature"] else None
        at = time_of(row["at"])
    except (ValidationError, ValueError) as error:
        what = f"it cannot be read as '{row['kind']}': {_first_line(error)}."
        raise UnreadableEntryError(what, where=where, mend="Run: spoolwright verify.") from error
    return Entry(
        seq=row["seq"],
        subject=row["subject"],
        revision=row["revision"],
        visit=row["visit"],
        body=body,
        author=row["author"],
        at=at,
        reason=row["reason"],
        signature=signature,
        digest=row["digest"],
    )


def _text_of(record: Record, subject: str) -> str:
    try:
        return canonical(record.model_dump(mode="json")).decode()
    except UnicodeEncodeError as error:
        raise _unstorable(subject, "a character that is none") from error
    except (ValueError, TypeError) as error:
        raise _unstorable(subject, f"a value that is none ({_first_line(error)})") from error


def _unstorable(subject: str, what: str) -> InputError:
    return InputError(f"it holds {what}.", where=subject[:120], mend="Correct the value and record it again.")


def _check_subject(subject: str) -> None:
    parts = subject.split("/")
    if len(subject) > 300 or not all(p and p == p.strip() and p.isprintable() for p in parts):
        what = f"'{subject[:120]}' cannot name a record."
        raise InputError(what, mend="A number, serial or login has no slash and no blank at its ends.")


def _first_line(error: Exception) -> str:
    if isinstance(error, ValidationError):
        first = error.errors()[0]
        place = ".".join(str(p) for p in first["loc"])
        return f"{place}: {first['msg']}" if place else str(first["msg"])
    return (str(error).splitlines() or ["?"])[0][:200]
