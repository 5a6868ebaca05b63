"""The result of assessing an engine's test runs. Frozen records; JSON schema is published from them.

Every figure is in the inner unit of its dimension (`unit`), names the unit it was entered or is shown in,
and points to the derivation that tells how it came to be.
"""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from pydantic import Field

from spoolwright.crafts.typefile.model import Record


class Figure(Record):
    """A number that can explain itself."""

    value: float
    unit: str = Field(description="inner unit")
    shown_in: str = Field(description="unit for pages, the entered unit where there is one")
    also_in: str = ""
    dimension: str
    difference: bool = Field(
        default=False, description="a margin or difference: shown without a unit's offset"
    )
    standard_uncertainty: float | None = None
    how: str = Field(description="id of a Derivation")


class Input(Record):
    """One input of a calculation and where it came from."""

    name: str
    value: float | str
    unit: str = ""
    origin: str = Field(
        description="channel and times, type file entry, run sheet entry, or id of a Derivation"
    )


class Derivation(Record):
    """How a figure came to be."""

    id: str
    title: str
    calculation: str = Field(description="name of the calculation in the code")
    version: str
    formula: str = Field(description="in words and symbols")
    inputs: tuple[Input, ...]
    reference: str = Field(description="document, revision, paragraph; or published source")


class RunRef(Record):
    """One recording of the visit; all are listed, none is left out."""

    run: str
    file: str
    sha256: str
    rows: int
    started_at: datetime | None
    duration_s: float
    engine_serial: str
    cell: str
    limit_set: str
    adjustments: tuple[str, ...] = ()


class Finding(Record):
    """A doubt about the data, in plain words."""

    id: str
    run: str
    kind: Literal[
        "swapped", "wrong_unit", "unlabelled_unit", "stuck", "spikes", "drift", "saturated", "gap",
        "time_order", "missing", "bias", "implausible", "unread_cells", "disagreement", "note",
    ]  # fmt: skip
    channels: tuple[str, ...]
    from_s: float | None = None
    to_s: float | None = None
    text: str
    mend: str
    probability: float | None = Field(
        default=None, description="that this channel is the wrong one, where physics tells"
    )
    bars_use: bool = Field(description="true: points resting on the channel cannot be judged until signed")
    corrected_by: str = Field(default="", description="who signed the correction, empty when nobody did")


class GateState(Record):
    """Whether a condition for judging performance held."""

    gate: str
    name: str
    run: str
    state: Literal["holds", "fails", "unknown"]
    text: str
    mend: str
    source: str


class Event(Record):
    """Something that happened in a run, found in the recording or written on the sheet."""

    run: str
    at_s: float
    kind: Literal[
        "start", "light_off", "idle", "hold", "acceleration", "deceleration", "chop", "shut_down", "fuel_off",
        "standstill", "adjustment", "exceedance", "finding",
    ]  # fmt: skip
    text: str


class Segment(Record):
    """A stretch of a run."""

    run: str
    kind: Literal[
        "off", "start", "idle", "hold", "transient", "acceleration", "deceleration", "shut_down", "coast_down"
    ]
    from_s: float
    to_s: float


class Steadiness(Record):
    """One stabilisation criterion on one hold."""

    channel: str
    drift: float
    allowed: float
    unit: str
    met: bool


class Reading(Record):
    """A channel's mean over a point's averaging window."""

    channel: str
    name: str
    mean: Figure
    random: float = Field(
        description="standard uncertainty of the mean from scatter, with autocorrelation [inner unit]"
    )
    systematic: float = Field(description="standard uncertainty from calibration [inner unit]")
    effective_samples: float
    as_recorded: Figure | None = Field(
        default=None, description="the uncorrected value where a correction was signed"
    )


class LadderStep(Record):
    """One share on the way from observed to corrected."""

    name: str
    factor: float | None = None
    value: Figure


class CorrectedQuantity(Record):
    """A quantity observed and corrected, by the approved method and by the model."""

    quantity: Literal[
        "power", "gas_generator_speed", "measured_gas_temperature", "fuel_flow", "specific_fuel_consumption"
    ]
    observed: Figure
    ladder: tuple[LadderStep, ...] = ()
    approved: Figure | None = None
    model: Figure | None = None
    difference: Figure | None = Field(default=None, description="approved minus model")


class Point(Record):
    """A hold that was taken as a performance point, steady or not."""

    id: str
    run: str
    from_s: float
    to_s: float
    schedule_item: str | None
    rating: str | None
    block: int = Field(
        description="rises by one at every adjustment; points of different blocks are never mixed"
    )
    steady: bool
    steadiness: tuple[Steadiness, ...]
    usable: bool
    why_not: tuple[str, ...] = ()
    readings: tuple[Reading, ...]
    corrected: tuple[CorrectedQuantity, ...]


class CurvePoint(Record):
    """A point of a performance curve, inner units."""

    x: float
    y: float
    ux: float
    uy: float
    point: str
    used: bool


class Curve(Record):
    """Curve through the points of one block at the reference condition, with its interval."""

    id: str
    title: str
    x_quantity: str
    y_quantity: str
    x_unit: str
    y_unit: str
    method: Literal["approved", "model"]
    block: int | None = None
    points: tuple[CurvePoint, ...]
    x: tuple[float, ...]
    y: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    limit_lines: tuple[tuple[str, float, float, float, float], ...] = Field(
        default=(), description="label, x0, y0, x1, y1"
    )


class RatedValue(Record):
    """A value read off a curve at a rating: power at rated MGT; MGT, Ng and consumption at rated power."""

    rating: str
    quantity: str
    approved: Figure | None
    model: Figure | None
    nominal: Figure
    margin: Figure | None = Field(
        default=None, description="approved value against the nominal, positive is good"
    )
    difference: Figure | None = Field(
        default=None, description="approved minus model; errors common to both cancel"
    )
    extrapolated: bool
    block: int | None = None


class Verdict(Record):
    """A limit against a reading. The tool proposes; an entitled person disposes."""

    id: str
    limit: str
    name: str
    outcome: Literal["meets", "does_not_meet", "cannot_tell"]
    sentence: str
    run: str | None
    point: str | None
    rating: str | None
    block: int | None = None
    at_s: float | None = None
    reading: Figure | None
    limit_value: Figure | None
    bound: Literal["max", "min"]
    margin: Figure | None = Field(
        default=None, description="distance to the limit, positive on the good side"
    )
    probability_conforming: float | None = None
    consumer_risk: float | None = Field(
        default=None, description="that the true value does not conform though it is accepted"
    )
    producer_risk: float | None = Field(
        default=None, description="that the true value conforms though it is not accepted"
    )
    acceptance_limit: Figure | None = Field(
        default=None, description="the limit moved inwards by the guard band"
    )
    prior: str = Field(default="none", description="any prior used, in words")
    why: tuple[str, ...] = ()
    next_step: str = Field(default="", description="the cheapest step that would settle it")
    action: str
    source: str = Field(description="document, revision, paragraph")
    rests_on: tuple[str, ...] = Field(
        default=(), description="channels, points, findings and gates it rests on"
    )


class ScheduleState(Record):
    """An item of the test schedule and whether this visit has shown it."""

    item: str
    name: str
    state: Literal["shown", "not_shown", "open", "owed_again", "not_satisfactory"]
    text: str
    source: str


class Disposition(Record):
    """What is proposed, as a sentence. Never a signature."""

    outcome: Literal["all_meet", "some_do_not_meet", "cannot_tell"]
    sentence: str
    thinnest: str | None = Field(description="id of the verdict with the lowest probability of conforming")
    open: tuple[str, ...]
    superseded: tuple[str, ...] = Field(
        default=(), description="ids of verdicts that a later block, after an adjustment, has shown anew"
    )
    accepted_by: Literal["____"] = "____"


class Assessment(Record):
    """Everything said about the runs of one visit."""

    format: Literal["spoolwright-assessment-1"] = "spoolwright-assessment-1"
    program: str
    type_id: str
    type_name: str
    type_file_sha256: str
    demonstration: bool
    limit_set: str
    engine_serial: str
    filled_model_parameters: tuple[str, ...] = Field(
        description="engine model parameters nobody gave: generic shape"
    )
    model_basis: str = Field(description="what the model was calibrated on, in words")
    disposition: Disposition
    runs: tuple[RunRef, ...]
    findings: tuple[Finding, ...]
    gates: tuple[GateState, ...]
    events: tuple[Event, ...]
    segments: tuple[Segment, ...]
    points: tuple[Point, ...]
    curves: tuple[Curve, ...]
    rated: tuple[RatedValue, ...]
    verdicts: tuple[Verdict, ...]
    schedule: tuple[ScheduleState, ...]
    derivations: dict[str, Derivation]
    cautions: tuple[str, ...]


class Strip(Record):
    """A trace thinned for drawing: extremes of every stretch are kept. Not part of the JSON result."""

    run: str
    channel: str
    name: str
    unit: str = Field(description="unit of `values`, the shown unit")
    time_s: tuple[float, ...]
    values: tuple[float | None, ...]
