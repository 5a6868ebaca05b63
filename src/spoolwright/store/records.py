"""The entries in the database."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Collection, Iterator, Sequence
from datetime import datetime
from typing import Any, NamedTuple, cast

from sqlalchemy import ColumnElement, Connection, Select, and_, func, insert, or_, select

from spoolwright.crafts.visit.entry import KINDS, B, Body, ConflictError, Entry, New
from spoolwright.errors import InputError
from spoolwright.store.chain import BEGINNING
from spoolwright.store.database import Database
from spoolwright.store.rows import entry_of, row_of
from spoolwright.store.tables import ENTRY

_PART = 500
"""Sequence numbers in one question to the database."""

_FIRST, _NEWER = ENTRY.alias(), ENTRY.alias()
_NEWEST = (
    select(ENTRY.c.seq)
    .join(_FIRST, and_(_FIRST.c.subject == ENTRY.c.subject, _FIRST.c.revision == 1))
    .outerjoin(_NEWER, and_(_NEWER.c.subject == ENTRY.c.subject, _NEWER.c.revision == ENTRY.c.revision + 1))
    .where(_NEWER.c.seq.is_(None))
    .order_by(_FIRST.c.seq)
)
"""The newest revision of each subject, in the order the subjects were first recorded."""


class Mark(NamedTuple):
    """An entry without its body: enough to tell whether a kept result was read from it."""

    seq: int
    subject: str
    kind: str
    visit: str


class StoredRecords:
    """Entries, written to the end of the chain and read by their newest revision.

    An entry never changes, so one that has been read once is kept in memory (the `kept` last used).
    """

    def __init__(self, database: Database, kept: int = 30_000) -> None:
        self._database = database
        self._read = _LastUsed(kept)

    def add(self, news: Sequence[New], *, by: str, at: datetime) -> list[Entry[Body]]:
        """Write all or none, each at the end of the chain.

        Raises
        ------
        ConflictError
            A subject has another revision than the writer saw.
        InputError
            A record cannot be stored as it is.
        """
        with self._database.write() as connection:
            seq, previous = end_of(connection)
            entries = []
            for new in news:
                self._refuse_conflict(connection, new)
                seq += 1
                row = row_of(new, seq=seq, previous=previous, by=by, at=at)
                entries.append(entry_of(row))  # what is handed back is what was stored, read again
                connection.execute(insert(ENTRY), row)
                previous = row["digest"]
        self._read.put(entries)
        return entries

    def current(self, *kinds: type[B], visit: str | None = None, under: str | None = None) -> list[Entry[B]]:
        """The newest revision of each subject, in the order the subjects were first recorded.

        Without kinds, of every kind; `under` takes a subject and all below it.
        """
        asked = _NEWEST
        if names := names_of(kinds):
            # Thousands may be of a kind: where a narrower index is there, the kind must not choose its own.
            kind = ENTRY.c.kind if visit is None and under is None else ENTRY.c.kind + ""
            asked = asked.where(kind.in_(names))
        if visit is not None:
            asked = asked.where(ENTRY.c.visit == visit)
        if under is not None:
            asked = asked.where(_under(under))
        return cast("list[Entry[B]]", self._entries(asked))

    def history(self, subject: str) -> list[Entry[Body]]:
        """Every revision of a subject, first to last."""
        return self._entries(select(ENTRY.c.seq).where(ENTRY.c.subject == subject).order_by(ENTRY.c.revision))

    def since(self, seq: int, *kinds: type[Body], visit: str | None = None) -> list[Entry[Body]]:
        """Every entry after a place in the chain, in its order; of some kinds, of a visit."""
        asked = select(ENTRY.c.seq).where(ENTRY.c.seq > seq).order_by(ENTRY.c.seq)
        if names := names_of(kinds):
            asked = asked.where(ENTRY.c.kind.in_(names))
        if visit is not None:
            asked = asked.where(ENTRY.c.visit == visit)
        return self._entries(asked)

    def at_seq(self, seq: int) -> Entry[Body] | None:
        """The entry at a place in the chain."""
        return next(iter(self._entries(select(ENTRY.c.seq).where(ENTRY.c.seq == seq))), None)

    def head(self) -> tuple[int, str]:
        """Number and digest of the last entry: what a signed document prints."""
        with self._database.read() as connection:
            return end_of(connection)

    def marks_since(self, seq: int) -> list[Mark]:
        """What was recorded after a place in the chain: where and of what kind, not what it says."""
        asked = select(ENTRY.c.seq, ENTRY.c.subject, ENTRY.c.kind, ENTRY.c.visit).where(ENTRY.c.seq > seq)
        with self._database.read() as connection:
            return [Mark(*row) for row in connection.execute(asked.order_by(ENTRY.c.seq))]

    def rows(self, step: int = 2000) -> Iterator[dict[str, Any]]:
        """Every row as it stands in the database, in order, in one state of the records."""
        with self._database.read() as connection:
            yield from rows_of(connection, step)

    def _refuse_conflict(self, connection: Connection, new: New) -> None:
        newest = connection.execute(
            select(ENTRY).where(ENTRY.c.subject == new.subject).order_by(ENTRY.c.revision.desc()).limit(1)
        ).mappings().first()  # fmt: skip
        if (newest["revision"] if newest else 0) != new.after:
            if newest is None:
                what = f"revision {new.after} is to be corrected, but nothing is recorded there."
                raise InputError(what, where=new.subject, mend="Record it as new.")
            raise ConflictError(new, entry_of(dict(newest)))

    def _entries(self, asked: Select[int]) -> list[Entry[Body]]:
        """The entries whose numbers a question gives; rows of those in memory are not read again."""
        with self._database.read() as connection:
            numbers = list(connection.scalars(asked))
            found = self._read.get(numbers)
            missing = [n for n in numbers if n not in found]
            for start in range(0, len(missing), _PART):
                part = missing[start : start + _PART]
                rows = connection.execute(select(ENTRY).where(ENTRY.c.seq.in_(part))).mappings()
                read = [entry_of(dict(row)) for row in rows]
                self._read.put(read)
                found.update((e.seq, e) for e in read)
        return [found[n] for n in numbers]


def rows_of(connection: Connection, step: int = 2000) -> Iterator[dict[str, Any]]:
    """Every row of the chain in order, a part at a time."""
    last = None
    while True:
        asked = select(ENTRY).order_by(ENTRY.c.seq).limit(step)
        if last is not None:
            asked = asked.where(ENTRY.c.seq > last)
        part = [dict(row) for row in connection.execute(asked).mappings()]
        if not part:
            return
        yield from part
        last = part[-1]["seq"]


def count_of(connection: Connection) -> int:
    """How many entries there are."""
    return connection.scalar(select(func.count()).select_from(ENTRY)) or 0


def end_of(connection: Connection) -> tuple[int, str]:
    """Number and digest of the last entry."""
    last = connection.execute(
        select(ENTRY.c.seq, ENTRY.c.digest).order_by(ENTRY.c.seq.desc()).limit(1)
    ).first()
    return (last.seq, last.digest) if last else (0, BEGINNING)


def names_of(kinds: Sequence[type[Body]]) -> list[str]:
    """Names of the kinds asked for, those built on them among them; none when every kind is asked for."""
    if Body in kinds:
        return []
    return [name for name, known in KINDS.items() if issubclass(known, tuple(kinds))]


def _under(subject: str) -> ColumnElement[bool]:
    """A subject and all below it, as a range of the index: '0' is the character after '/'."""
    base = subject.rstrip("/")
    below = and_(ENTRY.c.subject >= f"{base}/", ENTRY.c.subject < f"{base}0")
    return or_(ENTRY.c.subject == base, below)


class _LastUsed:
    """The entries read last, by number."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._entries: OrderedDict[int, Entry[Body]] = OrderedDict()

    def get(self, numbers: Collection[int]) -> dict[int, Entry[Body]]:
        found = {}
        with self._lock:
            for n in numbers:
                entry = self._entries.get(n)
                if entry is not None:
                    found[n] = entry
                    self._entries.move_to_end(n)
        return found

    def put(self, entries: Sequence[Entry[Body]]) -> None:
        with self._lock:
            for entry in entries:
                self._entries[entry.seq] = entry
            while len(self._entries) > self._most:
                self._entries.popitem(last=False)
