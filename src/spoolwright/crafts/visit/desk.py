"""The desk: who acts, when, and on which records. Every use case takes one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Protocol

from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.crafts.typefile.shop.model import ShopPart
from spoolwright.crafts.visit.entry import Attachments, Body, Entry, Meaning, New, Records, Signature
from spoolwright.crafts.visit.people import NotEntitledError, Person, Role


@dataclass(frozen=True)
class TypeInShop:
    """An engine type as the shop adopted it: the type file and its shop part, with the hash of each."""

    type_file: TypeFile
    shop: ShopPart
    type_sha256: str
    shop_sha256: str


class Types(Protocol):
    """The adopted types."""

    def of(self, type_id: str) -> TypeInShop:
        """The type in force now."""
        ...


@dataclass(frozen=True)
class Desk:
    """Who acts, when (UTC), and on what."""

    records: Records
    attachments: Attachments
    types: Types
    person: Person
    now: datetime

    def record(self, *news: New) -> list[Entry[Body]]:
        """Write all or none."""
        return self.records.add(news, by=self.person.login, at=self.now)

    def entitled(self, *roles: Role) -> str:
        """The number of the authorisation under which the person acts in one of these roles.

        Raises
        ------
        NotEntitledError
            The person holds none of them, or its authorisation has run out.
        """
        for role in roles:
            held = self.person.authorisation_for(role, self.now.date())
            if role in self.person.roles and held is not None:
                return held.number
        wanted = " or ".join(roles)
        if set(roles) & self.person.roles:
            raise NotEntitledError(
                f"{self.person.name} is {wanted}, but holds no authorisation that is valid today.",
                mend="The lead enters or renews it under People.",
            )
        raise NotEntitledError(f"this needs a person who is {wanted}.", mend="Ask one of them to sign.")


def signed(new: New, desk: Desk, meaning: Meaning, shown: str, *roles: Role) -> New:
    """A record with the signature of the person at the desk, who gave the password again just now."""
    number = desk.entitled(*roles) if roles else ""
    p = desk.person
    signature = Signature(person=p.login, name=p.name, meaning=meaning, shown=shown, authorisation=number)
    return replace(new, signature=signature)
