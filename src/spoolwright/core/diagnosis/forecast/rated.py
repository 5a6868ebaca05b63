"""Rated quantities of many engines by the cycle model: values, and derivatives with every condition
factor."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from spoolwright.core.cycle.condition import Condition
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.sensitivity import sensitivities
from spoolwright.core.cycle.setting import SetBy
from spoolwright.core.cycle.solution import Solution
from spoolwright.core.cycle.solve import solve
from spoolwright.core.diagnosis.forecast.build import FACTORS, factors_of
from spoolwright.core.diagnosis.forecast.rules import ADDED
from spoolwright.core.numerics import FloatArray

QUANTITIES: Final[dict[str, tuple[SetBy, str]]] = {
    "power_at_rated_mgt": ("mgt", "power"),
    "mgt_at_rated_power": ("power", "measured_gas_temperature"),
    "ng_at_rated_power": ("power", "gas_generator_speed"),
    "sfc_at_rated_power": ("power", "specific_fuel_consumption"),
}
"""Rated quantities: what is set, and which output is read."""
LEVELS: Final = ("model_power", "model_power_slope", "model_speed", "model_fuel")
"""Rules of the model's own errors, in the order of `Rated.levels`."""


@dataclass(frozen=True)
class Rated:
    """A quantity at a rating.

    Parameters
    ----------
    rating : str
        Name of the rating [-].
    quantity : str
        One of `QUANTITIES` [-].
    condition : Condition
        Reference condition at the rating, floats [-].
    target : float
        Rated MGT or rated power, whichever the quantity is set by [K, W].
    levels : tuple of float
        Change of ln(value) for each unit of the model's errors, in the order of `LEVELS` [-].
    average : float
        Change of ln(value) of the average good build against the model, as a calibration found it [-].
    """

    rating: str
    quantity: str
    condition: Condition
    target: float
    levels: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0)
    average: float = 0.0


def rated_values(model: EngineModel, asked: Sequence[Rated], change: FloatArray) -> FloatArray:
    """Rated quantities of engines in given condition.

    Parameters
    ----------
    model : EngineModel
        Model of the type [-].
    asked : sequence of M Rated
        Quantities at ratings [-].
    change : array, shape (F, N)
        Change of every condition factor, see `build.FACTORS` [-, deg].

    Returns
    -------
    array, shape (M, N)
        Values; NaN where an engine does not reach the rating [inner unit].
    """
    found: dict[tuple[object, ...], Solution] = {}
    out = np.empty((len(asked), change.shape[1]))
    for m, a in enumerate(asked):
        s = _solved(found, model, a, change)
        read = np.asarray(getattr(s, QUANTITIES[a.quantity][1]), dtype=float)
        out[m] = np.where(np.asarray(s.solved), read * math.exp(a.average), np.nan)
    return out


def rated_slopes(
    model: EngineModel, asked: Sequence[Rated], change: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Rated quantities and how they answer to the condition.

    Parameters
    ----------
    model : EngineModel
        Model of the type [-].
    asked : sequence of M Rated
        Quantities at ratings [-].
    change : array, shape (F, N)
        Change of every condition factor, see `build.FACTORS` [-, deg].

    Returns
    -------
    value : array, shape (M, N)
        Values; NaN where an engine does not reach the rating [inner unit].
    slope : array, shape (M, F, N)
        Derivatives of ln(value) with each change [-, 1/deg].
    """
    found: dict[tuple[object, ...], Solution] = {}
    value = np.empty((len(asked), change.shape[1]))
    slope = np.empty((len(asked), len(FACTORS), change.shape[1]))
    for m, a in enumerate(asked):
        s = _solved(found, model, a, change)
        one = np.ones(change.shape[1])
        times = np.array([one if n in ADDED else getattr(s.factors, n) * one for n in FACTORS])
        by = sensitivities(s, FACTORS, [QUANTITIES[a.quantity][1]])
        value[m] = np.where(np.asarray(s.solved), by.value[0] * math.exp(a.average), np.nan)
        slope[m] = by.derivative[0] * times / by.value[0]
    return value, slope


def _solved(
    found: dict[tuple[object, ...], Solution], model: EngineModel, a: Rated, change: FloatArray
) -> Solution:
    set_by = QUANTITIES[a.quantity][0]
    key = (set_by, a.target, a.condition)
    if key not in found:
        target = np.full(change.shape[1], a.target)
        found[key] = solve(model, a.condition, factors_of(change), set_by=set_by, target=target)
    return found[key]


def level_loadings(
    model: EngineModel, quantity: str, condition: Condition, target: float, setting: float
) -> tuple[float, ...]:
    """How the model's own errors move a rated quantity.

    Parameters
    ----------
    model : EngineModel
        Model of the type [-].
    quantity : str
        One of `QUANTITIES` [-].
    condition : Condition
        Reference condition at the rating [-].
    target : float
        Rated MGT or power [K, W].
    setting : float
        ln of the rated MGT over that of the data sheet's rating [-].

    Returns
    -------
    tuple of float
        Change of ln(value) for each unit of the errors in the order of `LEVELS` [-].

    Notes
    -----
    More power at the same MGT means a lower MGT at the same power: by the slope of the model's own
    operating line.
    """
    if quantity == "power_at_rated_mgt":
        return 1.0, setting, 0.0, 0.0
    if quantity == "ng_at_rated_power":
        return 0.0, 0.0, 1.0, 0.0
    if quantity == "sfc_at_rated_power":
        return 0.0, 0.0, 0.0, 1.0
    found = solve(model, condition, set_by="power", target=target * np.exp([-0.005, 0.005]))
    low, high = np.log(np.asarray(found.measured_gas_temperature))
    slope = float(high - low) / 0.01
    return -slope, -slope * setting, 0.0, 0.0
