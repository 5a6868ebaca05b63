"""The result of diagnosing an engine's runs. Frozen records; a JSON schema is published from them."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from spoolwright.crafts.testcell.model import Derivation, Figure, Finding, RunRef
from spoolwright.crafts.typefile.model import Record

Outcome = Literal["nothing_found", "cause_found", "group_found", "unclear", "cannot_tell"]


class Magnitude(Record):
    """How large a cause is, if it is the cause."""

    mean: float
    low: float = Field(description="lower end of the 90 % interval")
    high: float = Field(description="upper end of the 90 % interval")
    unit: str = Field(description="what a size of 1 is, in words: '% of flow'")
    step: float | None = Field(
        default=None,
        description="of a wrong reading: what a size of 1 is in `step_unit`; above 0 reads high",
    )
    step_unit: str = Field(default="", description="the channel's own unit, for differences")


class Evidence(Record):
    """What one channel, or one other observation, says about a cause."""

    what: str = Field(description="channel or observation, in words")
    seen: str = Field(description="what was seen against the average engine, in words with numbers")
    expected: str = Field(description="what the cause would show there, in words with numbers")
    weight: float = Field(
        description="ln of the factor by which it makes the cause more (+) or less (-) probable"
    )


class MarginAfter(Record):
    """A margin at a rating as it is, and as it would be with the cause put right."""

    rating: str
    quantity: str
    now: Figure
    after: Figure
    limit: str = Field(default="", description="id of the limit that asks for it")


class Suspect(Record):
    """One cause, with all that is said about it."""

    id: str
    text: str
    kind: Literal["module", "reading", "mechanical"]
    module: str = Field(description="id of a module of the type file, or of a channel")
    module_name: str
    probability: float = Field(description="that this cause is present, alone or with another")
    alone: float = Field(description="that it is the only one")
    words: str = Field(description="probability in words")
    magnitude: Magnitude
    evidence_for: tuple[Evidence, ...] = ()
    evidence_against: tuple[Evidence, ...] = ()
    margins: tuple[MarginAfter, ...] = ()
    reopen: str = Field(default="", description="what would have to be opened or changed")
    hours: float | None = None
    cost: float | None = None


class Pair(Record):
    """Two causes at once."""

    causes: tuple[str, str]
    texts: tuple[str, str] = Field(default=("", ""), description="the causes in words")
    probability: float
    magnitudes: tuple[Magnitude, Magnitude]


class Group(Record):
    """Causes that these data cannot tell apart."""

    causes: tuple[str, ...]
    probability: float
    reason: str


class Check(Record):
    """A step that would tell more, with what it is worth."""

    id: str
    text: str
    information: float = Field(description="expected fall of the uncertainty over the causes [bit]")
    hours: float
    cost: float
    per_hour: float = Field(description="information per hour, cost counted as hours [bit/h]")
    why: str = Field(description="which causes it would tell apart")


class Sister(Record):
    """An earlier released engine that shares a confirmed cause."""

    engine: str
    released_on: str
    shares: tuple[str, ...] = Field(
        description="what it shares: part lot, gauge, balancer, calibration period"
    )
    text: str


class Residual(Record):
    """An output of the engine against the average engine of good build at the same speed and conditions."""

    output: str
    name: str
    point: str
    value: float = Field(description="relative difference, angles in rad")
    standard_uncertainty: float
    explained: float = Field(description="what the most probable cause gives there")


class Diagnosis(Record):
    """Everything said about what is wrong with an engine, from the runs of one visit."""

    format: Literal["spoolwright-diagnosis-1"] = "spoolwright-diagnosis-1"
    program: str
    type_id: str
    type_name: str
    type_file_sha256: str
    demonstration: bool
    engine_serial: str
    baseline: str = Field(description="what the average engine rests on, in words")
    baseline_sha256: str = ""
    outcome: Outcome
    sentence: str
    proposal: str = Field(description="what is proposed to reopen or check next; a person decides")
    healthy: float = Field(description="probability that nothing is wrong")
    outside: float = Field(
        description="probability of a misfit at least this large if the most probable explanation were true"
    )
    priors: str = Field(description="the prior shares used, in words")
    suspects: tuple[Suspect, ...]
    pairs: tuple[Pair, ...]
    groups: tuple[Group, ...]
    checks: tuple[Check, ...]
    currency: str = Field(default="", description="of every cost, from the shop's cost table")
    sisters: tuple[Sister, ...] = ()
    residuals: tuple[Residual, ...]
    runs: tuple[RunRef, ...]
    earlier: tuple[str, ...] = Field(default=(), description="earlier runs of the same engine that were used")
    left_out: tuple[str, ...] = Field(
        default=(), description="points, channels or runs left out, each with its reason"
    )
    findings: tuple[Finding, ...] = ()
    derivations: dict[str, Derivation] = Field(default_factory=dict)
    cautions: tuple[str, ...] = ()
    accepted_by: Literal["____"] = "____"
