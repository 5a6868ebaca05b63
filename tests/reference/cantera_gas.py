"""Cantera in the place of the package's gas properties, on plain floats; a cycle solved with it by SciPy."""

from __future__ import annotations

from typing import Any

import cantera as ct
import nasa_glenn
import numpy as np
from scipy.optimize import root

from spoolwright.core.cycle.condition import Condition, ConditionFactors
from spoolwright.core.cycle.gaspath import GasPath
from spoolwright.core.cycle.model import EngineModel, Inlet
from spoolwright.core.cycle.setting import SetBy, setting_residual

COLD, PRESSURE = 298.15, 1e5


class CanteraGas:
    """What the gas path asks of a mixture, answered by Cantera."""

    def __init__(self, solution: ct.Solution, x: float = 1.9) -> None:
        self.gas = solution
        weight = np.array(solution.molecular_weights) / 1000.0
        names = solution.species_names

        def masses(far: float, war: float) -> np.ndarray:
            moles = nasa_glenn.burnt(solution, far, war, x)
            return np.array([moles.get(n, 0.0) for n in names]) * weight

        self.air = masses(0.0, 0.0)
        self.per_fuel = masses(1.0, 0.0) - self.air  # negative oxygen: what burning takes up
        self.per_water = masses(0.0, 1.0) - self.air

    def at(self, T: float, far: float, war: float) -> ct.Solution:
        mass = self.air + far * self.per_fuel + war * self.per_water
        self.gas.TPY = T, PRESSURE, mass / mass.sum()
        return self.gas

    def cp(self, T: float, far: float = 0.0, war: float = 0.0) -> float:
        return float(self.at(T, far, war).cp_mass)

    def gas_constant(self, far: float = 0.0, war: float = 0.0) -> float:
        return float(ct.gas_constant / self.at(COLD, far, war).mean_molecular_weight)

    def gamma(self, T: float, far: float = 0.0, war: float = 0.0) -> float:
        gas = self.at(T, far, war)
        return float(gas.cp_mass / gas.cv_mass)

    def enthalpy(self, T: float, far: float = 0.0, war: float = 0.0) -> float:
        return float(self.at(T, far, war).enthalpy_mass - self.at(COLD, far, war).enthalpy_mass)

    def entropy_function(self, T: float, far: float = 0.0, war: float = 0.0) -> float:
        return float(self.at(T, far, war).entropy_mass - self.at(COLD, far, war).entropy_mass)

    def enthalpy_and_entropy(self, T: float, far: float = 0.0, war: float = 0.0) -> tuple[float, float]:
        return self.enthalpy(T, far, war), self.entropy_function(T, far, war)

    def temperature_from_enthalpy(self, h: float, far: float, war: float) -> float:
        self.gas.HP = h + self.at(COLD, far, war).enthalpy_mass, PRESSURE
        return float(self.gas.T)

    def temperature_from_entropy(self, phi: float, far: float, war: float) -> float:
        self.gas.SP = phi + self.at(COLD, far, war).entropy_mass, PRESSURE
        return float(self.gas.T)

    def fuel_air_ratio(
        self, T3: float, T4: float, war: float, efficiency: float, lhv: float, fuel_temperature: float
    ) -> float:
        """From absolute enthalpies, with fuel whose heating value at 298.15 K is exact."""
        assert fuel_temperature == COLD

        def surplus(far: float) -> float:
            supplied = self.at(T3, 0.0, war).enthalpy_mass * (1.0 + war)
            cold_air = self.at(COLD, 0.0, war).enthalpy_mass * (1.0 + war)
            cold_products = self.at(COLD, far, war).enthalpy_mass * (1.0 + far + war)
            fuel = cold_products + far * lhv * efficiency - cold_air
            return float(supplied + fuel - self.at(T4, far, war).enthalpy_mass * (1.0 + far + war))

        low, high = surplus(0.0), surplus(0.03)  # exactly linear in between
        return 0.03 * low / (low - high)


def with_gas(model: EngineModel, gas: CanteraGas) -> EngineModel:
    """The same engine on Cantera's gas properties."""
    other = model.with_scales(model.data)
    other.gas = gas
    return other.with_scales(model.data)  # reference constants anew, from Cantera


def root_with(
    model: EngineModel,
    condition: Condition,
    factors: ConditionFactors,
    set_by: SetBy,
    target: float,
    start: Any = (0.0,) * 5,
) -> GasPath:
    """The operating point by scipy.optimize.root on plain floats."""
    inlet = Inlet(model, condition)

    def equations(x: Any) -> list[float]:
        path = GasPath(model, inlet, [float(v) for v in x], condition, factors)
        return [*path.residuals, setting_residual(model, path, condition, factors, set_by, target)]

    found = root(equations, np.asarray(start, dtype=float), tol=1e-11)
    assert np.max(np.abs(found.fun)) < 1e-8, found.message
    return GasPath(model, inlet, [float(v) for v in found.x], condition, factors)
