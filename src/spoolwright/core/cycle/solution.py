"""What a solve returns: every station, the outputs, and a status for each case with a sentence."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.cycle.condition import Condition, ConditionFactors
from spoolwright.core.cycle.gaspath import GasPath
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.setting import SetBy
from spoolwright.core.numerics import FloatArray, Number, value

OUTPUTS: Final = {
    "power": "W",
    "torque": "N m",
    "gas_generator_speed": "rpm",
    "corrected_speed": "-",
    "power_turbine_speed": "rpm",
    "measured_gas_temperature": "K",
    "fuel_flow": "kg/s",
    "specific_fuel_consumption": "kg/J",
    "fuel_air_ratio": "-",
    "air_flow": "kg/s",
    "exhaust_flow": "kg/s",
    "pressure_ratio": "-",
    "surge_margin": "-",
    "loading": "-",
    "handling_bleed": "-",
    "vane_angle": "deg",
    "T2": "K",
    "T3": "K",
    "T4": "K",
    "T41": "K",
    "T45": "K",
    "T5": "K",
    "p2": "Pa",
    "p3": "Pa",
    "p4": "Pa",
    "p45": "Pa",
    "p46": "Pa",
    "p5": "Pa",
    "compressor_efficiency": "-",
    "combustor_efficiency": "-",
    "gas_generator_turbine_efficiency": "-",
    "power_turbine_efficiency": "-",
    "gas_generator_turbine_pressure_ratio": "-",
    "power_turbine_pressure_ratio": "-",
}
"""Every output and its unit. Surge margin: pressure ratio at surge / pressure ratio - 1 at the same flow."""

_SAME_NAME: Final = tuple(k for k in OUTPUTS if k[0] in "Tp" and k[1:].isdigit() and k != "T2")


def outputs(
    model: EngineModel, path: GasPath, condition: Condition, factors: ConditionFactors
) -> dict[str, Number]:
    """All outputs of a gas path by name.

    Parameters
    ----------
    model : EngineModel
        The engine [-].
    path : GasPath
        State of the gas path [-].
    condition, factors : Condition, ConditionFactors
        Where the engine runs and in what state it is [-].

    Returns
    -------
    dict
        Value of every name in `OUTPUTS` [see `OUTPUTS`].
    """
    surge = model.surge_line(path.map_flow)[0] * (model.data.compressor.pressure_ratio - 1.0) + 1.0
    gg, pt = path.gas_generator_turbine, path.power_turbine
    return {
        "power": path.power,
        "torque": path.torque,
        "gas_generator_speed": path.gas_generator_speed,
        "corrected_speed": path.corrected_speed,
        "power_turbine_speed": condition.output_speed * model.data.shafts.gear_ratio,
        "measured_gas_temperature": path.measured_gas_temperature,
        "fuel_flow": path.fuel_flow,
        "specific_fuel_consumption": path.fuel_flow / path.power,
        "fuel_air_ratio": path.fuel_air_ratio,
        "air_flow": path.air_flow,
        "exhaust_flow": path.W45,
        "pressure_ratio": path.pressure_ratio,
        "surge_margin": surge / path.pressure_ratio - 1.0,
        "loading": path.loading,
        "handling_bleed": path.handling_bleed,
        "vane_angle": model.vane_schedule(path.corrected_speed)[0] + factors.vane_offset,
        "T2": condition.temperature,
        **{name: getattr(path, name) for name in _SAME_NAME},
        "compressor_efficiency": path.compressor_efficiency,
        "combustor_efficiency": path.combustor_efficiency,
        "gas_generator_turbine_efficiency": gg.efficiency,
        "power_turbine_efficiency": pt.efficiency,
        "gas_generator_turbine_pressure_ratio": gg.pressure_ratio,
        "power_turbine_pressure_ratio": pt.pressure_ratio,
    }


class Status(IntEnum):
    """How a case ended."""

    SOLVED = 0
    ABOVE_SPEED = 1
    """Infeasible: asks for more than the engine gives at the highest corrected speed of its map."""
    BELOW_SPEED = 2
    """Infeasible: asks for less than the engine gives at the lowest corrected speed of its map."""
    SURGE = 3
    """Infeasible: beyond the surge line."""
    CHOKE = 4
    """Infeasible: beyond the low-pressure end of the compressor map."""
    GAS_RANGE = 5
    """Infeasible: hotter or richer than the gas properties hold."""
    NOT_CONVERGED = 6


_WHY: Final = {
    Status.ABOVE_SPEED: "more than the engine can give: beyond the compressor map's highest corrected speed",
    Status.BELOW_SPEED: "less than the engine can give: below the compressor map's lowest corrected speed",
    Status.SURGE: "the compressor would surge",
    Status.CHOKE: "the compressor would run beyond the low-pressure end of its map",
    Status.GAS_RANGE: "the gas would be hotter than 2200 K, or richer than stoichiometric",
}


def status_of(model: EngineModel, values: dict[str, Number]) -> NDArray[np.intp]:
    """Which bound, if any, a converged case lies beyond.

    Parameters
    ----------
    model : EngineModel
        The engine [-].
    values : dict
        Outputs by name [see `OUTPUTS`].

    Returns
    -------
    array of int
        `Status` of each case [-].
    """
    m = model.data.compressor.map
    n = values["corrected_speed"]
    beyond = [
        (np.logical_not(model.gas.valid(values["T4"], values["fuel_air_ratio"])), Status.GAS_RANGE),
        (values["loading"] < m.loading[0], Status.CHOKE),
        ((values["surge_margin"] < 0.0) | (values["loading"] > m.loading[-1]), Status.SURGE),
        (n < m.speed[0], Status.BELOW_SPEED),
        (n > m.speed[-1], Status.ABOVE_SPEED),
    ]
    out = np.zeros(np.shape(n), dtype=np.intp)
    for where, status in beyond:
        out[...] = np.where(where, int(status), out)
    return out


@dataclass(frozen=True)
class Solution:
    """Solved cases; each output is an attribute (`solution.power`), see `OUTPUTS` for names and units.

    Parameters
    ----------
    model : EngineModel
        The engine [-].
    condition, factors : Condition, ConditionFactors
        As given [-].
    set_by : str
        Which quantity was set [-].
    target : float or array, shape (N,)
        Its value [unit of the quantity].
    x : array, shape (5, N) or (5,)
        Unknowns, see `UNKNOWNS`; a good start for a neighbouring case [-].
    values : dict
        Outputs by name; NaN where a case did not converge [see `OUTPUTS`].
    status : array of int, or int
        `Status` of each case [-].
    iterations : array of int, or int
        Jacobians (batch) or residuals (single case) evaluated [-].
    """

    model: EngineModel
    condition: Condition
    factors: ConditionFactors
    set_by: SetBy
    target: Any
    x: Any
    values: dict[str, Any]
    status: Any
    iterations: Any

    def __getattr__(self, name: str) -> Any:
        try:
            return self.__dict__["values"][name]
        except KeyError:
            raise AttributeError(f"a solution has no {name}; see OUTPUTS for the names") from None

    @property
    def solved(self) -> Any:
        """Whether each case is solved within every bound."""
        return self.status == Status.SOLVED

    def sentence(self, i: int = 0) -> str:
        """What became of case i, in words."""
        status = Status(int(np.ravel(self.status)[i]))
        asked = f"{_NAMES[self.set_by][0]} {_at(self.target, i):.6g} {_NAMES[self.set_by][1]}"
        where = f"at {_at(self.condition.temperature, i):.2f} K, {_at(self.condition.pressure, i):.0f} Pa"
        if status == Status.NOT_CONVERGED:
            return f"Not converged: {asked} {where}; no operating point was found or excluded."
        if status == Status.SOLVED:
            return f"Solved: {asked} {where}."
        return f"Infeasible: {asked} {where}: {_WHY[status]}."


_NAMES: Final = {
    "power": ("output power", "W"),
    "torque": ("output torque", "N m"),
    "ng": ("gas generator speed", "rpm"),
    "mgt": ("MGT", "K"),
    "fuel_flow": ("fuel flow", "kg/s"),
    "turbine_inlet_temperature": ("turbine inlet temperature", "K"),
}


def _at(x: Any, i: int) -> float:
    flat: FloatArray = np.ravel(value(x))
    return float(flat[i if len(flat) > 1 else 0])
