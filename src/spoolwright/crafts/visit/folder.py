"""A visit's folder: its newest records, as every craft reads them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from spoolwright.crafts.visit.desk import TypeInShop
from spoolwright.crafts.visit.entry import B, Body, Entry
from spoolwright.crafts.visit.people import Role


@dataclass(frozen=True)
class Folder:
    """The newest revision of each of a visit's records, the type in force, and the day it is read."""

    visit: str
    entries: tuple[Entry[Body], ...]
    kind: TypeInShop
    today: date

    def of(self, body: type[B]) -> list[Entry[B]]:
        """The entries of one kind, in the order they were first recorded."""
        return [e for e in self.entries if isinstance(e.body, body)]  # type: ignore[misc]


@dataclass(frozen=True)
class OpenItem:
    """Something that stands between an engine and its release, in words, and where it is closed."""

    craft: str
    text: str
    link: str
    closed_by: Role
    module: str = ""
    blocks_release: bool = True


def newest(entries: Iterable[Entry[B]], subject: str) -> Entry[B] | None:
    """The entry of a subject among newest entries."""
    return next((e for e in entries if e.subject == subject), None)
