"""What people record on route cards.

A card of a visit is issued once per run of the work (a module that is opened again gets the next run), with
its text as it stood that day: a later revision changes nothing here until a person decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import ClassVar, Literal

from pydantic import Field

from spoolwright.crafts.typefile.base import Identifier, Record
from spoolwright.crafts.typefile.shop.routes import RouteCard
from spoolwright.crafts.visit.entry import Attachment, Body, Calculation

ENGINE = "engine"
"""Where tools are counted when a card belongs to no module."""


@dataclass(frozen=True)
class CardRef:
    """A card of a visit: its id in the type, and the run of the work."""

    visit: str
    card: str
    run: int

    @property
    def subject(self) -> str:
        return f"visit/{self.visit}/cards/{self.card}/{self.run}"

    def step(self, step: str) -> str:
        return f"{self.subject}/step/{step}"

    def reading(self, step: str, measure: str) -> str:
        return f"{self.step(step)}/reading/{measure}"


class CardIssued(Body):
    """A card with its whole text, for this visit. Subject `visit/NUMBER/cards/CARD/RUN`."""

    kind: ClassVar[str] = "card_issued"

    card: RouteCard
    run: int = Field(ge=1)
    because: str = Field(min_length=3)
    documents: dict[str, str] = Field(description="revision of each document the card names, as issued")


class OnCard(Body):
    """What is recorded on a card."""

    card: Identifier
    run: int


class RevisionKept(OnCard):
    """The type has a newer text; this visit goes on with the one it began with. Subject `.../kept`."""

    kind: ClassVar[str] = "card_revision_kept"

    newer_digest: str
    newer_revision: str


class WorkTaken(OnCard):
    """A person took the card in hand. Subject `.../hand/N`."""

    kind: ClassVar[str] = "card_taken"

    by_name: str
    resumes_at: str = Field(description="the step at which work goes on")
    told: str = Field(description="what the person was told when taking it")


class WorkPutDown(OnCard):
    """Work was interrupted or handed over. Subject `.../hand/N`."""

    kind: ClassVar[str] = "card_put_down"

    step: str = Field(description="the step that was in hand")
    in_hand: str = Field(min_length=3)
    why: str = Field(min_length=3)
    begun: bool = Field(default=True, description="something was done on that step already")
    by_name: str
    to_login: str = ""
    to_name: str = ""


class ReadingTaken(OnCard):
    """A value as it was read. Subject `.../step/STEP/reading/MEASURE`."""

    kind: ClassVar[str] = "card_reading"

    step: str
    measure: str
    entered: str = Field(description="the value as it was written, the master")
    unit: str
    gauge: str = Field(default="", description="number of the gauge or tool")
    gauge_due: date | None = None
    gauge_valid: bool = True
    decision: str = Field(default="", description="why it is recorded though the gauge was out of date")
    told: str = Field(description="the reading and its verdict in words, as recorded")
    calculation: Calculation

    @property
    def verdict(self) -> str:
        return str(self.calculation.result["verdict"])


class StepSigned(OnCard):
    """A step was done. Subject `.../step/STEP`."""

    kind: ClassVar[str] = "card_step"

    step: str
    step_digest: str = Field(description="hash of the step's text and limits that was signed")
    checked_by: str = Field(default="", description="role of the independent check this step needs, or empty")
    readings: tuple[str, ...] = ()
    rests_on: tuple[int, ...] = Field(default=(), description="places of the readings in the chain")
    all_meet: bool = True
    note: str = ""
    files: tuple[Attachment, ...] = ()

    def proves(self) -> frozenset[str]:
        """What this record is evidence of by itself; a step that needs a check proves nothing alone."""
        good = self.all_meet and not self.checked_by
        return frozenset({f"step:{self.card}/{self.step}"}) if good else frozenset()


class StepChecked(OnCard):
    """Another person checked a signed step. Subject `.../step/STEP/check`."""

    kind: ClassVar[str] = "card_check"

    step: str
    of_seq: int = Field(description="place in the chain of the signature that was checked")
    agrees: bool
    all_meet: bool = True
    remark: str = ""

    def proves(self) -> frozenset[str]:
        good = self.agrees and self.all_meet
        return frozenset({f"step:{self.card}/{self.step}"}) if good else frozenset()


class ChanceWaived(OnCard):
    """What can only be taken now cannot be taken; the lead signs why. Subject `.../step/STEP/waived`."""

    kind: ClassVar[str] = "card_chance_waived"

    step: str
    cannot_because: str = Field(min_length=10)


class ReadingDisposed(OnCard):
    """What is done about a reading that meets no limit. Subject `.../step/STEP/reading/MEASURE/disposed`."""

    kind: ClassVar[str] = "card_reading_disposed"

    step: str
    measure: str
    of_seq: int
    disposition: str = Field(min_length=10)
    document: str = Field(min_length=3, description="approved data or engineering's answer it rests on")


class ToolMoved(Body):
    """A tool or loose item went to the work or came back. Subject `visit/NUMBER/cards/_tools/MODULE/KEY`."""

    kind: ClassVar[str] = "tool_moved"

    module: str
    item: str = Field(min_length=2, max_length=80)
    sort: Literal["tool", "loose item"] = "tool"
    direction: Literal["out", "in"]
    count: int = Field(ge=1, le=10_000)


class CountLine(Record):
    """One line of a count."""

    item: str
    out: int
    back: int
    found_missing: int = Field(default=0, description="missing, and a search for it was signed")


class ToolsCounted(OnCard):
    """Tools and loose items were counted before a closure. Subject `.../step/STEP/tools`."""

    kind: ClassVar[str] = "tools_counted"

    step: str
    lines: tuple[CountLine, ...]
    of_seq: int = Field(description="the last movement that was counted; 0: nothing was taken to the work")


class ToolSearched(Body):
    """A search for what is missing, signed by the lead. Subject `visit/N/cards/_tools/MODULE/searched/N`."""

    kind: ClassVar[str] = "tool_searched"

    module: str
    item: str
    missing: int = Field(ge=1)
    of_seq: int
    searched: str = Field(min_length=10, description="where and how it was looked for, and what was found")


class GaugeKnown(Body):
    """A gauge or tool and the day until which its calibration holds. Subject `gauge/ID`."""

    kind: ClassVar[str] = "gauge"

    id: str = Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9.-]{0,31}$")
    name: str = Field(min_length=2)
    due_on: date
    certificate: str = ""
    withdrawn: bool = False

    def valid_on(self, day: date) -> bool:
        return not self.withdrawn and day <= self.due_on
