"""What an inspector records, and what the tool proposes from it."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar, Literal

from pydantic import Field

from spoolwright.crafts.inspection.lengths import Size
from spoolwright.crafts.typefile.base import Identifier, Record
from spoolwright.crafts.typefile.shop.inspection import Damage
from spoolwright.crafts.visit.entry import Attachment, Body, Calculation

Method = Literal["direct", "replica", "photograph", "borescope"]


class Proposed(StrEnum):
    """What the limits say about a finding."""

    AS_IS = "meets limits as is"
    BLEND = "blend within limits"
    OUTSIDE = "outside limits"
    REFER = "refer to engineering"
    MEASURE = "measure first"


class FindingRecorded(Body):
    """Damage that was found. Subject `visit/NUMBER/inspection/PART/SERIAL/finding/N`."""

    kind: ClassVar[str] = "finding"

    part: Identifier = Field(description="id of the inspected part")
    serial: str = ""
    blade: int | None = Field(default=None, ge=1, description="number of the blade, vane, slot")
    zone: Identifier
    clock: int | None = Field(
        default=None, ge=1, le=12, description="clock position, on what is not numbered"
    )
    damage: Damage
    depth: Size | None = None
    length: Size | None = None
    width: Size | None = None
    position: Size | None = Field(default=None, description="of its middle along the span, from the platform")
    fillet_distance: Size | None = Field(default=None, description="of its nearer end from the fillet")
    thickness_left: Size | None = None
    method: Method = "direct"
    gauge: str = ""
    photographs: tuple[Attachment, ...] = ()
    remark: str = ""
    withdrawn: bool = Field(default=False, description="it was no damage: dirt, a mark, another blade")


Decision = Literal["serviceable", "blend", "scrap", "refer to engineering"]
"""What a person can decide on a finding."""


class ViewGiven(Body):
    """A person's own look at a finding, given before the proposal is shown. Its subject + `/view/LOGIN`."""

    kind: ClassVar[str] = "finding_view"

    finding: str
    finding_revision: int
    view: Decision


class StageInspected(Body):
    """A stage or part looked at whole, signed. Subject `visit/NUMBER/inspection/PART/SERIAL/inspected`."""

    kind: ClassVar[str] = "stage_inspected"

    part: Identifier
    serial: str = ""
    method: Method = "direct"
    findings: int = Field(ge=0, description="how many findings stood when it was signed")
    newest: int = Field(default=0, ge=0, description="number of the newest record that was signed over")
    not_seen: str = Field(default="", description="what could not be looked at, and why")


class Check(Record):
    """One comparison of a judgement: the arithmetic that a reader can follow."""

    bound: str
    reading: str
    limit: str
    holds: bool | None = Field(description="none: it was not measured")
    probability: float | None = Field(default=None, description="that the truth conforms")


class Judgement(Record):
    """What the limits say about a finding, with the line that decided and its arithmetic."""

    proposed: Proposed
    words: str
    limit: str = Field(default="", description="id of the deciding line")
    paragraph: str = ""
    checks: tuple[Check, ...] = ()


class DispositionAccepted(Body):
    """What an entitled person decided on a finding. Subject of the finding + `/disposition`."""

    kind: ClassVar[str] = "disposition"

    finding: str
    finding_revision: int
    own_view: Decision = Field(description="the person's own look, given before the proposal was shown")
    decided: Decision
    judgement: Judgement
    reason: str = Field(default="", description="why it differs from the proposal, where it does")
    calculation: Calculation


class EngineeringAnswered(Body):
    """What engineering answered to a finding. Subject of the finding + `/engineering`."""

    kind: ClassVar[str] = "engineering_answer"

    finding: str
    finding_revision: int
    answer: Literal["serviceable", "blend", "scrap"]
    document: str = Field(min_length=3, description="the approved answer: number, revision, by whom")
    words: str = ""
    files: tuple[Attachment, ...] = ()


class PartReplaced(Body):
    """A blade or part that went. Subject of the finding + `/replaced`."""

    kind: ClassVar[str] = "finding_replaced"

    finding: str
    new_serial: str = ""
    remark: str = ""


class BlendDone(Body):
    """A blend as it was measured afterwards. Subject of the finding + `/blend`."""

    kind: ClassVar[str] = "blend"

    finding: str
    depth: Size
    length: Size
    radius: Size | None = None
    moment_weight_lost: str = ""
    remark: str = ""
    checks: tuple[Check, ...] = Field(default=(), description="against the line that allowed it")


class DimensionTaken(Body):
    """A dimension as measured. Subject `visit/NUMBER/inspection/dimension/ID[/PLACE]`."""

    kind: ClassVar[str] = "dimension"

    dimension: Identifier
    place: str = ""
    value: str = Field(pattern=r"^-?\d{1,7}(\.\d{1,7})?$")
    unit: str
    uncertainty: str = Field(default="", pattern=r"^(\d{1,7}(\.\d{1,7})?)?$", description="standard, in unit")
    gauge: str = ""
    told: str = ""
    calculation: Calculation | None = None


class DimensionSettled(Body):
    """What closes a dimension that meets no limit. Subject of the dimension + `/settled`."""

    kind: ClassVar[str] = "dimension_settled"

    dimension: str
    dimension_revision: int
    how: Literal["replaced", "repaired", "engineering accepts it"]
    document: str = Field(min_length=3, description="card, order or answer that says so")
