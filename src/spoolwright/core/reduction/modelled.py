"""The cycle model at the conditions of a run's points, with its dependence on every measured condition."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.cycle.condition import Condition
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.sensitivity import sensitivities
from spoolwright.core.cycle.solve import solve
from spoolwright.core.numerics import Dual, Number, chain, value
from spoolwright.core.reduction.baseline import QUANTITIES
from spoolwright.core.reduction.model_method import ReferenceCurve

_FIELDS = (
    "temperature",
    "pressure",
    "output_speed",
    "lower_heating_value",
    "water_air_ratio",
    "exhaust_pressure_ratio",
)
_GRID = 81
_COLDER, _HOTTER = 0.82, 1.08
"""The reference curve reaches from this share of the coldest to that of the hottest rated MGT."""


@dataclass(frozen=True)
class ModelPoints:
    """What the model is given at n points.

    Parameters
    ----------
    gas_temperature : float, array or Dual
        MGT [K].
    temperature, pressure : float, array or Dual
        Total temperature and pressure at the engine inlet [K, Pa].
    output_speed : float, array or Dual
        Output shaft speed [rpm].
    lower_heating_value : float, array or Dual
        Of the fuel burnt [J/kg].
    water_air_ratio : float, array or Dual
        Humidity ratio [kg/kg].
    exhaust_pressure_ratio : float, array or Dual
        Static pressure at the exhaust exit over inlet total pressure [-].
    fuel_temperature : float or array
        At the injectors [K].
    """

    gas_temperature: Number
    temperature: Number
    pressure: Number
    output_speed: Number
    lower_heating_value: Number
    water_air_ratio: Number
    exhaust_pressure_ratio: Number
    fuel_temperature: Number


@dataclass(frozen=True)
class Modelled:
    """The model at n points.

    Parameters
    ----------
    logs : dict
        Quantity to ln of its value, a Dual where the points were [-].
    solved : array of bool, shape (n,)
        Whether the model runs there [-].
    lost : dict
        Index of every point where it does not, with the reason in words [-].
    """

    logs: dict[str, Number]
    solved: NDArray[np.bool_]
    lost: dict[int, str]


def modelled(model: EngineModel, points: ModelPoints) -> Modelled:
    """The type's model, healthy, at the conditions and the measured gas temperature of points.

    Parameters
    ----------
    model : EngineModel
        Model of the type [-].
    points : ModelPoints
        Conditions; duals carry their errors through [-].

    Returns
    -------
    Modelled
        Logarithms of power [W], gas generator speed [rpm] and fuel flow [kg/s]; NaN where not solved [-].

    Notes
    -----
    Derivatives by the implicit function theorem at the solution: one evaluation with the unknowns and the
    inputs as independent directions.
    """
    inputs = [points.gas_temperature, *(getattr(points, f) for f in _FIELDS)]
    size = max(np.size(value(v)) for v in inputs)
    flat = np.array([np.broadcast_to(np.asarray(value(v), dtype=float), (size,)) for v in inputs])
    fuel = np.broadcast_to(np.asarray(points.fuel_temperature, dtype=float), (size,))
    condition = Condition(**dict(zip(_FIELDS, flat[1:], strict=True)), fuel_temperature=fuel)
    solution = solve(model, condition, set_by="mgt", target=flat[0])
    solved = np.asarray(solution.solved)
    logs: dict[str, Number] = {}
    with np.errstate(invalid="ignore", divide="ignore"):
        for q in QUANTITIES:
            logs[q] = np.where(solved, np.log(np.asarray(getattr(solution, q), dtype=float)), np.nan)
    if any(isinstance(v, Dual) for v in inputs):
        slopes = sensitivities(solution, ("target", *_FIELDS), QUANTITIES).relative()
        logs = {q: chain(logs[q], *zip(slopes[n], inputs, strict=True)) for n, q in enumerate(QUANTITIES)}
    lost = {int(i): solution.sentence(int(i)) for i in np.flatnonzero(~solved)}
    return Modelled(logs, solved, lost)


def reference_curve(
    model: EngineModel, reference: Condition, rated_gas_temperature: float, low: float, high: float
) -> ReferenceCurve:
    """The model at the reference condition over measured gas temperature.

    Parameters
    ----------
    model : EngineModel
        Model of the type [-].
    reference : Condition
        Reference condition, floats [-].
    rated_gas_temperature : float
        MGT at which the setting s is 0 [K].
    low, high : float
        Coldest and hottest rated MGT at which performance is guaranteed [K].

    Returns
    -------
    ReferenceCurve
        Only where the model runs; reaches a little beyond the range [-].
    """
    grid = np.linspace(low * _COLDER, high * _HOTTER, _GRID)
    found = solve(model, reference, set_by="mgt", target=grid)
    with np.errstate(invalid="ignore", divide="ignore"):
        logs = {q: np.log(np.asarray(getattr(found, q), dtype=float)) for q in QUANTITIES}
    keep = np.asarray(found.solved) & np.isfinite(logs["power"])
    return ReferenceCurve(
        grid[keep], {q: y[keep] for q, y in logs.items()}, reference.temperature, rated_gas_temperature
    )
