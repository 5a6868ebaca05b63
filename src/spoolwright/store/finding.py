"""Finds entries: by words of their subject, the visit, the kind, the author; the newest first."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import ColumnElement, select, union_all

from spoolwright.store.chain import time_of
from spoolwright.store.database import Database
from spoolwright.store.tables import ENTRY, PERSON_SECRET


@dataclass(frozen=True)
class FoundLine:
    """An entry in a list; its body is not read."""

    seq: int
    subject: str
    revision: int
    kind: str
    visit: str
    author: str
    at: datetime
    reason: str
    signed: bool


def find_entries(
    database: Database,
    *,
    words: Collection[str] = (),
    visits: Collection[str] = (),
    kind: str = "",
    author: str = "",
    before: int | None = None,
    most: int = 50,
) -> list[FoundLine]:
    """Entries whose subject holds all words, or which belong to one of the visits; the newest first.

    Parameters
    ----------
    database : the shop's
    words : parts of the subject; case does not matter
    visits : numbers of visits whose entries are taken too
    kind, author : exactly; empty takes all
    before : only entries before this place in the chain
    most : so many at most
    """
    columns = [c for c in ENTRY.c if c.name not in ("body", "previous", "digest")]
    asked = select(*columns).order_by(ENTRY.c.seq.desc()).limit(most)
    wanted = []
    if words:
        wanted.append(select(ENTRY.c.seq).where(*(_holds(database, w) for w in words)))
    if visits:
        wanted.append(select(ENTRY.c.seq).where(ENTRY.c.visit.in_(list(visits))))
    if wanted:
        asked = asked.where(ENTRY.c.seq.in_(union_all(*wanted)))
    if kind:
        asked = asked.where(ENTRY.c.kind == kind)
    if author:
        asked = asked.where(ENTRY.c.author == author)
    if before is not None:
        asked = asked.where(ENTRY.c.seq < before)
    with database.read() as connection:
        rows = connection.execute(asked).mappings().all()
    return [
        FoundLine(
            seq=r["seq"],
            subject=r["subject"],
            revision=r["revision"],
            kind=r["kind"],
            visit=r["visit"],
            author=r["author"],
            at=time_of(r["at"]),
            reason=r["reason"],
            signed=bool(r["signature"]),
        )
        for r in rows
    ]


def _holds(database: Database, word: str) -> ColumnElement[bool]:
    """Whether a subject holds a word; SQLite's LIKE minds no case, and read from the index it is quick."""
    subject = ENTRY.c.subject
    if database.is_sqlite:
        return subject.contains(word, autoescape=True)
    return subject.icontains(word, autoescape=True)


def logins_with_password(database: Database) -> set[str]:
    """Everybody who can sign in."""
    with database.read() as connection:
        return set(connection.scalars(select(PERSON_SECRET.c.login)))


def previous_digest(database: Database, seq: int) -> str:
    """The digest that an entry's own digest builds on; empty when there is no such entry."""
    with database.read() as connection:
        return connection.scalar(select(ENTRY.c.previous).where(ENTRY.c.seq == seq)) or ""
