"""A shop: records, attachments, types and people, joined to the crafts that work on them."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Hashable
from datetime import date, datetime
from pathlib import Path
from typing import Generic, TypeVar

from spoolwright.bootstrap.adopting import AdoptedTypes
from spoolwright.bootstrap.board import Board, VisitLine
from spoolwright.bootstrap.progress import Tell, silent
from spoolwright.bootstrap.shop_crafts import OPEN_ITEMS
from spoolwright.bootstrap.verifying import Printed, Verified, verify
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Body
from spoolwright.crafts.visit.folder import Folder, OpenItem
from spoolwright.errors import InputError, OutputError
from spoolwright.store.attachments import StoredAttachments
from spoolwright.store.database import Database, open_database
from spoolwright.store.migrating import migrate
from spoolwright.store.people import People
from spoolwright.store.records import StoredRecords

T = TypeVar("T")
_FOLDERS = 200


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
        self._folders: _Fresh[Folder] = _Fresh(_FOLDERS)
        self._open: _Fresh[list[OpenItem]] = _Fresh(_FOLDERS)

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
        state = (*self.records.last_seq(visit), today)
        kept = self._folders.get(visit, state)
        if kept is None:
            kind = self.types.of(self.visit(visit).opened.type_id)
            kept = Folder(visit, tuple(self.records.current(Body, visit=visit)), kind, today)
            self._folders.put(visit, state, kept)
        return kept

    def open_items(self, visit: str, today: date) -> list[OpenItem]:
        """What stands between an engine and its release, from every craft; kept as the folder is."""
        state = (*self.records.last_seq(visit), today)
        kept = self._open.get(visit, state)
        if kept is None:
            folder = self.folder(visit, today)
            kept = [item for opening in OPEN_ITEMS for item in opening(folder, self.records)]
            self._open.put(visit, state, kept)
        return kept

    def verify(self, *printed: Printed, progress: Tell = silent) -> Verified:
        """Check everything that is recorded, against heads that signed documents name too."""
        return verify(self, printed=printed, progress=progress)

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


class _Fresh(Generic[T]):
    """Values with the state they were made from; one made from another state is not given out."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._values: OrderedDict[str, tuple[Hashable, T]] = OrderedDict()

    def get(self, key: str, state: Hashable) -> T | None:
        with self._lock:
            kept = self._values.get(key)
            if kept is None or kept[0] != state:
                return None
            self._values.move_to_end(key)
            return kept[1]

    def put(self, key: str, state: Hashable, value: T) -> None:
        with self._lock:
            self._values[key] = (state, value)
            self._values.move_to_end(key)
            while len(self._values) > self._most:
                self._values.popitem(last=False)
