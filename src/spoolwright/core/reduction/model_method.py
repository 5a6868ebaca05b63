"""Correction by the cycle model: what this engine does against the model at today's conditions, carried over
to the model at the reference condition. Advisory: it never governs a verdict.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.measurement.channel import ErrorSource, FloatArray
from spoolwright.core.numerics import Dual
from spoolwright.core.reduction.baseline import FEATURES, ModelBaseline, Shape, shape_features
from spoolwright.core.reduction.estimate import SCATTER, ErrorBasis, Estimate
from spoolwright.core.reduction.shape_learning import ShapeRun

_P = len(FEATURES)
_TERMS = (
    [(f"model shape, {name}", "model shape") for name in FEATURES]
    + [("engine's own slope with setting", "model shape of single engines")]
    + [("engine's own slope with temperature", "model shape of single engines")]
)


@dataclass(frozen=True)
class ReferenceCurve:
    """The model of the type at the reference condition over measured gas temperature.

    Parameters
    ----------
    gas_temperature : array, shape (m,)
        Rising MGT [K].
    logs : dict of array, shape (m,)
        Quantity to ln of its value [-].
    temperature : float
        Reference inlet total temperature [K].
    rated_gas_temperature : float
        MGT at which the setting s is 0 [K].
    """

    gas_temperature: FloatArray
    logs: dict[str, FloatArray]
    temperature: float
    rated_gas_temperature: float

    def setting(self, gas_temperature: Any, temperature: Any) -> Any:
        """s: ln of (MGT / inlet temperature) over its value at the reference rating.

        Parameters
        ----------
        gas_temperature : float or array
            MGT [K].
        temperature : float or array
            Inlet total temperature [K].

        Returns
        -------
        float or array
            Setting [-].
        """
        return np.log(gas_temperature / temperature * self.temperature / self.rated_gas_temperature)

    def log_at(self, quantity: str, gas_temperature: float) -> tuple[float, float]:
        """The model at the reference condition.

        Parameters
        ----------
        quantity : str
            "power", "gas_generator_speed" or "fuel_flow" [-].
        gas_temperature : float
            MGT; NaN results outside the curve [K].

        Returns
        -------
        value : float
            ln of the quantity [-].
        slope : float
            Its derivative with MGT [1/K].
        """
        spline = self._splines[quantity]
        return float(spline(gas_temperature)), float(spline(gas_temperature, 1))

    @cached_property
    def _splines(self) -> dict[str, Any]:
        from scipy.interpolate import CubicSpline

        return {q: CubicSpline(self.gas_temperature, y, extrapolate=False) for q, y in self.logs.items()}


def model_errors(points: int, runs: int, quantities: Sequence[str]) -> list[tuple[ErrorSource, str]]:
    """The errors that the model method adds to a basis, in the order that `ModelMethod` expects.

    Parameters
    ----------
    points, runs : int
        Number of points and of runs they come from [-].
    quantities : sequence of str
        Quantities compared with the model [-].

    Returns
    -------
    list of (ErrorSource, str)
        For `point_inputs(extra=...)` [-].
    """
    added = []
    for q in quantities:
        added += [(ErrorSource(f"{name}, {q}"), cause) for name, cause in _TERMS]
        for what in ("level", "slope"):
            added += [
                (ErrorSource(f"{what} of run {j + 1} beyond instruments, {q}"), "run to run")
                for j in range(runs)
            ]
        added += [
            (ErrorSource(f"point {i + 1} beyond its stated scatter, {q}"), SCATTER) for i in range(points)
        ]
    return added


@dataclass(frozen=True)
class ModelMethod:
    """The points of one block against the model.

    Parameters
    ----------
    baseline : ModelBaseline
        Shape corrections of the type [-].
    reference : ReferenceCurve
        The model at the reference condition [-].
    log_ratio : dict of Dual, n points
        Quantity to ln(observed / modelled), with the instruments' contributions, shape (k, n) [-].
    features : array, shape (n, p)
        Terms of the shape at the points [-].
    run_index : array of int, shape (n,)
        Which run each point belongs to, from 0 [-].
    basis : ErrorBasis
        Errors; the last ones are those of `model_errors` [-].
    """

    baseline: ModelBaseline
    reference: ReferenceCurve
    log_ratio: dict[str, Dual]
    features: FloatArray
    run_index: NDArray[np.int_]
    basis: ErrorBasis

    def log_ratio_at(self, quantity: str, setting: float) -> tuple[float, FloatArray]:
        """ln(this engine / model) at the reference condition.

        Parameters
        ----------
        quantity : str
            Which quantity [-].
        setting : float
            s [-].

        Returns
        -------
        value : float
            Best estimate [-].
        contributions : array, shape (k,)
            What every error of the basis gives to it [-].

        Notes
        -----
        Best linear unbiased prediction with a free level of the engine: no prior on its condition is used.
        Weights rest on scatter and on the spreads of the shape alone; systematic errors are carried through
        them. Otherwise the points' slope would be taken to tell the error of the thermometers, which the
        engine's own condition bends as well.

        References
        ----------
        Cressie, Statistics for Spatial Data (Wiley 1993), 3.2 (prediction with unknown level).
        """
        return self.log_ratio_under(quantity, _at_reference(setting))

    def log_ratio_under(self, quantity: str, target: FloatArray) -> tuple[float, FloatArray]:
        """ln(this engine / model) under any condition near those of the points.

        Parameters
        ----------
        quantity : str
            Which quantity [-].
        target : array, shape (p,)
            Terms of the shape there, see `shape_features` [-].

        Returns
        -------
        value : float
            Best estimate [-].
        contributions : array, shape (k,)
            What every error of the basis gives to it [-].
        """
        weights = self._weights(quantity, self.baseline.shapes[quantity], target)
        return self._predicted(quantity, target, weights)

    def _predicted(self, quantity: str, target: FloatArray, weights: FloatArray) -> tuple[float, FloatArray]:
        shape, ratio = self.baseline.shapes[quantity], self.log_ratio[quantity]
        value = float(target @ shape.coefficients + weights @ (ratio.v - self.features @ shape.coefficients))
        return value, self._contributions(quantity, target, weights)

    def _weights(self, quantity: str, shape: Shape, target: FloatArray) -> FloatArray:
        x, spread = self.features, shape.spread
        s, t = x[:, FEATURES.index("s")], x[:, FEATURES.index("ln theta")]
        errors = self.log_ratio[quantity].d * self.basis.random[:, None]
        x_root = x @ shape.root
        same_run = self.run_index[:, None] == self.run_index
        covariance = (
            errors.T @ errors
            + x_root @ x_root.T
            + (spread.setting**2 + spread.run_setting**2 * same_run) * np.outer(s, s)
            + spread.theta**2 * np.outer(t, t)
            + spread.run**2 * same_run
            + spread.point**2 * np.eye(s.size)
        )
        with_target = x_root @ (shape.root.T @ target) + spread.setting**2 * s * target[FEATURES.index("s")]
        ones = np.ones(s.size)
        solved = np.linalg.solve(covariance, np.stack([with_target, ones], axis=1))
        free = (1.0 - ones @ solved[:, 0]) / (ones @ solved[:, 1])
        weights: FloatArray = solved[:, 0] + free * solved[:, 1]
        return weights

    def _contributions(self, quantity: str, target: FloatArray, weights: FloatArray) -> FloatArray:
        """Error of the prediction: what is predicted less what is true, along every error of the basis."""
        shape = self.baseline.shapes[quantity]
        spread = shape.spread
        apart = target - weights @ self.features
        own = [spread.setting * apart[FEATURES.index("s")], spread.theta * apart[FEATURES.index("ln theta")]]
        by_run = (self.run_index == np.arange(self._runs)[:, None]) * weights
        added = np.concatenate(
            [
                shape.root.T @ apart,
                np.negative(own),
                spread.run * by_run.sum(axis=1),
                spread.run_setting * (by_run @ self.features[:, FEATURES.index("s")]),
                spread.point * weights,
            ]
        )
        out = self.log_ratio[quantity].d @ weights
        start = self._start(quantity, added.size)
        out[start : start + added.size] += added
        return np.asarray(out)

    def _start(self, quantity: str, size: int) -> int:
        names = list(self.log_ratio)
        return self.basis.size - size * (len(names) - names.index(quantity))

    def value_at(self, quantity: str, gas_temperature: float) -> Estimate:
        """A quantity at the reference condition at a measured gas temperature.

        Parameters
        ----------
        quantity : str
            Which quantity [-].
        gas_temperature : float
            MGT, taken as exact [K].

        Returns
        -------
        Estimate
            Value with contributions [inner unit].
        """
        ratio, contributions = self.log_ratio_at(quantity, self._setting(gas_temperature))
        value = float(np.exp(self.reference.log_at(quantity, gas_temperature)[0] + ratio))
        return Estimate(value, contributions * value, self.basis)

    def gas_temperature_at(self, power: float) -> Estimate:
        """Measured gas temperature at which the engine gives a power at the reference condition.

        Parameters
        ----------
        power : float
            Shaft power, taken as exact [W].

        Returns
        -------
        Estimate
            MGT with contributions; NaN where the model's curve does not reach the power [K].
        """
        from scipy.optimize import brentq

        def excess(mgt: float) -> float:
            ratio = self.log_ratio_at("power", self._setting(mgt))[0]
            return self.reference.log_at("power", mgt)[0] + ratio - math.log(power)

        low, high = float(self.reference.gas_temperature[0]), float(self.reference.gas_temperature[-1])
        if excess(low) > 0.0 or excess(high) < 0.0:
            return Estimate(float("nan"), np.zeros(self.basis.size), self.basis)
        mgt = float(brentq(excess, low, high, xtol=1e-6))
        slope = (excess(mgt + 0.5) - excess(mgt - 0.5)) / 1.0
        contributions = self.log_ratio_at("power", self._setting(mgt))[1]
        return Estimate(mgt, -contributions / slope, self.basis)

    def value_at_power(self, quantity: str, power: float) -> Estimate:
        """A quantity at the reference condition at a power.

        Parameters
        ----------
        quantity : str
            "gas_generator_speed" or "fuel_flow" [-].
        power : float
            Shaft power, taken as exact [W].

        Returns
        -------
        Estimate
            Value with contributions [inner unit].
        """
        mgt = self.gas_temperature_at(power)
        if not np.isfinite(mgt.value):
            return mgt
        ratio, contributions = self.log_ratio_at(quantity, self._setting(mgt.value))
        log, slope = self.reference.log_at(quantity, mgt.value)
        value = float(np.exp(log + ratio))
        return Estimate(value, value * (contributions + slope * mgt.contributions), self.basis)

    def _setting(self, gas_temperature: float) -> float:
        return float(self.reference.setting(gas_temperature, self.reference.temperature))

    def point_value(self, quantity: str, i: int, gas_temperature: float) -> Estimate:
        """One point alone carried to the reference condition.

        Parameters
        ----------
        quantity : str
            Which quantity [-].
        i : int
            Which point [-].
        gas_temperature : float
            MGT at the reference condition to carry it to [K].

        Returns
        -------
        Estimate
            Value with contributions [inner unit].
        """
        weights = np.zeros(self.run_index.size)
        weights[i] = 1.0
        ratio, contributions = self._predicted(
            quantity, _at_reference(self._setting(gas_temperature)), weights
        )
        value = float(np.exp(self.reference.log_at(quantity, gas_temperature)[0] + ratio))
        return Estimate(value, contributions * value, self.basis)

    @property
    def _runs(self) -> int:
        return int(self.run_index.max()) + 1


def _at_reference(setting: float) -> FloatArray:
    zero = np.array(0.0)
    return shape_features(np.array(setting), zero, zero, zero)


def shape_run(engine: str, method: ModelMethod) -> ShapeRun:
    """A reduced run as one to learn the type's shape from.

    Parameters
    ----------
    engine : str
        Which engine in which state [-].
    method : ModelMethod
        The run's points against the model [-].

    Returns
    -------
    ShapeRun
        For `calibrate_shape` [-].
    """
    random = method.basis.random
    scatter, level = {}, {}
    for q, ratio in method.log_ratio.items():
        scatter[q] = np.sqrt(random @ ratio.d**2)
        level[q] = float(np.sqrt(np.sum(((1.0 - random) * ratio.d.mean(axis=1)) ** 2)))
    values = {q: np.asarray(r.v) for q, r in method.log_ratio.items()}
    return ShapeRun(engine, method.features, values, scatter, level)
