"""What every channel should read at a level, from the cycle model and the laws that tie channels together.

The state of a level is what the readings have in common: speed, air, losses, load speed. From it each role's
reading follows, and its derivatives with the state and with the condition factors of the modules.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from spoolwright.core.cycle.condition import Condition, ConditionFactors
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.sensitivity import sensitivities
from spoolwright.core.cycle.solve import solve
from spoolwright.core.gas.fuel import density_at
from spoolwright.core.gas.saturation import saturation_pressure
from spoolwright.core.reduction.doubt.priors import FACTORS
from spoolwright.core.reduction.doubt.signs import BoolArray, FloatArray
from spoolwright.core.reduction.inputs import Known

STATES = (
    "speed", "temperature", "pressure", "recirculation", "inlet", "exhaust", "output_speed", "humidity",
    "fuel",
)  # fmt: skip
"""ln of gas generator speed [rpm]; ambient temperature [K]; ln of ambient pressure [Pa]; inlet less ambient
temperature [K]; ln of inlet over ambient pressure; ln of exhaust over ambient pressure; ln of the speed that
the power turbine channel reads [rpm]; humidity ratio [kg/kg]; fuel less ambient temperature [K]."""

_RAD = math.pi / 30.0
_VAPOUR = 0.621945
_OUTPUTS = {
    "measured_gas_temperature": "measured_gas_temperature", "probe": "measured_gas_temperature",
    "compressor_discharge_temperature": "T3", "compressor_discharge_pressure": "p3",
    "interturbine_pressure": "p45", "exhaust_temperature": "T5", "vane_angle": "vane_angle",
    "torque": "power", "dynamometer_torque": "power", "fuel_mass_flow": "fuel_flow",
    "fuel_volume_flow": "fuel_flow",
}  # fmt: skip
_CELL_FACTOR = {
    "measured_gas_temperature": "measured_gas_temperature", "torque": "power", "dynamometer_torque": "power",
    "fuel_mass_flow": "fuel_flow", "fuel_volume_flow": "fuel_flow",
    "gas_generator_speed": "gas_generator_speed",
}  # fmt: skip
_AIR = ("ambient_temperature", "ambient_pressure", "inlet_temperature", "inlet_pressure", "exhaust_pressure")
ROLES = (
    *_AIR,
    "relative_humidity",
    "fuel_temperature",
    "gas_generator_speed",
    "power_turbine_speed",
    *_OUTPUTS,
)
"""Roles that can be predicted; `probe` is a single probe of the gas temperature's harness."""
_HOT = {
    "inlet_temperature", "ambient_temperature", "measured_gas_temperature", "probe", "exhaust_temperature",
    "compressor_discharge_temperature",
}  # fmt: skip
_AT_AMBIENT = {
    "ambient_pressure", "inlet_pressure", "exhaust_pressure", "compressor_discharge_pressure",
    "interturbine_pressure",
}  # fmt: skip
_COLDEST_FUEL, _HOTTEST_FUEL = 239.0, 367.0
_AS_EVER = ("ambient_temperature", "ambient_pressure", "relative_humidity", "fuel_temperature")
_EXPANSION = 9.4e-4
"""Relative loss of kerosene's density a kelvin, 0.75 kg/m3 of 800 [1/K]."""
_FALL = -0.065
"""Relative change of relative humidity with temperature at constant water content, about -L/(R T^2) [1/K]."""
_PARAMETERS = (
    "target", "temperature", "pressure", "output_speed", "water_air_ratio", "exhaust_pressure_ratio",
    "lower_heating_value", "fuel_temperature", *FACTORS,
)  # fmt: skip


@dataclass(frozen=True)
class Site:
    """What is known of a run besides its channels.

    Parameters
    ----------
    known : mapping
        Numbers of run sheet and type file: `conformation`, `heating_value`, `density_15c`, `cell factor of
        power`, ... [inner unit].
    speed_ratio : float
        Speed that the power turbine channel reads over output shaft speed [-].
    """

    known: Mapping[str, Known]
    speed_ratio: float

    def number(self, name: str, default: float) -> float:
        """A known number, or its default [inner unit]."""
        return self.known[name].value if name in self.known else default


@dataclass(frozen=True)
class Prediction:
    """Readings at every level and their derivatives.

    Parameters
    ----------
    values : array, shape (roles, levels)
        Predicted readings; NaN where a role cannot be predicted [inner unit].
    by_state : array, shape (roles, states, levels)
        Derivatives with `STATES` [inner unit per unit of the state].
    by_factor : array, shape (roles, factors, levels)
        Derivatives with the condition factors [inner unit per unit of the factor].
    by_heating_value : array, shape (roles, levels)
        Derivative with ln of the heating value [inner unit].
    """

    values: FloatArray
    by_state: FloatArray
    by_factor: FloatArray
    by_heating_value: FloatArray


def predicted(
    model: EngineModel,
    roles: Sequence[str],
    state: FloatArray,
    factors: FloatArray,
    resting: BoolArray,
    site: Site,
) -> Prediction:
    """Readings that a state gives, and how they answer to it.

    Parameters
    ----------
    model : EngineModel
        Model of the type [-].
    roles : sequence of str
        Roles asked for, see `ROLES` [-].
    state : array, shape (states, levels)
        See `STATES` [inner unit].
    factors : array, shape (factors, levels)
        Condition factors, see `priors.FACTORS` [-].
    resting : array of bool, shape (levels,)
        Levels at which the engine stands still: pressures equal the ambient one, temperatures too, the rest
        reads zero [-].
    site : Site
        What the sheet and the type file know [-].

    Returns
    -------
    Prediction
        NaN at a level that the model cannot run [inner unit].
    """
    shape = (len(roles), state.shape[1])
    out = Prediction(
        np.full(shape, np.nan),
        np.zeros((shape[0], len(STATES), shape[1])),
        np.zeros((shape[0], len(FACTORS), shape[1])),
        np.zeros(shape),
    )
    gas = _GasPath(model, state, factors, np.flatnonzero(~resting), site)
    for j, role in enumerate(roles):
        if role in (*_AIR, "relative_humidity", "fuel_temperature"):
            _air(out, j, role, state)
        elif role == "gas_generator_speed":
            _speed(out, j, 0, np.exp(state[0]) / site.number("cell factor of gas_generator_speed", 1.0))
        elif role == "power_turbine_speed":
            _speed(out, j, 6, np.exp(state[6]))
        else:
            gas.put(out, j, role)
        _rest(out, j, role, state, np.flatnonzero(resting))
    return out


def _air(out: Prediction, j: int, role: str, state: FloatArray) -> None:
    """Channels of the air that need no engine."""
    v, d = out.values, out.by_state
    if role == "fuel_temperature":
        v[j], d[j, 1], d[j, 8] = state[1] + state[8], 1.0, 1.0
    elif role in ("ambient_temperature", "inlet_temperature"):
        behind = 1.0 if role == "inlet_temperature" else 0.0
        v[j], d[j, 1], d[j, 3] = state[1] + behind * state[3], 1.0, behind
    elif role == "relative_humidity":
        saturated = np.asarray(saturation_pressure(np.clip(state[1], 200.0, 370.0), "water"), dtype=float)
        w = np.maximum(state[7], 1e-6)
        v[j] = w * np.exp(state[2]) / (_VAPOUR + w) / saturated
        d[j, 1], d[j, 2], d[j, 7] = v[j] * _FALL, v[j], v[j] * (1.0 / w - 1.0 / (_VAPOUR + w))
    else:
        k = {"ambient_pressure": None, "inlet_pressure": 4, "exhaust_pressure": 5}[role]
        v[j] = np.exp(state[2] + (state[k] if k is not None else 0.0))
        d[j, 2] = v[j]
        if k is not None:
            d[j, k] = v[j]


def _speed(out: Prediction, j: int, k: int, value: FloatArray) -> None:
    out.values[j], out.by_state[j, k] = value, value


def _rest(out: Prediction, j: int, role: str, state: FloatArray, still: np.ndarray) -> None:
    """Readings with the engine standing still: the cheapest truth in a recording."""
    if still.size == 0 or role in _AS_EVER:
        return
    out.by_state[j][:, still] = 0.0
    if role in _HOT:
        out.values[j, still], out.by_state[j, 1, still] = state[1, still], 1.0
    elif role in _AT_AMBIENT:
        p = np.exp(state[2, still])
        out.values[j, still], out.by_state[j, 2, still] = p, p
    else:
        out.values[j, still] = np.nan if role == "vane_angle" else 0.0


class _GasPath:
    """The engine solved at the running levels."""

    def __init__(
        self, model: EngineModel, state: FloatArray, factors: FloatArray, running: np.ndarray, site: Site
    ) -> None:
        self.state, self.running, self.site = state, running, site
        if running.size == 0:
            return
        s = state[:, running]
        self.inlet, self.exhaust = np.exp(s[2] + s[4]), np.exp(s[5] - s[4])
        condition = Condition(
            temperature=np.clip(s[1] + s[3], 201.0, 399.0),
            pressure=self.inlet,
            output_speed=np.exp(s[6]) / site.speed_ratio,
            lower_heating_value=np.full(running.size, site.number("heating_value", 43.124e6)),
            fuel_temperature=np.clip(s[1] + s[8], _COLDEST_FUEL, _HOTTEST_FUEL),
            water_air_ratio=np.clip(s[7], 0.0, 0.06),
            exhaust_pressure_ratio=self.exhaust,
        )
        chosen = {name: factors[k, running] for k, name in enumerate(FACTORS)}
        solution = solve(model, condition, ConditionFactors(**chosen), set_by="ng", target=np.exp(s[0]))
        self.solved = np.asarray(solution.solved)
        of = list(dict.fromkeys(_OUTPUTS.values()))
        found = sensitivities(solution, _PARAMETERS, of)
        self.index = {name: i for i, name in enumerate(of)}
        self.value = np.where(self.solved, found.value, np.nan)
        self.slope = np.where(self.solved, found.derivative, 0.0)
        self.heating = site.number("heating_value", 43.124e6)

    def put(self, out: Prediction, j: int, role: str) -> None:
        """Write a role's readings and derivatives."""
        if self.running.size == 0:
            return
        i, at, s = self.index[_OUTPUTS[role]], self.running, self.state[:, self.running]
        times = self._reading_over_output(role, s)
        y, slope = self.value[i] * times, self.slope[i] * times
        by = out.by_state[j]
        out.values[j, at] = y
        by[0, at] = slope[0] * np.exp(s[0])
        by[3, at], by[8, at] = slope[1], slope[7]
        by[1, at] = slope[1] + slope[7]
        by[2, at] = slope[2] * self.inlet
        by[4, at] = slope[2] * self.inlet - slope[5] * self.exhaust
        by[5, at] = slope[5] * self.exhaust
        by[6, at] = slope[3] * np.exp(s[6]) / self.site.speed_ratio
        by[7, at] = slope[4]
        if "torque" in role:
            by[6, at] -= np.nan_to_num(y)
        if role == "fuel_volume_flow":
            by[1, at] += np.nan_to_num(y) * _EXPANSION
            by[8, at] += np.nan_to_num(y) * _EXPANSION
        out.by_heating_value[j, at] = slope[6] * self.heating
        out.by_factor[j][:, at] = slope[8:]

    def _reading_over_output(self, role: str, s: FloatArray) -> FloatArray:
        """What the channel reads for a unit of the model's output."""
        site = self.site
        times = np.full(self.running.size, 1.0)
        if role in _CELL_FACTOR:
            times /= site.number(f"cell factor of {_CELL_FACTOR[role]}", 1.0)
        if "torque" in role:
            times /= np.exp(s[6]) * _RAD
        if role == "torque":
            times /= site.number("conformation", 1.0)
        if role == "fuel_volume_flow":
            temperature = np.clip(s[1] + s[8], _COLDEST_FUEL, _HOTTEST_FUEL)
            times /= np.asarray(density_at(site.number("density_15c", 800.0), temperature))
        return times
