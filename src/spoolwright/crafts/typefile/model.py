"""The type file: one engine type as the shop transcribed it from its approved documents. Frozen records.

Values stand in the unit that the record names; `units.to_inner` turns them into inner units where used.
Every limit, rating and correction names the document, revision and paragraph it was taken from.
"""

from __future__ import annotations

from datetime import date
from typing import Any, Literal

from pydantic import Field

from spoolwright.crafts.typefile.base import Amount, Condition, Identifier, Record, Source
from spoolwright.crafts.typefile.channel import Channel, Role, UncertaintyPart
from spoolwright.crafts.typefile.definition import Definitions
from spoolwright.crafts.typefile.limit import (
    DERIVED_QUANTITIES,
    Limit,
    LimitCurve,
    LimitException,
    LimitSet,
    Quantity,
    Regime,
    TimeAt,
)
from spoolwright.crafts.typefile.procedure import (
    Cell,
    Correction,
    CorrectionLaw,
    Factor,
    Gate,
    Instrument,
    ScheduleItem,
    Stabilisation,
    SteadyRule,
)

__all__ = [
    "DERIVED_QUANTITIES",
    "Amount",
    "Cell",
    "Channel",
    "Condition",
    "Correction",
    "CorrectionLaw",
    "DataPlate",
    "DataSheet",
    "Definitions",
    "Document",
    "Factor",
    "Gate",
    "Identifier",
    "Instrument",
    "Limit",
    "LimitCurve",
    "LimitException",
    "LimitSet",
    "Module",
    "Oil",
    "Quantity",
    "Rating",
    "Record",
    "Regime",
    "Role",
    "ScheduleItem",
    "Source",
    "Stabilisation",
    "Station",
    "SteadyRule",
    "TimeAt",
    "TypeFile",
    "TypeHead",
    "UncertaintyPart",
]


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


class Rating(Record):
    """A rating point at the reference condition: the guarantee, and what a nominal new engine does there."""

    id: Identifier
    name: str
    power: Amount = Field(description="rated (guaranteed) output shaft power; 'at rated power' means this")
    measured_gas_temperature: Amount = Field(description="rated MGT; 'at rated MGT' means this")
    power_turbine_speed: Amount = Field(
        description="as the channel of this role reads it: the shaft on which torque is measured"
    )
    nominal_power: Amount | None = Field(
        default=None, description="power of a nominal new engine at the rated MGT; `power` when left out"
    )
    gas_generator_speed: Amount = Field(description="of a nominal new engine at the rated MGT")
    specific_fuel_consumption: Amount = Field(description="of a nominal new engine at the rated MGT")
    torque: Amount | None = Field(default=None, description="at rated power; checks the transcription")
    fuel_flow: Amount | None = Field(
        default=None, description="of a nominal new engine at the rated MGT; checks the transcription"
    )
    time_limit_s: float | None = Field(default=None, gt=0)
    source: Source


class DataPlate(Record):
    """What the engine's data plate carries, with the values of a nominal engine and the allowed range."""

    torque_conformation: Amount
    torque_conformation_range: tuple[float, float]
    mgt_trim_classes: dict[str, float] = Field(description="class to trim of the indicated MGT, in K")
    source: Source


class Oil(Record):
    """The approved oil: turns oil that was weighed into the volume that a limit counts."""

    density: Amount = Field(description="at the temperature at which the oil's volume is counted")
    density_standard_uncertainty: Amount = Field(description="of the brands allowed and the temperatures met")
    source: Source


class DataSheet(Record):
    """What a maker's data sheet gives; the generic shape fills the model from it."""

    rating: Identifier = Field(description="the rating whose point the model is scaled to")
    pressure_ratio: float = Field(gt=1)
    air_flow: Amount | None = None
    output_speed: Amount | None = Field(default=None, description="the rating's when left out")
    power_turbine_shaft_speed: Amount | None = Field(
        default=None, description="ahead of the reduction gear; the output speed when left out"
    )
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
    definitions: Definitions = Definitions()
    correction: Correction | None = None
    gate: tuple[Gate, ...] = ()
    cell: tuple[Cell, ...] = ()
    data_plate: DataPlate | None = None
    oil: Oil | None = None
    data_sheet: DataSheet
    model: dict[str, Any] = Field(
        default_factory=dict, description="engine model parameters; what is missing is filled"
    )
