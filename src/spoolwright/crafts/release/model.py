"""Records of a release, and what the cross-check compares."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import ClassVar

from pydantic import Field

from spoolwright.crafts.visit.entry import Attachment, Body
from spoolwright.crafts.visit.people import Role


class PackMade(Body):
    """A release pack as it was printed. Subject `visit/NUMBER/release/pack`; each print is a revision."""

    kind: ClassVar[str] = "release_pack"

    pack: Attachment
    head_seq: int = Field(description="last record of the chain when it was printed")
    head_digest: str
    open_items: int = Field(ge=0)
    holes: int = Field(ge=0)


class ReleaseSigned(Body):
    """What the certifying person signed. Subject `visit/NUMBER/release`."""

    kind: ClassVar[str] = "release"

    tracking_number: str = Field(min_length=1)
    word: str
    remarks: str
    pack_sha256: str
    completed_on: date


@dataclass(frozen=True)
class Hole:
    """Two records that do not agree, or one that is missing, in words."""

    text: str
    link: str
    closed_by: Role = Role.RECORDS


@dataclass(frozen=True)
class SerialSeen:
    """A serial number as one record gives it for a place in the engine."""

    place: str
    part_number: str
    serial: str
    where: str
    link: str


@dataclass(frozen=True)
class TotalSeen:
    """A total (hours, cycles, starts) as one record gives it for an item."""

    item: str
    quantity: str
    value: Decimal
    where: str
    link: str


@dataclass(frozen=True)
class RevisionSeen:
    """The revision of a document that a record worked to."""

    document: str
    revision: str
    where: str
    link: str


@dataclass(frozen=True)
class OrderSeen:
    """Two moments of which the first must not lie behind the second."""

    first: str
    first_at: datetime
    second: str
    second_at: datetime
    link: str


@dataclass(frozen=True)
class SignatureSeen:
    """A signature under a record."""

    what: str
    person: str
    name: str
    authorisation: str
    at: datetime
    link: str


@dataclass(frozen=True)
class PartSeen:
    """A part that was fitted in the visit."""

    part_number: str
    serial: str
    allowed: tuple[str, ...]
    certificate: str
    link: str


@dataclass(frozen=True)
class OverhaulFacts:
    """What the word 'overhauled' rests on, a sentence for each thing that is missing (14 CFR 43.2)."""

    disassembled: tuple[str, ...] = ()
    cleaned: tuple[str, ...] = ()
    inspected: tuple[str, ...] = ()
    repaired: tuple[str, ...] = ()
    reassembled: tuple[str, ...] = ()
    tested: tuple[str, ...] = ()


@dataclass(frozen=True)
class Evidence:
    """What the cross-check reads, gathered from all crafts."""

    serials: tuple[SerialSeen, ...] = ()
    totals: tuple[TotalSeen, ...] = ()
    revisions: tuple[RevisionSeen, ...] = ()
    orders: tuple[OrderSeen, ...] = ()
    signatures: tuple[SignatureSeen, ...] = ()
    parts: tuple[PartSeen, ...] = ()
    overhaul: OverhaulFacts = OverhaulFacts()
