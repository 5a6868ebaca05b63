"""The flight manual's power check of a type as installed, and what the installation does to the engine."""

from __future__ import annotations

from itertools import pairwise
from typing import Literal, get_args

from pydantic import Field, model_validator

from spoolwright.crafts.typefile.base import Amount, Identifier, Record
from spoolwright.crafts.typefile.model import Document

CheckQuantity = Literal[
    "pressure", "outside_air_temperature", "gas_generator_speed", "power_turbine_speed", "torque",
    "measured_gas_temperature",
]  # fmt: skip


class LimitSheet(Record):
    """Highest MGT allowed at one torque, over pressure altitude (rows) and outside air temperature."""

    torque: Amount
    max_mgt: tuple[tuple[float, ...], ...] = Field(description="a row for each pressure altitude")


class ManualCheck(Record):
    """The rule that governs: MGT read at a torque must not stand above the manual's table."""

    paragraph: str = Field(min_length=1)
    mgt_unit: str
    pressure_altitude_unit: str
    pressure_altitude: tuple[float, ...] = Field(min_length=2)
    temperature_unit: str
    temperature: tuple[float, ...] = Field(min_length=2)
    sheet: tuple[LimitSheet, ...] = Field(min_length=2)
    power_turbine_speed_min: Amount
    power_turbine_speed_max: Amount
    bleed_off: bool = True
    anti_ice_off: bool = True
    action: str = Field(min_length=1)

    @model_validator(mode="after")
    def _fits(self) -> ManualCheck:
        for axis in (self.pressure_altitude, self.temperature, [s.torque.value for s in self.sheet]):
            if any(b <= a for a, b in pairwise(axis)):
                raise ValueError("an axis of the table does not rise")
        shape = (len(self.pressure_altitude), len(self.temperature))
        for s in self.sheet:
            if len(s.max_mgt) != shape[0] or any(len(row) != shape[1] for row in s.max_mgt):
                raise ValueError(f"the table at {s.torque.value:g} is not {shape[0]} rows of {shape[1]}")
            if s.torque.unit != self.sheet[0].torque.unit:
                raise ValueError("torques of the tables stand in different units")
        return self


class Known(Record):
    """A figure of the installation with its standard uncertainty, in the same unit."""

    value: float
    standard_uncertainty: float = Field(ge=0)
    unit: str
    paragraph: str = Field(min_length=1)


class Installed(Record):
    """What the airframe does to the engine during the check, and the air and fuel that nobody measures."""

    inlet_pressure_loss: Known = Field(description="of ambient pressure")
    inlet_temperature_rise: Known
    exhaust_back_pressure: Known = Field(description="over ambient pressure, less 1")
    accessory_power: Known
    customer_bleed: Known = Field(description="part of inlet flow while bleed is on")
    relative_humidity: Known
    lower_heating_value: Known


class AircraftInstrument(Record):
    """How well a gauge of the aircraft reads: an error that stays, and one drawn at every reading."""

    quantity: CheckQuantity
    lasting: float = Field(ge=0, description="standard uncertainty of the error that stays")
    reading: float = Field(ge=0, description="standard uncertainty of one reading")
    unit: str
    paragraph: str = Field(min_length=1)


class PowerCheck(Record):
    """Power check of the type as installed in one aircraft type."""

    aircraft: str
    manual: Document
    rating: Identifier = Field(description="rating at which margins are told")
    check: ManualCheck
    installed: Installed
    instrument: tuple[AircraftInstrument, ...]

    @model_validator(mode="after")
    def _each_once(self) -> PowerCheck:
        named = [i.quantity for i in self.instrument]
        missing = set(get_args(CheckQuantity)) - set(named)
        if missing or len(named) != len(set(named)):
            raise ValueError(
                f"each quantity needs one instrument; missing: {', '.join(sorted(missing)) or '-'}"
            )
        return self
