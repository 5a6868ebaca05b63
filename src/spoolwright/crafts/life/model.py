"""Records of lives: a part's birth and use, the review of its ledger, directives, advisory counts."""

from __future__ import annotations

from datetime import date
from typing import ClassVar, Literal

from pydantic import Field

from spoolwright.crafts.life.figure import Figure
from spoolwright.crafts.typefile.base import Record
from spoolwright.crafts.visit.entry import Attachment, Body, Calculation
from spoolwright.crafts.visit.parts import OnPlate


class Reading(Record):
    """Counts at one moment; empty where the paper says nothing, never zero for unknown."""

    hours: Figure = ""
    cycles: Figure = ""
    starts: Figure = ""


class PartBorn(Body):
    """Where a part's life begins. Subject `part/PN/SN/birth`.

    `counts` is what its birth paper says: zero for a new part. `document` is the birth certificate.
    """

    kind: ClassVar[str] = "part_born"

    part_number: OnPlate
    serial: OnPlate
    made_on: date | None = None
    counts: Reading = Reading(hours="0", cycles="0", starts="0")
    document: str = ""
    files: tuple[Attachment, ...] = ()


class PartUsed(Body):
    """A line of a part's ledger: use in one engine between two readings. Subject `part/PN/SN/use/NNNN`.

    The number in the subject is the line's place in the ledger. What the paper does not say stays empty; it
    is told as a gap and never filled.
    """

    kind: ClassVar[str] = "part_used"

    part_number: OnPlate
    serial: OnPlate
    line: int = Field(ge=1, le=9999)
    began: Literal["installed", "continued"] = "installed"
    ended: Literal["removed", "continued", "still fitted"] = "removed"
    engine_serial: str = ""
    module_serial: str = ""
    on: date | None = None
    off: date | None = None
    engine_on: Reading = Reading()
    engine_off: Reading = Reading()
    part_on: Reading = Reading()
    part_off: Reading = Reading()
    operating_class: str = ""
    table: str = Field(default="", description="version of the exchange table the cycles were counted with")
    flown: dict[str, Figure] = Field(default_factory=dict, description="cycles of each kind that were flown")
    reason: str = ""
    document: str = ""
    files: tuple[Attachment, ...] = ()


class RateStated(Body):
    """How the operator will use the engine, by its own word. Subject `visit/NUMBER/life/rate`."""

    kind: ClassVar[str] = "life_rate"

    hours_per_month: Figure
    flown_per_month: dict[str, Figure]
    operating_class: str
    stated_by: str = Field(min_length=1)
    document: str = ""


class LedgerReviewed(Body):
    """A part's ledger as the records person signed it. Subject `visit/NUMBER/life/part/PN/SN`.

    `calculation` holds the ledger as it was read then; a line added or corrected later opens it again.
    """

    kind: ClassVar[str] = "ledger_reviewed"

    part_number: OnPlate
    serial: OnPlate
    disposition: Literal["may be fitted", "to be replaced", "referred", "held"]
    remark: str = ""
    calculation: Calculation


class AffectedSerial(Record):
    """A part by serial whose limit changed: what is left, and where it is."""

    serial: str
    used: str
    left_before: str
    left_now: str
    place: str
    proof: bool
    over: bool


class LimitChangeSeen(Body):
    """A change of a limit over the whole stock, as it stood that day. Subject `type/ID/life/limit/N...`."""

    kind: ClassVar[str] = "limit_change_seen"

    part_number: OnPlate
    measure: str
    was: str
    now: str
    document: str
    revision: str
    paragraph: str
    effective: date
    affected: tuple[AffectedSerial, ...]


class DirectiveDone(Body):
    """What was done about a directive. Subject `engine/SERIAL/directive/ID` or `part/PN/SN/directive/ID`."""

    kind: ClassVar[str] = "directive_done"

    directive: str
    revision: str
    state: Literal["complied", "not applicable"]
    how: str = Field(min_length=1, description="what was done; for 'not applicable' the reason")
    on: date
    at: Reading = Reading()
    by: str = Field(min_length=1, description="who did it: person, shop, authorisation")
    document: str = ""
    files: tuple[Attachment, ...] = ()


class CyclesAdvised(Body):
    """Cycles counted in a recording, as advice. Subject `engine/SERIAL/cycles/HASH`."""

    kind: ClassVar[str] = "cycles_advised"

    engine_serial: OnPlate
    recording: str
    recording_sha256: str
    file: Attachment | None = None
    calculation: Calculation
