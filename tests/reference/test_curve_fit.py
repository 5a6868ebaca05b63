"""Curves through points against a published example and general libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.optimize
import statsmodels.api as sm

from spoolwright.core.measurement.channel import ErrorSource
from spoolwright.core.numerics import Dual
from spoolwright.core.reduction.curve import fit_curve
from spoolwright.core.reduction.estimate import SCATTER, ErrorBasis

# JCGM 100:2008, H.3, table H.6: thermometer readings and corrections, and the results printed there.
TEMPERATURE = np.array(
    [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
)
CORRECTION = np.array(
    [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
)


def scatter_basis(n: int) -> ErrorBasis:
    return ErrorBasis(tuple(ErrorSource(f"scatter {i}") for i in range(n)), (SCATTER,) * n)


def test_gum_thermometer_line_to_its_printed_digits() -> None:
    n = TEMPERATURE.size
    # A stated scatter far below the true one: the residuals alone then tell it, as in the example.
    y = Dual(CORRECTION, 1e-4 * np.eye(n))
    curve = fit_curve(Dual(TEMPERATURE, np.zeros((n, n))), y, scatter_basis(n), degree=1)
    at_20, at_30 = curve.at(20.0), curve.at(30.0)
    assert at_20.value == pytest.approx(-0.1712, abs=0.00005)
    assert at_20.standard_uncertainty == pytest.approx(0.0029, abs=0.00005)
    slope = (at_30.value - at_20.value) / 10.0
    slope_errors = (at_30.contributions - at_20.contributions) / 10.0
    assert slope == pytest.approx(0.00218, abs=0.000005)
    assert float(np.linalg.norm(slope_errors)) == pytest.approx(0.00067, abs=0.000005)
    correlation = (
        slope_errors @ at_20.contributions / np.linalg.norm(slope_errors) / at_20.standard_uncertainty
    )
    assert correlation == pytest.approx(-0.930, abs=0.0005)
    assert at_30.value == pytest.approx(-0.1494, abs=0.00005)
    assert at_30.standard_uncertainty == pytest.approx(0.0041, abs=0.00005)
    assert at_30.degrees_of_freedom == pytest.approx(9.0)


def test_weights_and_covariance_are_those_of_weighted_least_squares() -> None:
    rng = np.random.default_rng(3)
    n = 9
    x = np.sort(rng.uniform(1.0, 2.0, n))
    u = rng.uniform(0.01, 0.05, n)
    y = 2.0 + 3.0 * x - 0.5 * x**2 + u * rng.standard_normal(n)
    curve = fit_curve(Dual(x, np.zeros((n, n))), Dual(y, np.diag(u)), scatter_basis(n), degree=2)
    t = (x - curve.centre) / curve.half_span
    oracle = sm.WLS(y, np.vander(t, 3, increasing=True), weights=u**-2.0).fit()
    assert curve.coefficients == pytest.approx(oracle.params, rel=1e-7)
    covariance = curve.contributions.T @ curve.contributions / curve.scatter_factor**2
    assert covariance == pytest.approx(oracle.cov_params() / oracle.scale, rel=1e-6)


def test_errors_in_both_coordinates_agree_with_total_least_squares() -> None:
    rng = np.random.default_rng(11)
    n, ux, uy = 12, 0.004, 0.01
    truth = np.linspace(1.0, 2.0, n)
    x = truth + ux * rng.standard_normal(n)
    y = 1.0 + 2.0 * truth + uy * rng.standard_normal(n)
    dx, dy = np.zeros((2 * n, n)), np.zeros((2 * n, n))
    dx[:n], dy[n:] = ux * np.eye(n), uy * np.eye(n)
    curve = fit_curve(Dual(x, dx), Dual(y, dy), scatter_basis(2 * n), degree=1)

    def residuals(b: np.ndarray) -> np.ndarray:
        return np.concatenate([(x - b[2:]) / ux, (y - b[0] - b[1] * b[2:]) / uy])

    oracle = scipy.optimize.least_squares(residuals, np.concatenate([[1.0, 2.0], x]), xtol=1e-12)
    covariance = np.linalg.inv(oracle.jac.T @ oracle.jac)
    slope = curve.coefficients[1] / curve.half_span
    # The linear estimator leaves out what the joint one gains from x residuals: far less than its
    # uncertainty.
    assert slope == pytest.approx(oracle.x[1], abs=0.05 * math.sqrt(covariance[1, 1]))
    u_slope = np.linalg.norm(curve.contributions[:, 1]) / curve.half_span / curve.scatter_factor
    assert u_slope == pytest.approx(math.sqrt(covariance[1, 1]), rel=0.02)


def test_argument_is_the_inverse_of_the_curve() -> None:
    n = 5
    x = np.linspace(900.0, 1100.0, n)
    curve = fit_curve(
        Dual(x, np.zeros((n, n))), Dual(4.0 * x + 0.002 * x**2, 0.5 * np.eye(n)), scatter_basis(n), degree=2
    )
    y = curve.at(1050.0)
    back = curve.argument_at(y.value)
    assert back.value == pytest.approx(1050.0, abs=1e-6)
    assert back.standard_uncertainty * abs(curve.slope(1050.0)) == pytest.approx(
        y.standard_uncertainty, rel=1e-9
    )
