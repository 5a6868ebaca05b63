"""The data that define an engine: all that the cycle model knows of a type, and nothing of physics.

All component maps are relative: 1 at the reference point (an ISO 2533 standard day at sea level, dry, rated
take-off power), so that a generic shape serves any engine and a type file carries few absolute numbers.
Tables are on evenly spaced axes and are continued outside by their tangent, never clamped.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from spoolwright.constants import STANDARD_PRESSURE, STANDARD_TEMPERATURE
from spoolwright.core.cycle.condition import Condition

Row = tuple[float, ...]
Table = tuple[Row, ...]


@dataclass(frozen=True)
class Reference:
    """The point at which every map is 1.

    Parameters
    ----------
    power : output shaft power that counts as 100 % [W]
    gas_generator_speed : speed that counts as 100 % Ng [rpm]
    power_turbine_speed : power-turbine shaft speed that counts as 100 % Np [rpm]
    temperature : total temperature at the compressor inlet [K]
    pressure : total pressure at the compressor inlet [Pa]
    measured_gas_temperature : MGT of the reference point [K]
    turbine_inlet_temperature : combustor exit temperature of the reference point, station 4 [K]
    fuel_flow : fuel flow of the reference point [kg/s]
    probe_ratio : MGT as the probes read it / mass-averaged total temperature at station 45 [-]
    """

    power: float
    gas_generator_speed: float
    power_turbine_speed: float
    measured_gas_temperature: float
    turbine_inlet_temperature: float
    fuel_flow: float
    temperature: float = STANDARD_TEMPERATURE
    pressure: float = STANDARD_PRESSURE
    probe_ratio: float = 1.0


@dataclass(frozen=True)
class Curve:
    """A smooth curve through evenly spaced points, continued outside by its tangent.

    Parameters
    ----------
    x : evenly spaced, rising axis, at least 4 points [stated by the field that holds it]
    y : values [stated by the field that holds it]
    """

    x: Row
    y: Row


@dataclass(frozen=True)
class CompressorMap:
    """Relative compressor map over corrected speed and a loading parameter.

    Parameters
    ----------
    speed : axis: relative corrected speed (N / sqrt(gamma R T2), 1 at the reference) [-]
    loading : axis: loading parameter along a speed line, 0 at best efficiency, rising to surge [-]
    flow : corrected flow W sqrt(R T2 / gamma) / p2 relative to the reference, a row per speed [-]
    pressure_rise : (pressure ratio - 1) relative to the reference, a row per speed [-]
    efficiency : isentropic efficiency relative to the reference, a row per speed [-]
    surge_flow : axis of the surge line: relative corrected flow [-]
    surge_pressure_rise : (pressure ratio - 1) at surge, relative to the reference [-]
    """

    speed: Row
    loading: Row
    flow: Table
    pressure_rise: Table
    efficiency: Table
    surge_flow: Row
    surge_pressure_rise: Row


@dataclass(frozen=True)
class Compressor:
    """The compressor at its reference point, its map, and the Reynolds effect.

    Parameters
    ----------
    air_flow : inlet flow at the reference point (dry standard day, no inlet loss) [kg/s]
    pressure_ratio : total pressure ratio at the reference point [-]
    efficiency : isentropic efficiency at the reference point [-]
    map : relative map [-]
    reynolds_loss_exponent : k in (1 - efficiency) ~ Re^-k [-]
    reynolds_flow_exponent : k in corrected flow ~ Re^k [-]
    """

    air_flow: float
    pressure_ratio: float
    efficiency: float
    map: CompressorMap
    reynolds_loss_exponent: float = 0.0
    reynolds_flow_exponent: float = 0.0


@dataclass(frozen=True)
class VariableVanes:
    """Variable inlet guide and stator vanes. The map holds with the vanes at `map_angle`.

    Parameters
    ----------
    schedule : closing angle that the control sets over relative corrected speed [deg over -]
    map_angle : closing angle at which the map holds, over relative corrected speed [deg over -]
    flow_per_degree : relative change of corrected flow for each degree closed beyond `map_angle` [1/deg]
    efficiency_per_degree_squared : relative loss of efficiency, times the square of the deviation [1/deg2]
    """

    schedule: Curve
    map_angle: Curve
    flow_per_degree: float = 0.0
    efficiency_per_degree_squared: float = 0.0


@dataclass(frozen=True)
class HandlingBleed:
    """Bleed valve that opens at part speed, with a smooth ramp between its two speeds.

    Parameters
    ----------
    fraction : bleed flow with the valve open, as a fraction of the inlet flow [-]
    speed_open : relative corrected speed below which the valve is fully open [-]
    speed_closed : relative corrected speed above which it is shut [-]
    extraction : fraction of the compressor's enthalpy rise done on the bled air [-]
    """

    fraction: float = 0.0
    speed_open: float = 0.7
    speed_closed: float = 0.8
    extraction: float = 0.5


@dataclass(frozen=True)
class SecondaryFlows:
    """Cooling, sealing, customer and anti-ice air, each as a fraction of the inlet flow.

    Parameters
    ----------
    nozzle_cooling : to the first gas-generator turbine nozzle; mixes ahead of the rotor and does work [-]
    rotor_cooling : to the gas-generator turbine rotor; mixes behind it and does no work there [-]
    overboard_leak : seal and joint leakage lost overboard [-]
    anti_ice : engine anti-ice air with the system fully on, lost overboard [-]
    cooling_extraction : fraction of the compressor's enthalpy rise done on cooling air [-]
    leak_extraction : the same for the overboard leak [-]
    customer_extraction : the same for customer bleed [-]
    anti_ice_extraction : the same for anti-ice air [-]
    """

    nozzle_cooling: float = 0.0
    rotor_cooling: float = 0.0
    overboard_leak: float = 0.0
    anti_ice: float = 0.0
    cooling_extraction: float = 1.0
    leak_extraction: float = 1.0
    customer_extraction: float = 1.0
    anti_ice_extraction: float = 1.0


@dataclass(frozen=True)
class Ducts:
    """Total-pressure losses of the ducts, each at the reference corrected flow of its own inlet.

    Parameters
    ----------
    inlet_loss : inlet, as a fraction of the inlet total pressure, varies with corrected flow squared [-]
    interturbine_loss : between the turbines, varies with corrected flow squared [-]
    exhaust_loss_fixed : part of (p5 / exhaust static pressure - 1) that does not vary [-]
    exhaust_loss : part of (p5 / exhaust static pressure - 1) that varies with corrected flow squared [-]
    interturbine_flow : W sqrt(R T / gamma) / p at station 45 at the reference point [m2]
    exhaust_flow : W sqrt(R T / gamma) / p at station 5 at the reference point [m2]
    """

    interturbine_flow: float
    exhaust_flow: float
    inlet_loss: float = 0.0
    interturbine_loss: float = 0.0
    exhaust_loss_fixed: float = 0.0
    exhaust_loss: float = 0.0


@dataclass(frozen=True)
class Combustor:
    """Combustor efficiency and pressure loss.

    Parameters
    ----------
    efficiency : at the reference point [-]
    loading : reference combustor loading W / (p3^1.8 exp(T3 / 300 K)) [kg/s/Pa^1.8]
    loading_exponent : m in (1 / efficiency - 1) ~ loading^m; 0 keeps efficiency constant [-]
    flow : W sqrt(R T3 / gamma) / p3 at the combustor inlet at the reference point [m2]
    pressure_loss : fraction of p3 lost at the reference point [-]
    loss_exponent : power of the corrected flow with which the loss varies; 2 in a turbulent duct [-]
    heat_loss_share : share of the loss that is due to heat addition, varies also with T4 / T3 - 1 [-]
    temperature_ratio : T4 / T3 at the reference point [-]
    """

    efficiency: float
    loading: float
    flow: float
    temperature_ratio: float
    loading_exponent: float = 0.0
    pressure_loss: float = 0.0
    loss_exponent: float = 2.0
    heat_loss_share: float = 0.0


@dataclass(frozen=True)
class TurbineMap:
    """Relative turbine map over corrected speed and expansion.

    Parameters
    ----------
    speed : axis: N / sqrt(gamma R T) relative to the reference [-]
    expansion : axis: sqrt(ln pressure ratio / ln reference pressure ratio) [-]
    capacity : choked-equivalent flow capacity relative to the reference, a row per speed [-]
    efficiency : isentropic efficiency relative to the reference, a row per speed [-]
    """

    speed: Row
    expansion: Row
    capacity: Table
    efficiency: Table


@dataclass(frozen=True)
class Turbine:
    """A turbine at its reference point and its map.

    Parameters
    ----------
    area : effective throat area: W sqrt(R T) / (p F(gamma)) with F the critical flow function [m2]
    pressure_ratio : total-to-total expansion ratio at the reference point [-]
    efficiency : isentropic efficiency at the reference point [-]
    corrected_speed : shaft speed / sqrt(gamma R T) at the rotor inlet at the reference point [rpm s/m]
    map : relative map [-]
    """

    area: float
    pressure_ratio: float
    efficiency: float
    corrected_speed: float
    map: TurbineMap


@dataclass(frozen=True)
class Shafts:
    """Gearing, losses, accessories and inertias.

    Parameters
    ----------
    gear_ratio : power-turbine shaft speed / output shaft speed [-]
    gear_loss : loss proportional to transmitted power, as a fraction of it [-]
    gear_drag : loss at 100 % Np that does not depend on power; varies with speed [W]
    spool_loss : gas-generator shaft loss (bearings, seals) as a fraction of turbine power [-]
    accessory_power : gearbox-driven pumps at 100 % Ng, varies with Ng squared; taken from the spool [W]
    gas_generator_inertia : of the gas-generator rotor [kg m2]
    power_turbine_inertia : of power turbine and gearing, referred to the power-turbine shaft [kg m2]
    load_inertia : of the dynamometer or rotor system, referred to the power-turbine shaft [kg m2]
    """

    gear_ratio: float
    gas_generator_inertia: float
    power_turbine_inertia: float
    gear_loss: float = 0.0
    gear_drag: float = 0.0
    spool_loss: float = 0.0
    accessory_power: float = 0.0
    load_inertia: float = 0.0


@dataclass(frozen=True)
class HeatSoak:
    """Metal that takes up heat in transients, and what its lag does to tip clearance.

    Parameters
    ----------
    compressor_heat_capacity : metal mass times specific heat along the compressor [J/K]
    compressor_conductance : gas to metal at the reference flow, varies with flow^0.8 [W/K]
    turbine_heat_capacity : metal mass times specific heat along the gas-generator turbine [J/K]
    turbine_conductance : gas to metal at the reference flow, varies with flow^0.8 [W/K]
    compressor_clearance : relative efficiency lost for each unit of (gas - metal) / gas temperature [-]
    turbine_clearance : the same for the gas-generator turbine [-]
    """

    compressor_heat_capacity: float
    compressor_conductance: float
    turbine_heat_capacity: float
    turbine_conductance: float
    compressor_clearance: float = 0.0
    turbine_clearance: float = 0.0


@dataclass(frozen=True)
class FuelControl:
    """Fuel control: power-turbine governor inside an acceleration and a deceleration schedule, with toppings.

    Parameters
    ----------
    acceleration : largest fuel flow / p3, relative to the reference, over relative corrected Ng [- over -]
    deceleration : smallest fuel flow / p3, relative to the reference, over relative corrected Ng [- over -]
    reference_ratio : fuel flow / p3 at the reference point [kg/s/Pa]
    governor_gain : change of demanded Ng for each unit of relative Np error [-]
    governor_reset : governor integral rate [1/s]
    speed_gain : change of fuel flow (relative to the reference) for each unit of relative Ng error [-]
    speed_reset : integral rate of the Ng loop [1/s]
    idle_speed : lowest demanded Ng, relative to 100 % [-]
    speed_limit : Ng topping, relative to 100 % [-]
    temperature_limit : MGT topping [K]
    temperature_gain : demanded Ng taken back for each unit of relative MGT excess [-]
    valve_time : time constant of the fuel valve [s]
    minimum_fuel_flow : flame-out guard, relative to the reference [-]
    """

    acceleration: Curve
    deceleration: Curve
    reference_ratio: float
    governor_gain: float
    governor_reset: float
    speed_gain: float
    speed_reset: float
    idle_speed: float
    speed_limit: float
    temperature_limit: float
    temperature_gain: float
    valve_time: float
    minimum_fuel_flow: float


@dataclass(frozen=True)
class Fuel:
    """Reference fuel.

    Parameters
    ----------
    lower_heating_value : at 298.15 K [J/kg]
    hydrogen_to_carbon : atoms of hydrogen per atom of carbon [-]
    temperature : at the injectors [K]
    """

    lower_heating_value: float = 43.124e6
    hydrogen_to_carbon: float = 1.9
    temperature: float = 298.15


@dataclass(frozen=True)
class EngineData:
    """A gas generator with a free power turbine, defined by data.

    Parameters
    ----------
    name : type designation [-]
    reference, compressor, vanes, handling_bleed, secondary, ducts, combustor : see the class of each [-]
    gas_generator_turbine, power_turbine : the two turbines [-]
    shafts, fuel : see the class of each [-]
    heat_soak, control : needed for transients only [-]
    """

    name: str
    reference: Reference
    compressor: Compressor
    vanes: VariableVanes
    handling_bleed: HandlingBleed
    secondary: SecondaryFlows
    ducts: Ducts
    combustor: Combustor
    gas_generator_turbine: Turbine
    power_turbine: Turbine
    shafts: Shafts
    fuel: Fuel = field(default_factory=Fuel)
    heat_soak: HeatSoak | None = None
    control: FuelControl | None = None

    def condition(self, **changes: Any) -> Condition:
        """The reference condition (standard day, 100 % Np, reference fuel) with the named fields changed."""
        base = Condition(
            temperature=self.reference.temperature,
            pressure=self.reference.pressure,
            output_speed=self.reference.power_turbine_speed / self.shafts.gear_ratio,
            lower_heating_value=self.fuel.lower_heating_value,
            fuel_temperature=self.fuel.temperature,
        )
        return replace(base, **changes)
