"""What the receiving inspector records."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from typing import ClassVar, Literal

from pydantic import Field

from spoolwright.crafts.visit.entry import Attachment, Body
from spoolwright.crafts.visit.parts import Counts, OnPlate

CONTAINER_CAUTION = (
    "A shipping container may still be under pressure: relieve it at its valve before a single bolt is "
    "loosened, and ground both halves before they are parted. Follow the container's approved instructions."
)


class Container(StrEnum):
    """How the engine came."""

    NONE = "no container"
    PRESSURE_HELD = "closed, pressure held"
    PRESSURE_LOST = "closed, pressure lost"
    DAMAGED = "damaged"


class Preservation(StrEnum):
    """Whether the engine is protected against corrosion, as its tag says."""

    VALID = "preserved, tag valid"
    RUN_OUT = "preserved, tag run out"
    NONE = "not preserved"
    UNKNOWN = "not known"


class EngineAtVisit(Body):
    """An engine's counts at a visit. Subject `engine/SERIAL/visit/NUMBER`."""

    kind: ClassVar[str] = "engine_at_visit"

    visit: str
    engine_serial: OnPlate
    received_on: date
    counts: Counts = Counts()
    withdrawn: bool = Field(default=False, description="the visit turned out to be of another engine")


class EngineReceived(Body):
    """The engine as it stood on the dock. Subject `visit/NUMBER/receiving/engine`."""

    kind: ClassVar[str] = "engine_received"

    container: Container
    container_number: str = ""
    pressure_relieved: bool = Field(
        default=False, description="pressure relieved and both halves grounded first"
    )
    shipping_damage: str = ""
    damage_claim: str = Field(default="", description="number of the claim, or who decided that none is made")
    preservation: Preservation
    preserved_until: date | None = None
    accessories_missing: tuple[str, ...] = ()
    missing_agreed: str = Field(
        default="", description="what was agreed with the customer about what is missing"
    )
    remarks: str = ""
    photographs: tuple[Attachment, ...] = ()


class ModuleReceived(Body):
    """A module as it came. Subject `visit/NUMBER/receiving/module/ID`."""

    kind: ClassVar[str] = "module_received"

    module: str
    serial: OnPlate
    counts: Counts = Counts()
    remarks: str = ""
    files: tuple[Attachment, ...] = ()


class DocumentReceived(Body):
    """A document that was looked for. Subject `visit/NUMBER/receiving/document/ID[/MODULE]`."""

    kind: ClassVar[str] = "document_received"

    document: str
    module: str = ""
    state: Literal["present", "copied", "absent"]
    remarks: str = ""
    files: tuple[Attachment, ...] = ()


class DoubtAnswered(Body):
    """What a person found about something implausible. Subject `visit/NUMBER/receiving/doubt/KEY`.

    It answers the doubt in the words in which it was told; other figures make another doubt.
    """

    kind: ClassVar[str] = "doubt_answered"

    doubt: str
    answer: str = Field(min_length=1)
    files: tuple[Attachment, ...] = ()


class ReceivingDecided(Body):
    """Accepted into work, or quarantined. Subject `visit/NUMBER/receiving/decision`."""

    kind: ClassVar[str] = "receiving_decided"

    decision: Literal["accepted", "quarantined"]
    reason: str = ""
