"""A shop: records, attachments, types and people, joined to the crafts that work on them."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime
from pathlib import Path

from spoolwright.bootstrap.adopting import AdoptedTypes
from spoolwright.bootstrap.board import Board, VisitLine
from spoolwright.bootstrap.freshness import Fresh, News, WatchedRecords
from spoolwright.bootstrap.progress import Tell, silent
from spoolwright.bootstrap.shop_crafts import OPEN_ITEMS
from spoolwright.bootstrap.verifying import Printed, Verified, verify
from spoolwright.crafts.visit.adopted import TypeAdopted
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Body, Entry
from spoolwright.crafts.visit.folder import Folder, OpenItem
from spoolwright.errors import InputError, OutputError
from spoolwright.store.attachments import StoredAttachments
from spoolwright.store.database import Database, open_database
from spoolwright.store.migrating import migrate
from spoolwright.store.people import People
from spoolwright.store.records import StoredRecords

_KEPT = 400


class UnknownVisitError(InputError):
    """No visit has this number."""


class Shop:
    """Everything a page or command asks for. One for a process; threads may share it."""

    def __init__(self, database: Database, folder: Path) -> None:
        self.database, self.location = database, folder
        self.records = StoredRecords(database)
        self.attachments = StoredAttachments(database, folder / "attachments")
        self.types = AdoptedTypes(self.records, self.attachments)
        self.people = People(database, self.records)
        self._board = Board(self.records)
        self._news = News(self.records)
        self._folders: Fresh[Folder] = Fresh(self._news, _KEPT)
        self._open: Fresh[list[OpenItem]] = Fresh(self._news, _KEPT)

    def desk(self, login: str, now: datetime) -> Desk:
        """The desk of a person who works in the shop.

        Raises
        ------
        NotEntitledError
            Nobody has this login, or the person has left.
        """
        return Desk(self.records, self.attachments, self.types, self.people.acting(login, now.date()), now)

    def visits(self, open_only: bool = True) -> list[VisitLine]:
        """Every visit in a line; those still in the shop only, unless told otherwise."""
        return [line for line in self._board.lines() if line.is_open or not open_only]

    def visit(self, number: str) -> VisitLine:
        """One visit in a line.

        Raises
        ------
        UnknownVisitError
            No visit has this number.
        """
        line = self._board.line(number)
        if line is None:
            raise UnknownVisitError(
                f"no visit has the number '{number[:60]}'.", mend="Look at the list of visits."
            )
        return line

    def folder(self, visit: str, today: date) -> Folder:
        """A visit's newest records with the type in force; kept until something is recorded that bears on it.

        Raises
        ------
        UnknownVisitError
            No visit has this number.
        """
        return self._folders.get(visit, today, lambda v, records: self._read(v, today, records))

    def open_items(self, visit: str, today: date) -> list[OpenItem]:
        """What stands between an engine and its release, from every craft; kept as the folder is."""
        return self.open_items_of((visit,), today)[visit]

    def open_items_of(self, visits: Collection[str], today: date) -> dict[str, list[OpenItem]]:
        """What is open on many visits."""

        def read(visit: str, records: WatchedRecords) -> list[OpenItem]:
            folder = self._read(visit, today, records)
            return [item for opening in OPEN_ITEMS for item in opening(folder, records)]

        return self._open.get_all(visits, today, read)

    def outside(self, visit: str, today: date) -> list[Entry[Body]]:
        """Every revision of what a visit rests on outside itself: parts, engine, type; in order."""
        self._news.look()
        watched = WatchedRecords(self._news)
        folder = self._read(visit, today, watched)
        for opening in OPEN_ITEMS:
            opening(folder, watched)
        found = (self.records.history(s) for s in watched.answered - {e.subject for e in folder.entries})
        return sorted((e for entries in found for e in entries), key=lambda e: e.seq)

    def _read(self, visit: str, today: date, records: WatchedRecords) -> Folder:
        type_id = self.visit(visit).opened.type_id
        records.current(TypeAdopted, under=f"type/{type_id}")  # asked so that a newer one makes it stale
        return Folder(visit, tuple(records.current(Body, visit=visit)), self.types.of(type_id), today)

    def verify(self, *printed: Printed, progress: Tell = silent) -> Verified:
        """Check everything that is recorded, against heads that signed documents name too."""
        return verify(self.database, self.attachments, printed=printed, progress=progress)

    def close(self) -> None:
        """Give every connection back."""
        self.database.close()


def open_shop(url: str | None, folder: Path) -> Shop:
    """Open the shop in a folder, making it where there is none; its tables are brought to the newest form.

    Parameters
    ----------
    url : of a PostgreSQL database; None keeps the records in `shop.sqlite` in the folder
    folder : holds the attachments, and the records unless a URL is given

    Raises
    ------
    OutputError
        The folder cannot be made.
    StoreError
        The database cannot be opened, or a newer version wrote it.
    """
    try:
        (folder / "attachments").mkdir(parents=True, exist_ok=True)
    except OSError as error:
        what = f"the shop's folder cannot be made: {error.strerror}."
        raise OutputError(what, where=str(folder), mend="Choose another, or mend the rights.") from error
    database = open_database(url, folder)
    migrate(database)
    return Shop(database, folder)
