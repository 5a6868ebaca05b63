"""Records of the visit itself, and the events of work that several crafts write or read."""

from __future__ import annotations

from datetime import date, datetime
from enum import StrEnum
from typing import ClassVar, Literal

from pydantic import Field

from spoolwright.crafts.visit.entry import Attachment, Body


class Stage(StrEnum):
    """Where in the job a visit stands; the lead moves it."""

    RECEIVING = "receiving"
    RECORDS = "records review"
    AS_RECEIVED = "as-received run"
    TEARDOWN = "teardown"
    INSPECTION = "inspection and NDI"
    SCOPE = "work scope"
    REPAIR = "repair"
    BUILD = "build"
    TEST = "test cell"
    RELEASE = "release"
    SHIPPED = "shipped"
    INSTALLED = "installed"


class ShopKnown(Body):
    """The shop itself, as it stands on its papers. Subject `shop`."""

    kind: ClassVar[str] = "shop"

    name: str
    address: str
    authority: str = Field(description="competent authority, or its country, under which the shop releases")
    approval_number: str
    records_kept_years: int = Field(default=5, ge=1, description="the longest that an authority asks for")
    page_address: str = Field(default="", description="where the record's pages are reached, for QR codes")
    demonstration: bool = False


class VisitOpened(Body):
    """An engine's visit. Subject `visit/NUMBER`; the number is the shop's work order."""

    kind: ClassVar[str] = "visit"

    number: str = Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9.-]{0,31}$")
    engine_serial: str
    type_id: str
    customer: str
    reason_for_removal: str
    received_on: date
    promised_on: date | None = None
    time_since_new_h: float | None = Field(default=None, ge=0)
    cycles_since_new: float | None = Field(default=None, ge=0)
    starts_since_new: float | None = Field(default=None, ge=0)
    scope: str = ""
    word: Literal["", "overhauled", "repaired", "inspected", "tested", "modified"] = Field(
        default="", description="the word the release is meant to carry"
    )


class StageSet(Body):
    """The stage of work. Subject `visit/NUMBER/stage`."""

    kind: ClassVar[str] = "stage"

    stage: Stage
    waits_for: str = ""


class WorkEvent(Body):
    """Something that was done to the engine or happened to it, from which work may be owed.

    Written by any craft; subject `visit/NUMBER/event/N...`. `item` is a module id, part kind or adjustment.
    """

    kind: ClassVar[str] = "work_event"

    what: Literal[
        "removed", "removed_for_access", "installed", "repaired", "replaced", "blended", "adjusted",
        "exceedance", "dropped", "reopened",
    ]  # fmt: skip
    item: str
    module: str = ""
    serial: str = ""
    detail: str = ""
    happened_at: datetime | None = None


class NoteTaken(Body):
    """A remark with files: photographs, letters, forms. Subject `visit/NUMBER/note/N...`."""

    kind: ClassVar[str] = "note"

    text: str
    module: str = ""
    files: tuple[Attachment, ...] = ()
