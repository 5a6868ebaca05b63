"""A shop that lives in memory: records, attachments, types and people as the store keeps them.

    shop = MemoryShop()
    shop.hire("ada", "Ada Lund", Role.BUILDER)
    desk = shop.desk("ada", NOON)

It keeps what the store keeps (canonical bytes, read back into new bodies), refuses what the store refuses
(a subject and revision twice, a revision that the writer did not see), and writes all of a batch or none.
"""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from functools import lru_cache
from typing import Any

from spoolwright.crafts.typefile.shop.model import ShopPart
from spoolwright.crafts.visit.desk import Desk, TypeInShop
from spoolwright.crafts.visit.entry import (
    KINDS,
    Attachment,
    B,
    Body,
    ConflictError,
    Entry,
    New,
    Signature,
    canonical,
)
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.crafts.visit.people import AuthorisationGiven, Person, PersonKnown, Role
from spoolwright.errors import InputError

NOON = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)


class MemoryRecords:
    """Records as rows of canonical bytes, each hashed with the digest of the row before it."""

    def __init__(self) -> None:
        self.rows: list[bytes] = []
        self._entries: list[Entry[Body]] = []
        self._head = ""

    def add(self, news: Sequence[New], *, by: str, at: datetime) -> list[Entry[Body]]:
        """Write all or none."""
        if at.tzinfo is None:
            raise InputError("the time of a record has no time zone.", mend="Give it in UTC.")
        kept = (list(self.rows), list(self._entries), self._head)
        try:
            return [self._write(new, by, at) for new in news]
        except Exception:
            self.rows, self._entries, self._head = kept
            raise

    def _write(self, new: New, by: str, at: datetime) -> Entry[Body]:
        past = self.history(new.subject)
        if len(past) != new.after:
            if past:
                raise ConflictError(new, past[-1])
            raise InputError(f"'{new.subject}' has no revision {new.after}.", mend="Record it as new.")
        row = canonical(
            {
                "seq": len(self.rows) + 1,
                "subject": new.subject,
                "revision": new.after + 1,
                "visit": new.visit,
                "kind": new.body.kind,
                "body": new.body.model_dump(mode="json"),
                "author": by,
                "at": at.astimezone(UTC).isoformat(),
                "reason": new.reason,
                "signature": new.signature.model_dump(mode="json") if new.signature else None,
            }
        )
        self._head = hashlib.sha256(self._head.encode() + row).hexdigest()
        entry = _read(row, self._head)
        if entry.body != new.body:
            raise InputError(f"'{new.subject}' does not come back as it was written.", where=new.body.kind)
        self.rows.append(row)
        self._entries.append(entry)
        return entry

    def current(self, *kinds: type[B], visit: str | None = None, under: str | None = None) -> list[Entry[B]]:
        """The newest revision of each subject, in the order in which subjects were first recorded."""
        newest: dict[str, Entry[Body]] = {}
        for entry in self._entries:
            newest[entry.subject] = entry
        return [
            e  # type: ignore[misc]
            for e in newest.values()
            if (not kinds or isinstance(e.body, kinds))
            and (visit is None or e.visit == visit)
            and (under is None or e.subject == under or e.subject.startswith(under.rstrip("/") + "/"))
        ]

    def history(self, subject: str) -> list[Entry[Body]]:
        """Every revision of a subject, first to last."""
        return [e for e in self._entries if e.subject == subject]


def _read(row: bytes, digest: str) -> Entry[Body]:
    """An entry from its canonical bytes."""
    said = json.loads(row)
    signature = said["signature"]
    return Entry(
        seq=said["seq"],
        subject=said["subject"],
        revision=said["revision"],
        visit=said["visit"],
        body=KINDS[said["kind"]].model_validate_json(json.dumps(said["body"])),
        author=said["author"],
        at=datetime.fromisoformat(said["at"]),
        reason=said["reason"],
        signature=Signature.model_validate(signature) if signature else None,
        digest=digest,
    )


class MemoryAttachments:
    """Files by their content's hash."""

    def __init__(self) -> None:
        self.files: dict[str, bytes] = {}

    def keep(self, content: bytes, name: str, media_type: str) -> Attachment:
        """Keep a file; the same content is kept once."""
        sha256 = hashlib.sha256(content).hexdigest()
        self.files[sha256] = bytes(content)
        return Attachment(sha256=sha256, name=name, media_type=media_type, size=len(content))

    def read(self, sha256: str) -> bytes:
        """The content of a hash."""
        if sha256 not in self.files:
            raise InputError(f"no file with hash {sha256} is kept here.")
        return self.files[sha256]


@lru_cache(maxsize=1)
def demonstration_type() -> TypeInShop:
    """The Corrie 940 with all of its shop part that the package ships."""
    from spoolwright.sources.typefile import load_type, shipped_type

    known = load_type(shipped_type())
    merged: dict[str, Any] = {}
    content = b""
    for path in sorted(shipped_type().with_suffix(".shop").glob("*.toml")):
        content += path.read_bytes()
        merged |= tomllib.loads(path.read_text())
    return TypeInShop(
        known.type_file, ShopPart.model_validate(merged), known.sha256, hashlib.sha256(content).hexdigest()
    )


@dataclass
class MemoryTypes:
    """One adopted type under every id; a test that needs another puts it into `adopted`."""

    adopted: TypeInShop | None = None

    def of(self, type_id: str) -> TypeInShop:
        """The type in force now."""
        return self.adopted or demonstration_type()


@dataclass
class MemoryShop:
    """Everything a desk needs; the people are records here as they are in the store."""

    records: MemoryRecords = field(default_factory=MemoryRecords)
    attachments: MemoryAttachments = field(default_factory=MemoryAttachments)
    types: MemoryTypes = field(default_factory=MemoryTypes)

    def hire(self, login: str, name: str, *roles: Role, until: date = date(2027, 12, 31)) -> None:
        """A person with an authorisation for each role, valid until a day; times are long before any test."""
        news = [New(f"person/{login}", PersonKnown(login=login, name=name, roles=roles))]
        for n, role in enumerate(roles, 1):
            number = f"FEW-{login}-{n}"
            given = AuthorisationGiven(login=login, number=number, role=role, expires_on=until)
            news.append(New(f"person/{login}/authorisation/{number}", given))
        self.records.add(news, by="lead", at=datetime(2020, 1, 1, tzinfo=UTC))

    def person(self, login: str) -> Person:
        """A person as their records say."""
        (known,) = self.records.current(PersonKnown, under=f"person/{login}")
        held = self.records.current(AuthorisationGiven, under=f"person/{login}")
        return Person(login, known.body.name, frozenset(known.body.roles), tuple(e.body for e in held))

    def desk(self, login: str, now: datetime = NOON) -> Desk:
        """The desk of a person at a time."""
        return Desk(self.records, self.attachments, self.types, self.person(login), now)

    def folder(self, visit: str, today: date = date(2026, 5, 4)) -> Folder:
        """A visit's folder."""
        return Folder(
            visit, tuple(self.records.current(Body, visit=visit)), self.types.of("corrie_940"), today
        )

    def open_visit(self, number: str = "W100", serial: str = "C940-117") -> str:
        """A visit of a Corrie 940; returns its number."""
        opened = VisitOpened(
            number=number,
            engine_serial=serial,
            type_id="corrie_940",
            customer="Holm Utility Helicopters",
            reason_for_removal="low power",
            received_on=NOON.date(),
        )
        new = New(f"visit/{number}", opened, visit=number)
        self.records.add([new], by="lead", at=datetime(2026, 5, 1, 7, 0, tzinfo=UTC))
        return number
