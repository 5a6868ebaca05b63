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


class StageInspected(Body):
    """A stage or part looked at whole, signed. Subject `visit/NUMBER/inspection/PART/SERIAL/inspected`."""

    kind: ClassVar[str] = "stage_inspected"

    part: Identifier
    serial: str = ""
    method: Method = "direct"
    findings: int = Field(ge=0, description="how many findings stood when it was signed")
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
    own_view: Literal["serviceable", "blend", "scrap", "refer to engineering"] = Field(
        description="the person's own look, given before the proposal was shown"
    )
    decided: Literal["serviceable", "blend", "scrap", "refer to engineering"]
    judgement: Judgement
    reason: str = Field(default="", description="why it differs from the proposal, where it does")
    calculation: Calculation


class BlendDone(Body):
    """A blend as it was measured afterwards. Subject of the finding + `/blend`."""

    kind: ClassVar[str] = "blend"

    finding: str
    depth: Size
    length: Size
    radius: Size | None = None
    moment_weight_lost: str = ""
    remark: str = ""


class DimensionTaken(Body):
    """A dimension as measured. Subject `visit/NUMBER/inspection/dimension/ID[/PLACE]`."""

    kind: ClassVar[str] = "dimension"

    dimension: Identifier
    place: str = ""
    value: str = Field(pattern=r"^-?\d{1,7}(\.\d{1,7})?$")
    unit: str
    uncertainty: str = ""
    gauge: str = ""
