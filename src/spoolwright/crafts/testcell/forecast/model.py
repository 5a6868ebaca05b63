"""The result of a forecast. Frozen records; a JSON schema is published from them."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from spoolwright.crafts.testcell.model import Derivation, Figure
from spoolwright.crafts.typefile.model import Record

Outcome = Literal["likely", "uncertain", "unlikely", "cannot_tell"]


class Range(Record):
    """A figure that was drawn: its mean, and the middle 90 % of the draws."""

    mean: Figure
    low: Figure
    high: Figure


class LimitForecast(Record):
    """What the run is expected to show against one limit."""

    limit: str = Field(description="id of the limit in the type file")
    name: str
    rating: str
    quantity: str
    bound: Literal["max", "min"]
    limit_value: Figure
    guard: Figure = Field(description="the reading must clear the limit by this much")
    reading: Range = Field(description="as the run will read it")
    margin: Range = Field(description="of that reading to the limit, the guard band not taken off")
    measurement: Figure = Field(description="standard uncertainty of the reading to come")
    passing: float = Field(description="probability that the reading clears limit and guard band")
    conforming: float = Field(description="probability that the true value meets the limit")
    outcome: Outcome
    source: str


class FoundRow(Record):
    """A finding of the build sheet and what it does."""

    name: str
    title: str
    as_built: str
    nominal: str
    uncertainty: str
    excess: float
    excess_uncertainty: float
    excess_unit: str
    note: str = Field(default="", description="where a rule does not reach it")


class Effect(Record):
    """What a finding takes from a margin, or an option gives to it."""

    limit: str
    change: Range


class Eaten(Record):
    """What one finding eats of the margins; most of the governing margin first."""

    finding: str
    title: str
    effects: tuple[Effect, ...] = Field(description="margin with the finding less margin without it")
    passing_without: float = Field(description="probability of passing all limits without it")


class Doubt(Record):
    """Part of the forecast's variance on the governing margin that one cause brings."""

    cause: str
    share: float


class Option(Record):
    """A change of the build, computed anew."""

    id: str
    title: str
    findings: tuple[str, ...]
    effects: tuple[Effect, ...] = Field(description="margin with the change less margin as built")
    passing: tuple[float, ...] = Field(description="probability of clearing each limit, in order of limits")
    passing_all: float
    gain: float = Field(description="in the probability of passing all limits")
    gain_error: float = Field(description="standard error of gain from the number of draws")
    hours: float | None = None
    money: float | None = None
    note: str = ""


class FactorRow(Record):
    """Expected condition of one factor."""

    factor: str
    module: str
    mean: float = Field(description="relative change from healthy; leak of inlet flow, vanes in deg")
    standard_deviation: float
    by_findings: float = Field(description="part of the standard deviation that findings and rules bring")
    unit: str


class RuleRow(Record):
    """A rule at work."""

    rule: str
    stage: int
    factor: str
    text: str
    mean: float
    standard_deviation: float
    prior_mean: float
    prior_standard_deviation: float
    unit: str
    source: str
    outside: bool = False


class Forecast(Record):
    """A forecast of a run from the build."""

    format: Literal["spoolwright-forecast-1"] = "spoolwright-forecast-1"
    type_id: str
    type_name: str
    demonstration: bool
    engine_serial: str
    visit: str
    limit_set: str
    cell: str
    prepared_on: str
    prepared_by: str
    sheet_file: str
    sheet_sha256: str
    model_basis: str
    rules_basis: str
    draws: int
    seed: int
    outcome: Outcome
    answer: str
    reasons: tuple[str, ...] = ()
    passing_all: float
    passing_error: float = Field(description="standard error from the number of draws")
    governing: str = Field(description="id of the limit least sure to be passed")
    limits: tuple[LimitForecast, ...]
    eaten: tuple[Eaten, ...]
    doubts: tuple[Doubt, ...]
    options: tuple[Option, ...]
    currency: str = ""
    findings: tuple[FoundRow, ...]
    factors: tuple[FactorRow, ...]
    rules: tuple[RuleRow, ...]
    covariance: tuple[tuple[float, ...], ...] = Field(description="of the factors, in their order")
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    derivations: dict[str, Derivation]
