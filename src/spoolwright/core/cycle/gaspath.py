"""The physics: air and gas from the inlet to the exhaust for given unknowns.

Straight-line code without a branch on a value, on whatever numbers it is given: floats, arrays, duals, JAX.
Stations: 1 engine inlet, 2 compressor inlet, 3 compressor delivery, 4 combustor exit, 41 gas-generator rotor
inlet (nozzle cooling mixed in), 45 between the turbines (rotor cooling mixed in; measured gas temperature),
46 power turbine inlet, 5 power turbine exit. Temperatures and pressures are total.

References: Walsh and Fletcher, Gas Turbine Performance, 2nd ed. (Blackwell 2004), chapters 5 and 7;
Saravanamuttoo et al., Gas Turbine Theory, 6th ed. (Pearson 2009), chapters 2 and 9.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from spoolwright.core.cycle.condition import Condition, ConditionFactors
from spoolwright.core.numerics import Number, exp, log, sqrt, where

if TYPE_CHECKING:
    from collections.abc import Sequence

    from spoolwright.core.cycle.model import EngineModel, Inlet, TurbineModel
    from spoolwright.core.gas.mixture import GasMixture

UNKNOWNS = (
    "ln relative corrected gas generator speed",
    "compressor loading",
    "ln relative turbine inlet temperature",
    "ln relative gas generator turbine expansion",
    "ln relative power turbine expansion",
)


@dataclass(slots=True)
class Soak:
    """Heat that metal takes from the gas, and efficiency that its lag in temperature costs.

    Parameters
    ----------
    compressor_heat, turbine_heat : heat flow into the metal [W]
    compressor_efficiency, turbine_efficiency : multipliers of the two efficiencies [-]
    """

    compressor_heat: Number = 0.0
    turbine_heat: Number = 0.0
    compressor_efficiency: Number = 1.0
    turbine_efficiency: Number = 1.0


class GasPath:
    """Everything at every station for one set of unknowns; the residuals are zero where the engine runs.

    Parameters
    ----------
    model : EngineModel
        The engine [-].
    inlet : Inlet
        What the condition determines [-].
    x : sequence of 5
        The unknowns, see `UNKNOWNS` [-].
    condition, factors : Condition, ConditionFactors
        Where the engine runs and in what state it is [-].
    soak : Soak, optional
        Heat taken up by metal; none in steady running [-].
    """

    def __init__(
        self,
        model: EngineModel,
        inlet: Inlet,
        x: Sequence[Number],
        condition: Condition,
        factors: ConditionFactors,
        soak: Soak | None = None,
    ) -> None:
        self._compress(model, inlet, x[0], x[1], condition, factors, soak)
        self._burn(model, x[2], condition, factors)
        self._drive(model, x[3], condition, factors, soak)
        self._deliver(model, x[4], condition, factors)
        self.residuals = [self.capacity_41, self.spool, self.capacity_46, self.exhaust]

    def _compress(
        self,
        model: EngineModel,
        inlet: Inlet,
        log_speed: Number,
        loading: Number,
        condition: Condition,
        factors: ConditionFactors,
        soak: Soak | None,
    ) -> None:
        data = model.data.compressor
        self.corrected_speed = exp(log_speed)
        self.loading = loading
        log_flow, log_rise, log_efficiency = model.compressor_map(self.corrected_speed, loading)
        closed = _vane_deviation(model, self.corrected_speed, factors)
        vanes = model.data.vanes
        self.map_flow = exp(log_flow)
        vane_flow = exp(closed * -vanes.flow_per_degree)
        flow = self.map_flow * vane_flow * inlet.reynolds_flow * factors.compressor_flow
        self.p2 = condition.pressure * exp(flow * flow * factors.inlet_loss * -model.inlet_loss)
        self.air_flow = flow * model.flow * inlet.flow * (self.p2 / condition.pressure)
        self.pressure_ratio = 1.0 + (data.pressure_ratio - 1.0) * exp(log_rise)
        efficiency = exp(log_efficiency - closed * closed * vanes.efficiency_per_degree_squared)
        efficiency = data.efficiency * factors.compressor_efficiency * efficiency
        self.compressor_efficiency = 1.0 - (1.0 - efficiency) * inlet.reynolds_loss
        if soak is not None:
            self.compressor_efficiency = self.compressor_efficiency * soak.compressor_efficiency
        gas, war = model.gas, condition.water_air_ratio
        ideal = gas.temperature_from_entropy(
            inlet.entropy + inlet.gas_constant * log(self.pressure_ratio), 0.0, war
        )
        self.work = (gas.enthalpy(ideal, 0.0, war) - inlet.enthalpy) / self.compressor_efficiency
        self._bleed(model, condition, factors)
        self.h3 = inlet.enthalpy + self.work
        if soak is not None:
            self.h3 = self.h3 - soak.compressor_heat / (self.air_flow * self.through)
        self.p3 = self.p2 * self.pressure_ratio
        self.T3 = gas.temperature_from_enthalpy(self.h3, 0.0, war)
        self.gas_generator_speed = (
            self.corrected_speed * inlet.sound * (model.data.reference.gas_generator_speed / model.sound)
        )

    def _bleed(self, model: EngineModel, condition: Condition, factors: ConditionFactors) -> None:
        """Air taken off: what goes on to the combustor, and the compressor's power."""
        s, valve = model.data.secondary, model.data.handling_bleed
        opening = _ramp((valve.speed_closed - self.corrected_speed) / (valve.speed_closed - valve.speed_open))
        self.handling_bleed = opening * valve.fraction * factors.handling_bleed
        self.nozzle_cooling = s.nozzle_cooling * factors.cooling_flow
        self.rotor_cooling = s.rotor_cooling * factors.cooling_flow
        cooling = self.nozzle_cooling + self.rotor_cooling
        anti_ice = s.anti_ice * condition.anti_ice
        lost = self.handling_bleed + condition.customer_bleed + anti_ice + s.overboard_leak + factors.leak
        self.through = 1.0 - lost - cooling
        saved = (
            self.handling_bleed * (1.0 - valve.extraction)
            + condition.customer_bleed * (1.0 - s.customer_extraction)
            + anti_ice * (1.0 - s.anti_ice_extraction)
            + s.overboard_leak * (1.0 - s.leak_extraction)
            + cooling * (1.0 - s.cooling_extraction)
        )
        self.compressor_power = self.air_flow * self.work * (1.0 - saved)

    def _burn(
        self, model: EngineModel, log_temperature: Number, condition: Condition, factors: ConditionFactors
    ) -> None:
        data, gas, war = model.data.combustor, model.gas, condition.water_air_ratio
        self.T4 = exp(log_temperature) * model.data.reference.turbine_inlet_temperature
        air = self.air_flow * self.through
        flow = air * sqrt(gas.gas_constant(0.0, war) * self.T3 / gas.gamma(self.T3, 0.0, war)) / self.p3
        self.combustor_flow = flow * (1.0 / data.flow)
        heat = 1.0 - data.heat_loss_share
        heat = heat + (self.T4 / self.T3 - 1.0) * (data.heat_loss_share / (data.temperature_ratio - 1.0))
        square = exp(log(self.combustor_flow) * data.loss_exponent)
        self.p4 = self.p3 * exp(square * heat * factors.combustor_loss * -model.combustor_loss)
        self.combustor_loading = log(air / data.loading) - log(self.p3) * 1.8 - self.T3 / 300.0
        unburnt = exp(self.combustor_loading * data.loading_exponent) * (1.0 / data.efficiency - 1.0)
        self.combustor_efficiency = factors.combustor_efficiency / (1.0 + unburnt)
        self.fuel_air_ratio = gas.fuel_air_ratio(
            self.T3,
            self.T4,
            war,
            self.combustor_efficiency,
            condition.lower_heating_value,
            condition.fuel_temperature,
        )
        self.dry_air = air / (1.0 + war)
        self.fuel_flow = self.fuel_air_ratio * self.dry_air
        self.W4 = air + self.fuel_flow

    def _drive(
        self,
        model: EngineModel,
        log_expansion: Number,
        condition: Condition,
        factors: ConditionFactors,
        soak: Soak | None,
    ) -> None:
        """The gas-generator turbine between its two cooling flows, and the spool's balance of power."""
        gas, war, shafts = model.gas, condition.water_air_ratio, model.data.shafts
        cooling_enthalpy = self.h3 - self.work * (1.0 - model.data.secondary.cooling_extraction)
        nozzle = self.air_flow * self.nozzle_cooling
        dry = self.dry_air + nozzle / (1.0 + war)
        self.W41 = self.W4 + nozzle
        far = self.fuel_flow / dry
        h = (self.W4 * gas.enthalpy(self.T4, self.fuel_air_ratio, war) + nozzle * cooling_enthalpy) / self.W41
        efficiency = factors.gas_generator_turbine_efficiency
        if soak is not None:
            h = h - soak.turbine_heat / self.W41
            efficiency = efficiency * soak.turbine_efficiency
        self.T41 = gas.temperature_from_enthalpy(h, far, war)
        turbine = Expansion(
            model.gas_generator_turbine,
            gas,
            (self.W41, h, self.T41, self.p4, far, war),
            self.gas_generator_speed,
            log_expansion,
            factors.gas_generator_turbine_area,
            efficiency,
        )
        self.gas_generator_turbine = turbine
        self.capacity_41 = turbine.residual
        speed = self.gas_generator_speed * (1.0 / model.data.reference.gas_generator_speed)
        accessories = speed * speed * factors.accessory_power * shafts.accessory_power
        needed = self.compressor_power + accessories + condition.accessory_load
        driving = self.W41 * turbine.work * (1.0 - shafts.spool_loss)
        self.spool_surplus = driving - needed
        self.spool = log(driving / needed)
        rotor = self.air_flow * self.rotor_cooling
        self.W45 = self.W41 + rotor
        self.far45 = self.fuel_flow / (dry + rotor / (1.0 + war))
        self.h45 = (self.W41 * (h - turbine.work) + rotor * cooling_enthalpy) / self.W45
        self.T45 = gas.temperature_from_enthalpy(self.h45, self.far45, war)
        self.measured_gas_temperature = self.T45 * model.data.reference.probe_ratio
        self.p45 = self.p4 / turbine.pressure_ratio

    def _deliver(
        self, model: EngineModel, log_expansion: Number, condition: Condition, factors: ConditionFactors
    ) -> None:
        """Duct, power turbine, exhaust, and what the gear delivers."""
        gas, war, ducts, shafts = model.gas, condition.water_air_ratio, model.data.ducts, model.data.shafts
        far, R = self.far45, gas.gas_constant(self.far45, war)
        flow = self.W45 * sqrt(R * self.T45 / gas.gamma(self.T45, far, war)) / self.p45
        flow = self.interturbine_flow = flow * (1.0 / ducts.interturbine_flow)
        self.p46 = self.p45 * exp(flow * flow * factors.interturbine_loss * -model.interturbine_loss)
        turbine = Expansion(
            model.power_turbine,
            gas,
            (self.W45, self.h45, self.T45, self.p46, far, war),
            condition.output_speed * shafts.gear_ratio,
            log_expansion,
            factors.power_turbine_area,
            factors.power_turbine_efficiency,
        )
        self.power_turbine = turbine
        self.capacity_46 = turbine.residual
        self.p5 = self.p46 / turbine.pressure_ratio
        self.T5 = gas.temperature_from_enthalpy(self.h45 - turbine.work, far, war)
        flow = self.W45 * sqrt(R * self.T5 / gas.gamma(self.T5, far, war)) / self.p5
        flow = self.exhaust_flow = flow * (1.0 / ducts.exhaust_flow)
        loss = (flow * flow * ducts.exhaust_loss + ducts.exhaust_loss_fixed) * factors.exhaust_loss
        self.exhaust = log(self.p5 / (condition.pressure * condition.exhaust_pressure_ratio * (1.0 + loss)))
        self.turbine_power = self.W45 * turbine.work
        drag, loss = gear_losses(model, condition, factors)
        self.power = self.turbine_power * (1.0 - loss) - drag
        self.torque = self.power / (condition.output_speed * (math.pi / 30.0))


class Expansion:
    """One turbine between its inlet and the ideal exit of its pressure ratio.

    Parameters
    ----------
    turbine : TurbineModel
        Reference constants and map [-].
    gas : GasMixture
        Gas properties [-].
    entry : (W, h, T, p, far, war)
        Flow, enthalpy, temperature, pressure and composition at the rotor inlet [kg/s, J/kg, K, Pa, -, -].
    speed : Number
        Shaft speed [rpm].
    log_expansion : Number
        ln of expansion relative to the reference, expansion = sqrt(ln pressure ratio) [-].
    area, efficiency : Number
        Condition factors [-].
    """

    __slots__ = ("efficiency", "pressure_ratio", "residual", "speed", "work")

    def __init__(
        self,
        turbine: TurbineModel,
        gas: GasMixture,
        entry: tuple[Number, Number, Number, Number, Number, Number],
        speed: Number,
        log_expansion: Number,
        area: Number,
        efficiency: Number,
    ) -> None:
        W, h, T, p, far, war = entry
        R, gamma = gas.gas_constant(far, war), gas.gamma(T, far, war)
        expansion = exp(log_expansion)
        log_ratio = expansion * expansion * turbine.log_ratio
        self.speed = speed / sqrt(gamma * R * T) * (1.0 / turbine.corrected_speed)
        log_capacity, log_efficiency = turbine.map(self.speed, expansion)
        log_capacity = log_capacity + log_expansion + log(area) + turbine.log_area
        self.residual = log(W * sqrt(R * T) / p) - log_critical_flow(gamma) - log_capacity
        self.efficiency = exp(log_efficiency) * efficiency * turbine.efficiency
        self.pressure_ratio = exp(log_ratio)
        ideal = gas.temperature_from_entropy(gas.entropy_function(T, far, war) - R * log_ratio, far, war)
        self.work = (h - gas.enthalpy(ideal, far, war)) * self.efficiency


def log_critical_flow(gamma: Number) -> Number:
    """Logarithm of the choked flow function W sqrt(R T) / (A p).

    Parameters
    ----------
    gamma : Number
        Ratio of specific heats [-].

    Returns
    -------
    Number
        ln( sqrt(gamma) (2 / (gamma + 1))^((gamma + 1) / (2 (gamma - 1))) ) [-].
    """
    above = gamma + 1.0
    return log(gamma) * 0.5 - log(above * 0.5) * (above / (gamma - 1.0)) * 0.5


def gear_losses(model: EngineModel, condition: Condition, factors: ConditionFactors) -> tuple[Number, Number]:
    """Drag of the reduction gear and its loss in proportion to power.

    Parameters
    ----------
    model : EngineModel
        The engine [-].
    condition, factors : Condition, ConditionFactors
        Where the engine runs and in what state it is [-].

    Returns
    -------
    drag : Number
        Loss that does not depend on power [W].
    share : Number
        Loss as a fraction of the power-turbine power [-].
    """
    shafts = model.data.shafts
    speed = condition.output_speed * (shafts.gear_ratio / model.data.reference.power_turbine_speed)
    return speed * speed * factors.gear_loss * shafts.gear_drag, factors.gear_loss * shafts.gear_loss


def _vane_deviation(model: EngineModel, corrected_speed: Number, factors: ConditionFactors) -> Number:
    """Angle by which the vanes stand more closed than where the map holds [deg]."""
    if not model.vanes_off_map:
        return factors.vane_offset
    scheduled = model.vane_schedule(corrected_speed)[0] - model.vane_map_angle(corrected_speed)[0]
    return scheduled + factors.vane_offset


def _ramp(u: Number) -> Number:
    """0 below u = 0, 1 above u = 1, between them a step with continuous second derivative."""
    u = where(u < 0.0, 0.0 * u + 0.0, where(u > 1.0, 0.0 * u + 1.0, u))
    return u * u * u * (u * (u * 6.0 - 15.0) + 10.0)
