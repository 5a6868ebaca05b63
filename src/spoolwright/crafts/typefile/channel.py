"""Channels of a type file: what is recorded, what it means, how well it is known."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from spoolwright.crafts.typefile.base import Identifier, Record
from spoolwright.units import unit_of


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
    "ambient_temperature", "ambient_pressure", "inlet_temperature", "inlet_pressure",
    "relative_humidity", "dew_point", "wet_bulb", "gas_generator_speed", "power_turbine_speed", "torque",
    "dynamometer_torque", "measured_gas_temperature", "compressor_discharge_temperature",
    "compressor_discharge_pressure", "interturbine_pressure", "exhaust_pressure", "exhaust_temperature",
    "fuel_mass_flow", "fuel_volume_flow", "fuel_temperature", "oil_pressure", "oil_temperature",
    "oil_quantity", "vibration", "wind_speed", "vane_angle", "bleed_valve", "ignition", "starter",
    "power_lever", "chip_detector", "other",
]  # fmt: skip
"""What a channel means to the physics. Exactly one channel per role, save vibration and other."""


FULL_TURN = 360.0
"""A full turn [deg]."""


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

    @property
    def turns(self) -> bool:
        """Whether it is a direction over a full turn: beyond one end of its range it goes on at the other."""
        if self.dimension != "angle":
            return False
        width = (self.range[1] - self.range[0]) * unit_of(self.unit, "angle").factor
        return abs(width - FULL_TURN) < 1e-6 * FULL_TURN
