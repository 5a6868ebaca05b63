"""Engine data made ready for computing: maps as splines of logarithms, reference constants worked out."""

from __future__ import annotations

import math
from copy import copy
from typing import Any

import numpy as np

from spoolwright.core.cycle.condition import Condition
from spoolwright.core.cycle.engine import Curve, EngineData, Table, Turbine
from spoolwright.core.gas.mixture import GasMixture
from spoolwright.core.grid import Map, Spline
from spoolwright.core.numerics import Number, exp, log, sqrt
from spoolwright.errors import InputError

_SUTHERLAND = 110.4  # K, air (ISO 2533:1975, equation 14)


class TurbineModel:
    """A turbine's reference constants and map: splines of ln(capacity / expansion) and ln(efficiency)."""

    def __init__(self, data: Turbine, name: str) -> None:
        m = data.map
        per_expansion = np.asarray(m.capacity) / np.asarray(m.expansion)
        self.map = Map(m.speed, m.expansion, [_logs(per_expansion, name), _logs(m.efficiency, name)], name)
        self.take(data)

    def take(self, data: Turbine) -> None:
        """Work out the constants; the map stays."""
        self.log_area = math.log(data.area)
        self.log_ratio = math.log(data.pressure_ratio)
        self.efficiency = data.efficiency
        self.corrected_speed = data.corrected_speed


class EngineModel:
    """An engine ready to be solved; make it once and keep it.

    Parameters
    ----------
    data : EngineData
        The engine [-].

    Raises
    ------
    InputError
        A table does not fit its axes, is not evenly spaced, or holds values that are not positive.
    """

    def __init__(self, data: EngineData) -> None:
        self.gas = GasMixture(data.fuel.hydrogen_to_carbon)
        m = data.compressor.map
        tables = [_logs(t, "compressor map") for t in (m.flow, m.pressure_rise, m.efficiency)]
        self.compressor_map = Map(m.speed, m.loading, tables, "compressor map")
        self.surge_line = Spline(m.surge_flow, [m.surge_pressure_rise], "surge line")
        self.vane_schedule = _spline(data.vanes.schedule, "vane schedule")
        self.vane_map_angle = _spline(data.vanes.map_angle, "vane angle of the map")
        self.vanes_off_map = data.vanes.schedule != data.vanes.map_angle
        self.gas_generator_turbine = TurbineModel(data.gas_generator_turbine, "gas generator turbine map")
        self.power_turbine = TurbineModel(data.power_turbine, "power turbine map")
        self._take(data)

    def _take(self, data: EngineData) -> None:
        """Work out the constants; the maps stay."""
        self.data = data
        r = data.reference
        gamma, gas_constant = self.gas.gamma(r.temperature), self.gas.gas_constant()
        self.sound = math.sqrt(gamma * gas_constant * r.temperature)
        self.flow = data.compressor.air_flow * math.sqrt(gas_constant * r.temperature / gamma) / r.pressure
        self.reynolds = _reynolds(r.pressure, r.temperature, gamma, gas_constant)
        self.gas_generator_turbine.take(data.gas_generator_turbine)
        self.power_turbine.take(data.power_turbine)
        self.inlet_loss = _log_loss(data.ducts.inlet_loss, "inlet loss")
        self.interturbine_loss = _log_loss(data.ducts.interturbine_loss, "interturbine loss")
        self.combustor_loss = _log_loss(data.combustor.pressure_loss, "combustor pressure loss")

    def with_scales(self, data: EngineData) -> EngineModel:
        """The same maps with other reference values.

        Parameters
        ----------
        data : EngineData
            Engine whose maps equal this model's [-].

        Returns
        -------
        EngineModel
            A model that shares the splines [-].
        """
        new = copy(self)
        new.gas_generator_turbine = copy(self.gas_generator_turbine)
        new.power_turbine = copy(self.power_turbine)
        new._take(data)
        return new

    def with_gas(self, gas: GasMixture) -> EngineModel:
        """The same engine on another source of the same gas properties.

        Parameters
        ----------
        gas : GasMixture
            Gas properties [-].

        Returns
        -------
        EngineModel
            A model that shares splines and constants [-].
        """
        new = copy(self)
        new.gas = gas
        return new


class Inlet:
    """What the condition alone determines; worked out once for all iterations."""

    __slots__ = ("enthalpy", "entropy", "flow", "gas_constant", "reynolds_flow", "reynolds_loss", "sound")

    def __init__(self, model: EngineModel, condition: Condition) -> None:
        gas, T, war = model.gas, condition.temperature, condition.water_air_ratio
        self.enthalpy, self.entropy = gas.enthalpy_and_entropy(T, 0.0, war)
        self.gas_constant = gas.gas_constant(0.0, war)
        gamma = gas.gamma(T, 0.0, war)
        self.sound = sqrt(gamma * self.gas_constant * T)
        self.flow = condition.pressure * sqrt(gamma / (self.gas_constant * T))
        c = model.data.compressor
        index = log(_reynolds(condition.pressure, T, gamma, self.gas_constant) / model.reynolds)
        self.reynolds_loss = exp(index * -c.reynolds_loss_exponent)
        self.reynolds_flow = exp(index * c.reynolds_flow_exponent)


def _reynolds(p: Number, T: Number, gamma: Number, gas_constant: Number) -> Number:
    """Reynolds number at a fixed Mach number, up to a constant: p sqrt(gamma / R T) / viscosity."""
    viscosity = T * sqrt(T) / (T + _SUTHERLAND)
    return p * sqrt(gamma / (gas_constant * T)) / viscosity


def _logs(table: Table | Any, name: str) -> Any:
    values = np.asarray(table, dtype=float)
    if not np.all(values > 0.0):
        raise InputError(f"{name}: a value is not positive", mend="Every map value must be above 0.")
    return np.log(values)


def _log_loss(fraction: float, name: str) -> float:
    if not 0.0 <= fraction < 0.5:
        raise InputError(f"{name} is {fraction:g} [-]", mend="Give a fraction from 0 to 0.5.")
    return -math.log1p(-fraction)


def _spline(curve: Curve, name: str) -> Spline:
    return Spline(curve.x, [curve.y], name)
