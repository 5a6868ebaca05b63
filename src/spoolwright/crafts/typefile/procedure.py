"""How the type is tested and when a reading counts: schedule, steadiness, correction, gates, cells."""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import Field

from spoolwright.crafts.typefile.base import Amount, Condition, Identifier, Record, Source


class ScheduleItem(Record):
    """One thing the test schedule asks for."""

    id: Identifier
    name: str
    kind: Literal[
        "start",
        "idle",
        "hold",
        "acceleration",
        "deceleration",
        "governing",
        "shut_down",
        "coast_down",
        "check",
    ] = Field(
        description="'governing': load stepped at constant demanded power turbine speed; "
        "'check': done by a person, signed on the run sheet"
    )
    rating: Identifier | None = None
    set_by: Identifier | None = Field(default=None, description="channel that sets the point")
    target: float | None = None
    corrected: bool = Field(
        default=False,
        description="the target is at the reference condition; the operator sets what it becomes today",
    )
    tolerance: float | None = Field(default=None, gt=0)
    unit: str = ""
    at_least_s: float = Field(default=0.0, ge=0)
    repeats: int = Field(default=1, ge=1)
    repeat_after: tuple[str, ...] = Field(
        default=(), description="kinds of cell adjustment after which it is owed again"
    )
    sets: tuple[Identifier, ...] = Field(min_length=1)
    source: Source


class Stabilisation(Record):
    """A hold is steady when every channel named here drifts less than `max_drift` over `window_s`."""

    channel: Identifier
    max_drift: float = Field(gt=0)
    unit: str


class SteadyRule(Record):
    """When a hold counts as a point."""

    settle_s: float = Field(ge=0, description="time after setting before averaging may begin")
    window_s: float = Field(gt=0, description="length of the averaging window")
    criteria: tuple[Stabilisation, ...] = Field(min_length=1)
    source: Source


class CorrectionLaw(Record):
    """Approved correction of one quantity.

    corrected = observed / (theta^theta_exponent * delta^delta_exponent) * (1 + humidity_slope * war)
                * (heating_value/reference)^heating_value_exponent * (1 + inlet_loss_slope * loss) ...
    """

    quantity: Literal["power", "gas_generator_speed", "measured_gas_temperature", "fuel_flow"]
    theta_exponent: float
    delta_exponent: float
    humidity_slope: float = 0.0
    heating_value_exponent: float = 0.0
    inlet_loss_slope: float = 0.0
    exhaust_loss_slope: float = 0.0


class Correction(Record):
    """The approved document's correction to the reference condition; it alone governs a verdict."""

    reference_temperature: Amount
    reference_pressure: Amount
    reference_humidity: Amount
    reference_heating_value: Amount
    reference_inlet_loss: float = Field(default=0.0, description="fraction of inlet total pressure")
    reference_exhaust_loss: float = Field(
        default=0.0, description="exhaust back pressure over ambient, minus 1"
    )
    valid_when: tuple[Condition, ...] = ()
    laws: tuple[CorrectionLaw, ...] = Field(min_length=1)
    source: Source


class Factor(Record):
    """A correlation or conformation factor and its standard uncertainty (factor multiplies the reading)."""

    quantity: Literal["power", "gas_generator_speed", "measured_gas_temperature", "fuel_flow"]
    factor: float = Field(gt=0)
    standard_uncertainty: float = Field(ge=0)


class Instrument(Record):
    """A cell instrument and its calibration state."""

    channel: Identifier
    serial: str
    calibrated_on: date
    due_on: date
    certificate: str


class Cell(Record):
    """A test cell: its correlation in one stated configuration, and its instruments."""

    id: Identifier
    name: str
    configuration: str
    correlated_on: date
    correlation_due_on: date
    report: str
    factors: tuple[Factor, ...] = ()
    instruments: tuple[Instrument, ...] = ()


class Gate(Record):
    """A condition in which a performance reading counts at all."""

    id: Identifier
    name: str
    check: Literal["window", "dry", "fuel_sample", "calibration", "correlation", "configuration"]
    window: Condition | None = None
    days: int | None = Field(default=None, gt=0, description="fuel sample: oldest age")
    mend: str = Field(min_length=1)
    source: Source
