"""What stores, buyer and incoming inspection record."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from typing import ClassVar, Literal

from pydantic import Field

from spoolwright.crafts.typefile.base import Record
from spoolwright.crafts.visit.entry import Attachment, Body, Calculation
from spoolwright.crafts.visit.parts import OnPlate

STATUS_WORDS = ("new", "overhauled", "repaired", "inspected/tested", "modified")
"""The words that a release of new or maintained parts for installation carries.

References: Regulation (EU) No 1321/2014, Annex I (Part-M), Appendix II, block 11; Regulation (EU)
No 748/2012, Annex I (Part 21), Appendix I, block 11 ('prototype' is not a release for installation).
"""


class Certificate(Record):
    """A release certificate, field by field as the paper says it; an empty field is empty on the paper."""

    number: str = ""
    authority: str = ""
    organisation: str = ""
    approval_number: str = ""
    part_number: str = ""
    serial_or_lot: str = Field(default="", description="one, or several parted by commas")
    quantity: float | None = Field(default=None, gt=0)
    status_word: str = ""
    data: str = Field(default="", description="documents with revision that the work was done to")
    dated: date | None = None
    file: Attachment | None = None

    @property
    def tags(self) -> tuple[str, ...]:
        """The serials or lots that it names."""
        named = self.serial_or_lot.replace(";", ",").replace("\n", ",").split(",")
        return tuple(n.strip() for n in named if n.strip())


class StockReceived(Body):
    """A part by serial, or a lot, that came into the store. Subject `part/PN/TAG/stock`.

    `tag` is the serial of a part or the lot number. A serial that comes back after it was issued is a new
    revision: its certificate is looked at anew.
    """

    kind: ClassVar[str] = "stock_received"

    part: str = Field(description="id of the bill of material")
    type_id: str
    part_number: OnPlate
    tag: OnPlate
    serialised: bool
    quantity: int = Field(default=1, ge=1)
    made_on: date | None = Field(default=None, description="cure, filling or making date on the pack")
    expires_on: date | None = Field(default=None, description="use-by date, where the pack prints one")
    received_on: date
    place: str = ""
    order: str = ""
    certificate: Certificate | None = None


class FieldSeen(Record):
    """What the inspector's own look at the paper said of one field."""

    field: str
    seen: Literal["agrees", "differs", "absent"]


class CertificateChecked(Body):
    """Accepted into store, or quarantined. Subject `part/PN/TAG/certificate`.

    `arrival` is the revision of the stock record it speaks of: a later arrival needs its own look.
    """

    kind: ClassVar[str] = "certificate_checked"

    arrival: int
    fields: tuple[FieldSeen, ...]
    decision: Literal["accepted", "quarantined"]
    reason: str = ""


class Taken(Record):
    """What a visit holds of a serial or lot, and how much of it was built in."""

    visit: str
    quantity: int = Field(ge=1)
    fitted: int = Field(default=0, ge=0)


class Allocated(Body):
    """Who holds how much of a serial or lot. Subject `part/PN/TAG/allocation`.

    One subject for all visits: two writers cannot both take the last one, the second meets a conflict.
    """

    kind: ClassVar[str] = "allocated"

    arrival: int
    taken: tuple[Taken, ...] = ()


class UsedUp(Body):
    """All of a serial or lot was built in: it leaves the store's lists, its history stays.

    The newest revision of `part/PN/TAG/stock`, `.../certificate` and `.../allocation`, written together, so
    that a list of what is in store never reads what was used up over the years.
    """

    kind: ClassVar[str] = "used_up"

    arrival: int
    taken: tuple[Taken, ...]
    tag: str
    quantity: int
    certificate: Certificate | None = None


class KitLine(Body):
    """An exact serial or lot for a visit. Subject `visit/NUMBER/supply/kit/PN/TAG`."""

    kind: ClassVar[str] = "kit_line"

    part: str
    module: str
    part_number: OnPlate
    tag: OnPlate
    serialised: bool
    quantity: int = Field(ge=0, description="0 once it was put back")
    fitted: int = Field(default=0, ge=0, description="of the quantity, what was built in")
    arrival: int
    alternate_for: str = Field(default="", description="the part number it stands in for")
    allowed_by: str = Field(default="", description="document and paragraph that allow the alternate")
    certificate: str = ""
    expires_on: date | None = None

    @property
    def as_kitted(self) -> KitLine:
        """The line as a kit sheet says it, whatever was built in since."""
        return self.model_copy(update={"fitted": 0})


class KitSigned(Body):
    """A module's kit sheet, signed. Subject `visit/NUMBER/supply/kit-sheet/MODULE`."""

    kind: ClassVar[str] = "kit_signed"

    module: str
    lines: tuple[KitLine, ...]
    calculation: Calculation


class BuildPlanned(Body):
    """The day on which the parts are needed at the bench. Subject `visit/NUMBER/supply/build`."""

    kind: ClassVar[str] = "build_planned"

    build_on: date


class PartOrdered(Body):
    """An order line. Subject `order/PN/NUMBER`; what became of it is a later revision."""

    kind: ClassVar[str] = "part_ordered"

    number: str = Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9.-]{0,31}$")
    visit: str = ""
    part: str
    part_number: OnPlate
    quantity: int = Field(ge=1)
    supplier: str
    ordered_on: date
    promised_on: date | None = None
    arrived_on: date | None = None
    cancelled: bool = False


class Work(StrEnum):
    """Kinds of work that are sent out."""

    WELDING = "welding"
    BRAZING = "brazing"
    PLATING = "plating"
    SPRAYING = "thermal spraying"
    COATING = "coating"
    HEAT_TREATMENT = "heat treatment"
    MACHINING = "machining"
    BALANCING = "balancing"
    NDI = "nondestructive inspection"
    OVERHAUL = "overhaul"
    TEST = "test"


class VendorKnown(Body):
    """A shop that work is sent to. Subject `vendor/ID`."""

    kind: ClassVar[str] = "vendor"

    id: str = Field(pattern=r"^[a-z0-9][a-z0-9-]{0,31}$")
    name: str = Field(min_length=1)
    address: str = ""
    remarks: str = ""


class VendorAuthorised(Body):
    """What an authority approved a vendor for. Subject `vendor/ID/authorisation/NUMBER/ISSUE`.

    Each issue has its own dates and scope: a scope that grew later does not cover what was sent before.
    """

    kind: ClassVar[str] = "vendor_authorisation"

    vendor: str
    number: OnPlate
    issue: OnPlate = "1"
    authority: str
    works: tuple[Work, ...] = Field(min_length=1)
    part_numbers: tuple[str, ...] = Field(default=(), description="none: every part of the types")
    valid_from: date
    expires_on: date
    withdrawn_on: date | None = None
    file: Attachment | None = None


class SentOut(Body):
    """A part sent to a vendor. Subject `visit/NUMBER/supply/repair/PN/SN/TRIP`."""

    kind: ClassVar[str] = "sent_out"

    part: str
    module: str
    part_number: OnPlate
    serial: OnPlate
    vendor: str
    authorisation: str
    works: tuple[Work, ...] = Field(min_length=1)
    finding: str = ""
    data: str = Field(min_length=1, description="the repair documents with revision")
    order: str = ""
    sent_on: date
    expected_on: date


class Returned(Body):
    """A part that came back, with the vendor's release. Subject `.../TRIP/return`."""

    kind: ClassVar[str] = "returned"

    returned_on: date
    works: tuple[Work, ...] = Field(description="the work that the release states")
    certificate: Certificate
    remarks: str = ""


class Reinspected(Body):
    """The shop's own look at a returned part. Subject `.../TRIP/inspection`."""

    kind: ClassVar[str] = "reinspected"

    serviceable: bool
    found: str = Field(min_length=1)
    files: tuple[Attachment, ...] = ()
