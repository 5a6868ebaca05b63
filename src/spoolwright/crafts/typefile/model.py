"""The type file: one engine type as the shop transcribed it from its approved documents. Frozen records, no logic.

Values stand in the unit that the record names; `units.to_inner` turns them into inner units at the point of use.
Every limit, rating and correction names the document, revision and paragraph it was taken from.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Identifier = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$", max_length=40)]


class Record(BaseModel):
    """Frozen base: unknown fields are mistakes."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Amount(Record):
    """A value with its unit."""

    value: float
    unit: str


class Source(Record):
    """Where a figure was transcribed from."""

    document: str = Field(description="id of a [[document]]")
    paragraph: str = Field(min_length=1)


class Document(Record):
    """An approved document and the revision in force at the shop."""

    id: str
    title: str
    revision: str
    dated: date


class TypeHead(Record):
    """What type this file is about."""

    id: Identifier
    name: str
    demonstration: bool = Field(
        default=False, description="true marks every page 'demonstration data, not approved'"
    )
    description: str = ""


class Module(Record):
    """A module the engine is opened into; `factors` name the condition factors it owns."""

    id: Identifier
    name: str
    factors: tuple[str, ...] = ()


class Station(Record):
    """A gas-path station."""

    id: str
    name: str


class UncertaintyPart(Record):
    """One systematic part of a channel's uncertainty. Parts of the same `source` are fully correlated."""

    source: str = Field(description="calibration standard or cause; shared names mean shared error")
    absolute: float = Field(default=0.0, ge=0, description="standard uncertainty in the channel's unit")
    relative: float = Field(
        default=0.0, ge=0, description="standard uncertainty as a fraction of the reading"
    )
    distribution: Literal["normal", "rectangular", "triangular"] = "normal"
    degrees_of_freedom: float | None = Field(default=None, gt=0, description="infinite when left out")


Role = Literal[
    "ambient_temperature", "ambient_pressure", "inlet_temperature", "inlet_pressure", "relative_humidity", "dew_point",
    "wet_bulb", "gas_generator_speed", "power_turbine_speed", "torque", "dynamometer_torque", "measured_gas_temperature",
    "compressor_discharge_temperature", "compressor_discharge_pressure", "interturbine_pressure",
    "exhaust_pressure", "exhaust_temperature", "fuel_mass_flow", "fuel_volume_flow", "fuel_temperature",
    "oil_pressure", "oil_temperature", "oil_quantity", "vibration", "wind_speed", "vane_angle", "bleed_valve",
    "ignition", "starter", "power_lever", "chip_detector", "other",
]  # fmt: skip
"""What a channel means to the physics. Exactly one channel per role, save vibration and other."""


class Channel(Record):
    """One recorded quantity."""

    id: Identifier
    name: str
    role: Role
    dimension: str = Field(description="a key of units.INNER_UNIT")
    unit: str = Field(description="unit of every figure in this record and of a file that gives none")
    also_shown_in: str = Field(default="", description="second unit on pages")
    aliases: tuple[str, ...] = ()
    station: str = ""
    full_scale: float | None = Field(
        default=None, description="unit value at 100 %, for speeds and torque given in %"
    )
    range: tuple[float, float] = Field(description="instrument range; at either end the channel is saturated")
    plausible: tuple[float, float] = Field(
        description="outside this no engine of the type can be, running or not"
    )
    noise: float = Field(ge=0, description="usual standard deviation of a sample in a steady hold")
    time_constant_s: float = Field(default=0.0, ge=0)
    uncertainty: tuple[UncertaintyPart, ...] = ()
    required: bool = True
    band: str = Field(
        default="", description="vibration: filter and detector, e.g. '40-900 Hz, velocity, rms'"
    )


class Rating(Record):
    """A rating point: nominal data-sheet performance at the reference condition."""

    id: Identifier
    name: str
    power: Amount
    gas_generator_speed: Amount
    power_turbine_speed: Amount
    measured_gas_temperature: Amount
    specific_fuel_consumption: Amount
    time_limit_s: float | None = None
    source: Source


class Condition(Record):
    """A window in which something holds; both ends in `unit`."""

    channel: Identifier
    min: float | None = None
    max: float | None = None
    unit: str


class LimitCurve(Record):
    """A limit that depends on another channel: corner points joined by straight lines, or steps that hold from x on."""

    of: Identifier
    x_unit: str
    points: tuple[tuple[float, float], ...] = Field(min_length=2)
    between: Literal["linear", "step"] = "linear"


class LimitException(Record):
    """Where another value holds: while all of `when` hold, for at most `for_seconds` in one go."""

    note: str
    when: tuple[Condition, ...] = ()
    value: float
    for_seconds: float | None = None


class TimeAt(Record):
    """The reading may stand above `value` for at most `seconds` in total within the regime."""

    value: float
    seconds: float


Quantity = str
"""A channel id, or one of DERIVED_QUANTITIES."""

DERIVED_QUANTITIES: dict[str, str] = {
    "power_at_rated_mgt": "power",
    "mgt_at_rated_power": "temperature",
    "ng_at_rated_power": "speed",
    "sfc_at_rated_power": "specific fuel consumption",
    "time_to_light_off": "time",
    "time_to_idle": "time",
    "start_peak_mgt": "temperature",
    "acceleration_time": "time",
    "deceleration_time": "time",
    "coast_down_time": "time",
    "oil_consumption": "volume flow",
    "governing_droop": "speed",
    "governing_hunting": "speed",
    "speed_undershoot": "speed",
    "speed_overshoot": "speed",
    "torque_conformation_difference": "ratio",
    "mgt_trim_difference": "temperature difference",
}
"""Derived quantities a limit may be set on, with their dimension."""

Regime = Literal["start", "idle", "steady", "transient", "rating", "shut_down", "coast_down", "run"]


class Limit(Record):
    """One limit as a function, with when it counts, what excuses it and what it calls for."""

    id: Identifier
    name: str
    quantity: Quantity
    bound: Literal["max", "min"]
    regime: Regime
    rating: Identifier | None = Field(default=None, description="needed for regime 'rating'")
    unit: str
    value: float | None = None
    curve: LimitCurve | None = None
    time_at: tuple[TimeAt, ...] = ()
    valid_when: tuple[Condition, ...] = ()
    exceptions: tuple[LimitException, ...] = ()
    sets: tuple[Identifier, ...] = Field(min_length=1)
    guard_consumer_risk: float | None = Field(
        default=None, gt=0, lt=0.5, description="tightens acceptance; never widens"
    )
    action: str = Field(min_length=1)
    source: Source


class LimitSet(Record):
    """Which limits apply to which approved work."""

    id: Identifier
    name: str
    approved_work: str


class ScheduleItem(Record):
    """One thing the test schedule asks for."""

    id: Identifier
    name: str
    kind: Literal["start", "idle", "hold", "acceleration", "deceleration", "shut_down", "coast_down", "check"]
    rating: Identifier | None = None
    set_by: Identifier | None = Field(default=None, description="channel that sets the point")
    target: float | None = None
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


class DataPlate(Record):
    """What the engine's data plate carries, with the values of a nominal engine and the allowed range."""

    torque_conformation: Amount
    torque_conformation_range: tuple[float, float]
    mgt_trim_classes: dict[str, float] = Field(description="class to trim of the indicated MGT, in K")
    source: Source


class DataSheet(Record):
    """What a maker's data sheet gives; the generic shape fills the model from it."""

    rating: Identifier = Field(description="the rating whose point the model is scaled to")
    pressure_ratio: float = Field(gt=1)
    air_flow: Amount | None = None
    output_speed: Amount | None = None
    idle_gas_generator_speed: Amount | None = None


class TypeFile(Record):
    """A whole type file."""

    format: Literal[1]
    type: TypeHead
    document: tuple[Document, ...] = Field(min_length=1)
    module: tuple[Module, ...] = ()
    station: tuple[Station, ...] = ()
    channel: tuple[Channel, ...] = Field(min_length=1)
    rating: tuple[Rating, ...] = Field(min_length=1)
    limit_set: tuple[LimitSet, ...] = Field(min_length=1)
    limit: tuple[Limit, ...] = ()
    schedule: tuple[ScheduleItem, ...] = ()
    steady: SteadyRule | None = None
    correction: Correction | None = None
    gate: tuple[Gate, ...] = ()
    cell: tuple[Cell, ...] = ()
    data_plate: DataPlate | None = None
    data_sheet: DataSheet
    model: dict[str, Any] = Field(
        default_factory=dict, description="engine model parameters; what is missing is filled"
    )
