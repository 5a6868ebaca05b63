"""The whole model, every effect on, against Cantera's gas properties and SciPy's root finder.

Cantera evaluates the published nine-coefficient cards (nasa_glenn.py), SciPy's `root` solves on plain
floats from the reference point: gas properties, combustion, inversions, Jacobian, iteration and starting
guess are all others.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import nasa_glenn
import numpy as np
import pytest
from cantera_gas import CanteraGas, root_with, with_gas
from cycle_cases import model, random_cases

from spoolwright.core.cycle.cases import subset
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.solve import solve

COUNT = 40
OUTPUTS = ("fuel_flow", "measured_gas_temperature", "gas_generator_speed", "p3", "T3", "T4", "T5", "air_flow")


@cache
def cases() -> Any:
    """Inlet above 200 K; fuel at 298.15 K, to which Cantera's reference ties the heating value."""
    condition, factors, power = random_cases(COUNT, seed=11)
    object.__setattr__(condition, "fuel_temperature", 298.15)
    return condition, factors, power


@cache
def batch() -> Any:
    condition, factors, power = cases()
    return solve(model(), condition, factors, set_by="power", target=power)


@cache
def cantera_model() -> EngineModel:
    return with_gas(model(), CanteraGas(nasa_glenn.solution(nasa_glenn.COMPLETE)))


def one(i: int) -> tuple[Any, Any, float]:
    condition, factors, power = cases()
    return _floats(subset(condition, i)), _floats(subset(factors, i)), float(power[i])


def _floats(record: Any) -> Any:
    return type(record)(**{name: float(x) for name, x in vars(record).items()})


@pytest.mark.parametrize("i", range(8))
def test_full_model_with_cantera_and_root(i: int) -> None:
    """1e-7: the gas properties agree to 1e-8 in cp, and the outputs are of the same condition."""
    condition, factors, power = one(i)
    path = root_with(cantera_model(), condition, factors, "power", power)
    for name in OUTPUTS:
        assert batch().values[name][i] == pytest.approx(getattr(path, name), rel=1e-7), name


@pytest.mark.parametrize("i", range(COUNT))
def test_scipy_finds_the_same_point(i: int) -> None:
    """1e-9: both stop at residuals below 1e-11."""
    condition, factors, power = one(i)
    path = root_with(model(), condition, factors, "power", power)
    for name in OUTPUTS:
        assert batch().values[name][i] == pytest.approx(getattr(path, name), rel=1e-9), name


def test_all_cases_are_solved() -> None:
    assert np.all(batch().solved)
