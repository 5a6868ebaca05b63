"""Where an engine runs (`Condition`) and in what state its modules are (`ConditionFactors`)."""

from __future__ import annotations

from dataclasses import dataclass

from spoolwright.core.numerics import Number


@dataclass(frozen=True)
class Condition:
    """Where and how the engine runs; each field a float or an array (all arrays of one shape).

    Parameters
    ----------
    temperature : total temperature at the engine inlet, station 1 (cell or intake plane) [K]
    pressure : total pressure at the engine inlet, station 1, ahead of the engine's own inlet loss [Pa]
    output_speed : output shaft speed (behind the reduction gear) [rpm]
    lower_heating_value : of the fuel burnt, at 298.15 K [J/kg]
    fuel_temperature : at the injectors [K]
    water_air_ratio : mass of water vapour per mass of dry air [kg/kg]
    exhaust_pressure_ratio : static pressure at the exhaust exit / `pressure` [-]
    customer_bleed : customer bleed as a fraction of inlet flow [-]
    anti_ice : 0 off, 1 on [-]
    accessory_load : extra power taken from the gas-generator spool (generator, hydraulics) [W]
    """

    temperature: Number
    pressure: Number
    output_speed: Number
    lower_heating_value: Number
    fuel_temperature: Number
    water_air_ratio: Number = 0.0
    exhaust_pressure_ratio: Number = 1.0
    customer_bleed: Number = 0.0
    anti_ice: Number = 0.0
    accessory_load: Number = 0.0


@dataclass(frozen=True)
class ConditionFactors:
    """Module condition: multipliers of the type's data (healthy 1), leaks and offsets added (healthy 0).

    Parameters
    ----------
    compressor_flow, compressor_efficiency : multiply the compressor's flow and efficiency [-]
    combustor_efficiency, combustor_loss : multiply combustor efficiency and pressure loss [-]
    gas_generator_turbine_area, gas_generator_turbine_efficiency : multiply capacity and efficiency [-]
    power_turbine_area, power_turbine_efficiency : multiply capacity and efficiency [-]
    inlet_loss, interturbine_loss, exhaust_loss, gear_loss : multiply the losses (gear: both parts) [-]
    accessory_power, cooling_flow, handling_bleed : multiply accessory power, cooling flow, bleed flow [-]
    leak : compressor delivery air lost overboard, fraction of inlet flow [-]
    vane_offset : rigging error of the variable vanes, closed is positive [deg]
    """

    compressor_flow: Number = 1.0
    compressor_efficiency: Number = 1.0
    combustor_efficiency: Number = 1.0
    combustor_loss: Number = 1.0
    gas_generator_turbine_area: Number = 1.0
    gas_generator_turbine_efficiency: Number = 1.0
    power_turbine_area: Number = 1.0
    power_turbine_efficiency: Number = 1.0
    inlet_loss: Number = 1.0
    interturbine_loss: Number = 1.0
    exhaust_loss: Number = 1.0
    gear_loss: Number = 1.0
    accessory_power: Number = 1.0
    cooling_flow: Number = 1.0
    handling_bleed: Number = 1.0
    leak: Number = 0.0
    vane_offset: Number = 0.0


HEALTHY = ConditionFactors()
"""Every module as the type's data say."""
