"""What people record in the test cell during a visit. A run that was attached stays attached for ever."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from typing import ClassVar, Literal

from pydantic import Field

from spoolwright.crafts.typefile.base import Amount, Identifier, Record
from spoolwright.crafts.visit.entry import Attachment, Body, Calculation
from spoolwright.crafts.visit.model import Stage

Outcome = Literal["all_meet", "some_do_not_meet", "cannot_tell"]


class AdjustmentKind(StrEnum):
    """What is adjusted in the cell; the run sheet uses the same words."""

    TOPPING = "topping"
    IDLE = "idle"
    GOVERNOR = "governor"
    VANE_RIGGING = "vane_rigging"
    BLEED_RIGGING = "bleed_rigging"
    TORQUE_CONFORMATION = "torque_conformation"
    MGT_TRIM = "mgt_trim"


ON_DATA_PLATE = (AdjustmentKind.TORQUE_CONFORMATION, AdjustmentKind.MGT_TRIM)
"""Adjustments that change what the data plate carries."""


class SheetAdjustment(Record):
    """An adjustment as the run sheet tells it."""

    kind: str
    at_s: float
    text: str
    by: str


class RunAttached(Body):
    """A recorded run with its run sheet. Subject `visit/NUMBER/testcell/run/RUN`."""

    kind: ClassVar[str] = "test_run"

    run: str
    performed_on: date
    limit_set: Identifier
    cell: Identifier
    operator: str = ""
    purpose: str = ""
    recording: Attachment
    sheet: Attachment
    adjustments: tuple[SheetAdjustment, ...] = ()


class AdjustmentMade(Body):
    """An adjustment in the cell, signed. Subject `visit/NUMBER/testcell/adjustment/N`."""

    kind: ClassVar[str] = "test_adjustment"

    what: AdjustmentKind
    run: str = Field(description="the run during or after which it was made")
    at_s: float | None = Field(default=None, ge=0, description="into the recording; none between runs [s]")
    before: Amount | None = Field(default=None, description="as found; none where only a class is changed")
    after: Amount | None = None
    plate_before: str = Field(default="", description="data-plate entry as found")
    plate_after: str = Field(default="", description="data-plate entry as now stamped")
    reason: str = Field(min_length=3)
    document: str = Field(default="", description="document and paragraph it was made to")


class Exceeded(Record):
    """A limit that a reading of the run stood beyond."""

    verdict: str = Field(description="id of the verdict in the assessment")
    limit: str
    name: str
    run: str
    sentence: str
    action: str
    source: str


class RunsAssessed(Body):
    """An assessment of the visit's runs. Subject `visit/NUMBER/testcell/assessment/N`."""

    kind: ClassVar[str] = "test_assessment"

    runs: tuple[str, ...] = Field(min_length=1)
    outcome: Outcome
    sentence: str
    open: tuple[str, ...] = ()
    exceeded: tuple[Exceeded, ...] = ()
    result: Attachment = Field(description="the whole assessment as JSON")
    traces: Attachment | None = Field(default=None, description="the runs' traces as drawn, as JSON")
    calculation: Calculation


class LookTaken(Body):
    """What a person makes of the runs, told before the tool's proposal is shown.

    Subject `visit/NUMBER/testcell/look/N/LOGIN`, N the assessment.
    """

    kind: ClassVar[str] = "test_look"

    assessment: str = Field(description="subject of the assessment")
    view: Literal["meets", "does not meet", "cannot tell"]
    words: str = Field(min_length=3)


class PowerMargin(Record):
    """Power at rated MGT over rated power, less 1, at the rating that the data sheet names [%]."""

    value: float
    half_width: float = Field(description="of the 95 % interval")


class RunDisposed(Body):
    """What an entitled person decided on assessed runs. Subject `visit/NUMBER/testcell/disposition/N`."""

    kind: ClassVar[str] = "test_disposition"

    assessment: str = Field(description="subject of the assessment")
    runs: tuple[str, ...] = Field(description="the runs it is about; runs decided before keep their own")
    decision: Literal["accepted", "rejected"]
    cause: str = Field(default="", description="why it was rejected, in the shop's own few words")
    remark: str = ""
    power_margin: PowerMargin | None = Field(default=None, description="as it was assessed, for the fleet")


class ExceedanceAcknowledged(Body):
    """A person has seen that a limit was exceeded. It clears nothing: work is owed from it.

    Subject `visit/NUMBER/testcell/exceedance/RUN/LIMIT`.
    """

    kind: ClassVar[str] = "test_exceedance"

    assessment: str
    exceeded: Exceeded
    remark: str = ""


class RunsDiagnosed(Body):
    """A diagnosis of the visit's runs. Subject `visit/NUMBER/testcell/diagnosis/N`."""

    kind: ClassVar[str] = "test_diagnosis"

    runs: tuple[str, ...] = Field(min_length=1)
    outcome: str
    sentence: str
    proposal: str = ""
    result: Attachment = Field(description="the whole diagnosis as JSON")
    calculation: Calculation


class ModuleReopened(Body):
    """The lead's decision to open a module again. Subject `visit/NUMBER/testcell/reopened/N`."""

    kind: ClassVar[str] = "test_reopened"

    module: Identifier
    reason: str = Field(min_length=3)
    diagnosis: str = Field(default="", description="subject of the diagnosis it rests on")
    back_to: Stage = Stage.TEARDOWN


class RunForecast(Body):
    """A forecast of the run to come, from the build sheet. Subject `visit/NUMBER/testcell/forecast/N`."""

    kind: ClassVar[str] = "test_forecast"

    sheet: Attachment
    answer: str
    passing_all: float
    result: Attachment = Field(description="the whole forecast as JSON")
    calculation: Calculation


class TestTables(Body):
    """The shop's own tables for assessing and diagnosing a type. Subject `type/ID/testcell`."""

    __test__: ClassVar[bool] = False
    kind: ClassVar[str] = "test_tables"

    baseline: Attachment | None = Field(default=None, description="the average engine, from `calibrate`")
    priors: Attachment | None = Field(default=None, description="how often the shop meets each cause")
    checks: Attachment | None = Field(default=None, description="checks that tell causes apart")
    costs: Attachment | None = Field(default=None, description="hours and money of what is opened again")
    build_costs: Attachment | None = Field(default=None, description="hours and money of changes to a build")
    rules: Attachment | None = Field(default=None, description="rules of the forecast, as learnt")
