"""Records after installation: the checks as the operator made them, and what they say against the bench."""

from __future__ import annotations

from datetime import date
from typing import ClassVar, Literal

from pydantic import Field

from spoolwright.crafts.typefile.base import Amount, Record
from spoolwright.crafts.visit.entry import Attachment, Body, Calculation

Outcome = Literal["meets", "does not meet", "cannot tell"]
Agreement = Literal["agrees", "does not agree", "cannot tell"]


class CheckReading(Record):
    """One check on the aircraft, every value in the unit in which it was entered."""

    checked_on: date
    hours: float = Field(ge=0, le=50_000, description="engine hours since this installation [h]")
    pressure_altitude: Amount | None = None
    pressure: Amount | None = None
    outside_air_temperature: Amount
    gas_generator_speed: Amount
    power_turbine_speed: Amount
    torque: Amount
    measured_gas_temperature: Amount
    bleed: bool = False
    anti_ice: bool = False
    made_by: str = ""
    remark: str = ""


class CheckEntered(Body):
    """A check on the aircraft. Subject `visit/NUMBER/installation/check/KEY`."""

    kind: ClassVar[str] = "installation_check"

    reading: CheckReading
    file: Attachment | None = Field(default=None, description="the file it was imported from")
    line: int | None = None
    confirmed: str = Field(
        default="", description="what a person found who looked into a doubt about it; it is used then"
    )


class Interval(Record):
    """A value with the half width of its 95 % interval, in `unit`."""

    value: float
    half_width: float
    unit: str


class CheckResult(Record):
    """What one check says."""

    checked_on: date
    hours: float
    manual: Outcome
    manual_sentence: str
    manual_limit: float | None = Field(default=None, description="highest MGT allowed, in the manual's unit")
    manual_margin: float | None = None
    agreement: Agreement
    sentence: str
    expected_torque: float | None = Field(default=None, description="at the MGT read, in the torque's unit")
    power: Interval | None = Field(default=None, description="measured over expected, less 1")
    gas_temperature: Interval | None = Field(default=None, description="hotter than expected at this power")
    speed: Interval | None = Field(default=None, description="measured over expected Ng, less 1")
    margin: Interval | None = Field(default=None, description="power at rated MGT over rated power, less 1")
    reading_uncertainty: float | None = Field(
        default=None, description="standard uncertainty of the margin from this check alone"
    )
    doubts: tuple[str, ...] = ()
    used: bool = Field(description="whether the trend uses it")


class TrendTold(Record):
    """The trend of the margin over the checks, in words and numbers; % of power, hours."""

    sentence: str
    checks: int
    level: float | None = None
    slope_per_100_h: float | None = None
    slope_half_width: float | None = None
    zero_at: float | None = Field(default=None, description="hours since installation")
    zero_low: float | None = None
    zero_high: float | None = None
    line: tuple[tuple[float, float, float], ...] = Field(
        default=(), description="hours, margin, half width of its 95 % interval"
    )


class InstallationResult(Record):
    """Everything said about the checks of one installation."""

    format: Literal["spoolwright-installation-1"] = "spoolwright-installation-1"
    type_id: str
    demonstration: bool
    engine_serial: str
    rating: str
    bench_run: str
    bench_margin: Interval
    source: str = Field(description="the flight manual, revision and paragraph that rule")
    advisory: str
    checks: tuple[CheckResult, ...]
    trend: TrendTold
    cautions: tuple[str, ...]


class ChecksCompared(Body):
    """Checks compared with the bench run. Subject `visit/NUMBER/installation/result/N`."""

    kind: ClassVar[str] = "installation_result"

    checks: tuple[str, ...] = Field(description="subjects of the checks, in the order of the result")
    bench_run: str
    result: InstallationResult
    calculation: Calculation
