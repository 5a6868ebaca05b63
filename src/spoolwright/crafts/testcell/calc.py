"""Physics of the test cell: from channel means and the run sheet to what the engine did, and where."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from spoolwright.core.cycle.condition import Condition
from spoolwright.core.gas.fuel import density_at
from spoolwright.core.gas.humidity import from_dew_point, from_relative_humidity, from_wet_bulb
from spoolwright.core.numerics import Number, value, where
from spoolwright.core.reduction.approved import Surroundings, shaft_power
from spoolwright.core.reduction.inputs import PointInputs
from spoolwright.core.reduction.modelled import ModelPoints

QUANTITIES = ("power", "gas_generator_speed", "measured_gas_temperature", "fuel_flow")
"""Quantities that are corrected; specific fuel consumption follows from power and fuel flow."""


@dataclass(frozen=True)
class CellReadings:
    """Channel means and known numbers of several points, found by what they mean.

    Parameters
    ----------
    inputs : PointInputs
        Quantities by channel id or name [inner unit].
    roles : mapping
        Role to channel id, for the channels that every point has [-].
    """

    inputs: PointInputs
    roles: Mapping[str, str]

    def has(self, role: str) -> bool:
        """Whether every point has a channel of this role [-]."""
        return role in self.roles and self.roles[role] in self.inputs

    def of(self, role: str) -> Number:
        """Mean of the channel of a role, over the points [inner unit]."""
        return self.inputs[self.roles[role]]

    def known(self, name: str, default: float) -> Number:
        """A number from the run sheet or the type file, or its default [inner unit]."""
        return self.inputs.quantities.get(name, default)


def inlet_loss(readings: CellReadings) -> Number | None:
    """Fraction of total pressure lost between the cell and the compressor inlet plane.

    Parameters
    ----------
    readings : CellReadings
        Readings of the points [-].

    Returns
    -------
    float, array, Dual or None
        From the run sheet; else 1 - inlet pressure / ambient pressure; None when neither is known [-].
    """
    if "inlet_loss" in readings.inputs:
        return readings.inputs["inlet_loss"]
    if readings.has("inlet_pressure") and readings.has("ambient_pressure"):
        return 1.0 - readings.of("inlet_pressure") / readings.of("ambient_pressure")
    return None


def exhaust_loss(readings: CellReadings) -> Number | None:
    """Exhaust back pressure over ambient pressure, minus 1.

    Parameters
    ----------
    readings : CellReadings
        Readings of the points [-].

    Returns
    -------
    float, array, Dual or None
        From the run sheet; else exhaust pressure / ambient pressure - 1; None when neither is known [-].
    """
    if "exhaust_loss" in readings.inputs:
        return readings.inputs["exhaust_loss"]
    if readings.has("exhaust_pressure") and readings.has("ambient_pressure"):
        return readings.of("exhaust_pressure") / readings.of("ambient_pressure") - 1.0
    return None


def inlet_temperature(readings: CellReadings) -> Number | None:
    """Total temperature at the compressor inlet plane; that of the cell's air where no probe stands there.

    Parameters
    ----------
    readings : CellReadings
        Readings of the points [-].

    Returns
    -------
    float, array, Dual or None
        Temperature [K].
    """
    for role in ("inlet_temperature", "ambient_temperature"):
        if readings.has(role):
            return readings.of(role)
    return None


def inlet_pressure(readings: CellReadings) -> Number | None:
    """Total pressure at the compressor inlet plane.

    Parameters
    ----------
    readings : CellReadings
        Readings of the points [-].

    Returns
    -------
    float, array, Dual or None
        As measured; else ambient pressure less the inlet loss of the run sheet [Pa].
    """
    if readings.has("inlet_pressure"):
        return readings.of("inlet_pressure")
    if readings.has("ambient_pressure") and "inlet_loss" in readings.inputs:
        return readings.of("ambient_pressure") * (1.0 - readings.inputs["inlet_loss"])
    return None


def water_air_ratio(readings: CellReadings) -> Number | None:
    """Humidity ratio of the air.

    Parameters
    ----------
    readings : CellReadings
        Readings of the points [-].

    Returns
    -------
    float, array, Dual or None
        From relative humidity, dew point or wet bulb, each over water; None when none was recorded [kg/kg].

    Notes
    -----
    A humidity probe may read a little beyond 0 or 100 %; such air counts as dry or saturated.
    """
    pressure_role = "ambient_pressure" if readings.has("ambient_pressure") else "inlet_pressure"
    air_role = "ambient_temperature" if readings.has("ambient_temperature") else "inlet_temperature"
    if not (readings.has(pressure_role) and readings.has(air_role)):
        return None
    pressure, air = readings.of(pressure_role), readings.of(air_role)
    if readings.has("relative_humidity"):
        probe = readings.of("relative_humidity")
        return from_relative_humidity(
            where(probe > 1.0, 1.0, where(probe < 0.0, 0.0, probe)), air, pressure, "water"
        )
    if readings.has("dew_point"):
        return from_dew_point(readings.of("dew_point"), pressure)
    if readings.has("wet_bulb"):
        return from_wet_bulb(readings.of("wet_bulb"), air, pressure, "water")
    return None


def surroundings(readings: CellReadings) -> Surroundings | None:
    """Conditions of the points for the approved correction.

    Parameters
    ----------
    readings : CellReadings
        Readings of the points [-].

    Returns
    -------
    Surroundings or None
        Losses and humidity that are not known stand as NaN; None without inlet temperature or pressure
        [inner unit].
    """
    temperature, pressure = inlet_temperature(readings), inlet_pressure(readings)
    if temperature is None or pressure is None:
        return None
    humidity, inlet, exhaust = water_air_ratio(readings), inlet_loss(readings), exhaust_loss(readings)
    nan = float("nan")
    return Surroundings(
        temperature,
        pressure,
        nan if humidity is None else humidity,
        readings.known("heating_value", nan),
        nan if inlet is None else inlet,
        nan if exhaust is None else exhaust,
    )


def observed_quantities(readings: CellReadings) -> dict[str, Number]:
    """What the engine did at the points, as observed in this cell.

    Parameters
    ----------
    readings : CellReadings
        Readings of the points [-].

    Returns
    -------
    dict
        Power [W], gas generator speed [rpm], MGT [K], fuel flow [kg/s]; what cannot be had is left out
        [inner unit].
    """
    out: dict[str, Number] = {}
    if readings.has("torque") and readings.has("power_turbine_speed") and "conformation" in readings.inputs:
        out["power"] = shaft_power(
            readings.of("torque"), readings.of("power_turbine_speed"), readings.inputs["conformation"]
        )
    for name in ("gas_generator_speed", "measured_gas_temperature"):
        if readings.has(name):
            out[name] = readings.of(name)
    fuel = fuel_flow(readings)
    if fuel is not None:
        out["fuel_flow"] = fuel
    return out


def fuel_flow(readings: CellReadings) -> Number | None:
    """Fuel mass flow.

    Parameters
    ----------
    readings : CellReadings
        Readings of the points [-].

    Returns
    -------
    float, array, Dual or None
        As measured; else volume flow times the sample's density at the fuel's temperature [kg/s].
    """
    if readings.has("fuel_mass_flow"):
        return readings.of("fuel_mass_flow")
    needed = readings.has("fuel_volume_flow") and readings.has("fuel_temperature")
    if needed and "density_15c" in readings.inputs:
        density = float(np.ravel(value(readings.inputs["density_15c"]))[0])
        return readings.of("fuel_volume_flow") * density_at(density, readings.of("fuel_temperature"))
    return None


def correlated_quantities(readings: CellReadings, observed: Mapping[str, Number]) -> dict[str, Number]:
    """Observed quantities times the cell's correlation factors.

    Parameters
    ----------
    readings : CellReadings
        Readings of the points [-].
    observed : mapping
        Quantity to its observed value [inner unit].

    Returns
    -------
    dict
        Quantity to its value in the reference cell [inner unit].
    """
    return {name: y * readings.known(f"cell factor of {name}", 1.0) for name, y in observed.items()}


def model_points(readings: CellReadings, gas_temperature: Number, speed_ratio: float) -> ModelPoints | None:
    """What the cycle model is given at the points.

    Parameters
    ----------
    readings : CellReadings
        Readings of the points [-].
    gas_temperature : array or Dual
        MGT after the cell's correlation [K].
    speed_ratio : float
        Speed that the power turbine channel reads over output shaft speed [-].

    Returns
    -------
    ModelPoints or None
        None when a condition is not known [inner unit].
    """
    at = surroundings(readings)
    if at is None or not readings.has("power_turbine_speed"):
        return None
    exhaust = exhaust_pressure(readings)
    if exhaust is None or isinstance(at.water_air_ratio, float) or isinstance(at.heating_value, float):
        return None
    fuel = readings.of("fuel_temperature") if readings.has("fuel_temperature") else 298.15
    return ModelPoints(
        gas_temperature,
        at.temperature,
        at.pressure,
        readings.of("power_turbine_speed") / speed_ratio,
        at.heating_value,
        at.water_air_ratio,
        exhaust / at.pressure,
        value(fuel),
    )


def exhaust_pressure(readings: CellReadings) -> Number | None:
    """Static pressure at the exhaust exit.

    Parameters
    ----------
    readings : CellReadings
        Readings of the points [-].

    Returns
    -------
    array, Dual or None
        As measured; else ambient pressure and the exhaust loss of the run sheet [Pa].
    """
    if readings.has("exhaust_pressure"):
        return readings.of("exhaust_pressure")
    if readings.has("ambient_pressure") and "exhaust_loss" in readings.inputs:
        return readings.of("ambient_pressure") * (1.0 + readings.inputs["exhaust_loss"])
    return None


def reference_condition(reference: Surroundings, output_speed: float, fuel_temperature: float) -> Condition:
    """The reference condition as the cycle model takes it.

    Parameters
    ----------
    reference : Surroundings
        Reference condition of the approved document, floats [inner unit].
    output_speed : float
        Output shaft speed of the ratings [rpm].
    fuel_temperature : float
        At the injectors [K].

    Returns
    -------
    Condition
        Engine inlet pressure is the reference pressure less the reference inlet loss [inner unit].
    """
    inlet, exhaust = float(reference.inlet_loss), float(reference.exhaust_loss)
    return Condition(
        temperature=float(reference.temperature),
        pressure=float(reference.pressure) * (1.0 - inlet),
        output_speed=output_speed,
        lower_heating_value=float(reference.heating_value),
        fuel_temperature=fuel_temperature,
        water_air_ratio=float(reference.water_air_ratio),
        exhaust_pressure_ratio=(1.0 + exhaust) / (1.0 - inlet),
    )
