"""Curve through points that have errors in both coordinates, part of them common to all points."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spoolwright.core.measurement.channel import FloatArray
from spoolwright.core.numerics import Dual, log
from spoolwright.core.reduction.estimate import ErrorBasis, Estimate
from spoolwright.errors import InputError

_CUBIC_FROM = 6
"""Points apart from which a cubic is told; below, it would only follow scatter."""
_APART = 0.02
"""Points nearer than this fraction of the whole span tell nothing of the curve's shape beyond one point."""
_FLOOR = 1e-6
"""Relative scatter below which points count as equally good."""


@dataclass(frozen=True)
class FittedCurve:
    """A polynomial through points, with what every error contributes to it.

    Parameters
    ----------
    centre, half_span : float
        The polynomial's argument is (x - centre) / half_span [unit of x].
    coefficients : array, shape (p,)
        Coefficients, constant first [unit of y].
    contributions : array, shape (k, p)
        What each error of the basis contributes to them [unit of y].
    basis : ErrorBasis
        The errors [-].
    low, high : float
        Smallest and largest x of the points [unit of x].
    scatter_factor : float
        By what the stated scatter had to be widened to explain the residuals; 1 when it explains them [-].
    residual_degrees_of_freedom : int
        Points less coefficients [-].
    """

    centre: float
    half_span: float
    coefficients: FloatArray
    contributions: FloatArray
    basis: ErrorBasis
    low: float
    high: float
    scatter_factor: float
    residual_degrees_of_freedom: int

    @property
    def degree(self) -> int:
        """Degree of the polynomial [-]."""
        return self.coefficients.size - 1

    def at(self, x: float) -> Estimate:
        """The curve at x.

        Parameters
        ----------
        x : float
            Argument, taken as exact [unit of x].

        Returns
        -------
        Estimate
            Value with contributions [unit of y].
        """
        phi = self._terms(x)
        return self._estimate(float(phi @ self.coefficients), self.contributions @ phi)

    def argument_at(self, y: float) -> Estimate:
        """The argument at which the curve reaches y, nearest to the points.

        Parameters
        ----------
        y : float
            Value, taken as exact [unit of y].

        Returns
        -------
        Estimate
            Argument with contributions; NaN where the curve does not reach y [unit of x].
        """
        shifted = self.coefficients.copy()
        shifted[0] -= y
        roots = np.roots(shifted[::-1])
        real = roots[np.abs(roots.imag) < 1e-9].real
        if real.size == 0:
            return self._estimate(math.nan, np.zeros(self.basis.size))
        x = float(real[np.argmin(np.abs(real))]) * self.half_span + self.centre
        return self._estimate(x, -(self.contributions @ self._terms(x)) / self.slope(x))

    def slope(self, x: float) -> float:
        """Slope of the curve.

        Parameters
        ----------
        x : float
            Argument [unit of x].

        Returns
        -------
        float
            dy/dx [unit of y / unit of x].
        """
        t = (x - self.centre) / self.half_span
        p = np.arange(1, self.coefficients.size)
        return float(np.sum(p * self.coefficients[1:] * t ** (p - 1))) / self.half_span

    def extrapolation(self, x: float) -> float:
        """How far x lies beyond the points.

        Parameters
        ----------
        x : float
            Argument [unit of x].

        Returns
        -------
        float
            Distance to the nearest end as a fraction of the points' span; 0 between the points [-].
        """
        span = self.high - self.low
        beyond = max(self.low - x, x - self.high, 0.0)
        return beyond / span if span > 0.0 else (0.0 if beyond == 0.0 else math.inf)

    def _terms(self, x: float) -> FloatArray:
        return np.asarray(((x - self.centre) / self.half_span) ** np.arange(self.coefficients.size))

    def _estimate(self, value: float, contributions: FloatArray) -> Estimate:
        freedom = float(self.residual_degrees_of_freedom) if self.scatter_factor > 1.0 else None
        return Estimate(value, contributions, self.basis, freedom)


def distinct_arguments(x: FloatArray) -> int:
    """Number of arguments that lie apart enough to tell a curve's shape.

    Parameters
    ----------
    x : array, shape (n,)
        Arguments of the points [unit of x].

    Returns
    -------
    int
        Groups of points, repeats counted once [-].

    Examples
    --------
    >>> distinct_arguments(np.array([1.0, 2.0, 2.001, 3.0]))
    3
    """
    ordered = np.sort(x)
    span = float(ordered[-1] - ordered[0])
    return 1 + int(np.sum(np.diff(ordered) > _APART * span)) if span > 0.0 else 1


def fit_curve(x: Dual, y: Dual, basis: ErrorBasis, degree: int | None = None) -> FittedCurve:
    """Fit a low polynomial to points with errors in x and y.

    Parameters
    ----------
    x, y : Dual over n points
        Coordinates with contributions of shape (k, n) [unit of x, unit of y].
    basis : ErrorBasis
        The k errors [-].
    degree : int or None
        Degree; None takes 1 for two points apart, 2 from three, 3 from six [-].

    Returns
    -------
    FittedCurve
        Curve with contributions of every error [unit of y].

    Raises
    ------
    InputError
        When fewer than two points lie apart, or the degree is too high for them.

    Notes
    -----
    Points are weighted by their scatter alone (effective variance: scatter of y less slope times scatter of
    x); what is systematic is carried through the linear estimator with its full correlation between points
    and between x and y. Weighting by a covariance that holds common gain errors would bias the fit (Peelle's
    paradox). Where residuals exceed the stated scatter, the scatter is widened by sqrt(chi2 / degrees of
    freedom), never narrowed. Valid for errors in x small against the span of the points.

    References
    ----------
    Birge, Phys. Rev. 40 (1932) 207 (widening). Orear, Am. J. Phys. 50 (1982) 912 (effective variance).
    JCGM 100:2008, H.3 (straight line by least squares), 5.2.2 (correlated inputs).
    """
    n = distinct_arguments(x.v)
    chosen = min(3 if n >= _CUBIC_FROM else 2, n - 1) if degree is None else degree
    if chosen < 1 or chosen > n - 1:
        raise InputError(
            f"{n} point(s) apart do not carry a curve of degree {max(chosen, 1)}.",
            mend="Take points at more power settings.",
        )
    centre = 0.5 * float(x.v.max() + x.v.min())
    half = 0.5 * float(x.v.max() - x.v.min())
    t = (x.v - centre) / half
    phi = t[:, np.newaxis] ** np.arange(chosen + 1)
    random = basis.random[:, np.newaxis]
    coefficients = np.linalg.lstsq(phi, y.v, rcond=None)[0]
    # The slope weighs the errors of x; it settles at once since those errors are small.
    for _ in range(3):
        errors = _effective_errors(x, y, t, coefficients, half)
        variance = np.sum(random * errors**2, axis=0) + (_FLOOR * np.abs(y.v).max()) ** 2
        solver = np.linalg.pinv(phi / np.sqrt(variance)[:, np.newaxis]) / np.sqrt(variance)
        coefficients = solver @ y.v
    residual = y.v - phi @ coefficients
    freedom = int(x.v.size - coefficients.size)
    chi2 = float(np.sum(residual**2 / variance))
    factor = math.sqrt(max(1.0, chi2 / freedom)) if freedom > 0 else 1.0
    widened = errors * np.where(random > 0.0, factor, 1.0)
    return FittedCurve(
        centre,
        half,
        coefficients,
        widened @ solver.T,
        basis,
        float(x.v.min()),
        float(x.v.max()),
        factor,
        freedom,
    )


def _effective_errors(x: Dual, y: Dual, t: FloatArray, coefficients: FloatArray, half: float) -> FloatArray:
    p = np.arange(1, coefficients.size)
    slope = (t[:, np.newaxis] ** (p - 1)) @ (p * coefficients[1:]) / half
    return np.asarray(y.d - slope * x.d)


@dataclass(frozen=True)
class PerformanceCurve:
    """A curve between two positive quantities, fitted in their logarithms.

    Parameters
    ----------
    fit : FittedCurve
        Fit of ln y over ln x [-].
    """

    fit: FittedCurve

    @property
    def low(self) -> float:
        """Smallest x of the points [unit of x]."""
        return math.exp(self.fit.low)

    @property
    def high(self) -> float:
        """Largest x of the points [unit of x]."""
        return math.exp(self.fit.high)

    def at(self, x: float) -> Estimate:
        """The curve at x.

        Parameters
        ----------
        x : float
            Argument, taken as exact [unit of x].

        Returns
        -------
        Estimate
            Value with contributions [unit of y].
        """
        return _scaled(self.fit.at(math.log(x)))

    def argument_at(self, y: float) -> Estimate:
        """The argument at which the curve reaches y.

        Parameters
        ----------
        y : float
            Value, taken as exact [unit of y].

        Returns
        -------
        Estimate
            Argument with contributions; NaN where the curve does not reach y [unit of x].
        """
        return _scaled(self.fit.argument_at(math.log(y)))

    def extrapolation(self, x: float) -> float:
        """How far x lies beyond the points.

        Parameters
        ----------
        x : float
            Argument [unit of x].

        Returns
        -------
        float
            Distance to the nearest end as a fraction of the points' span; 0 between the points [-].
        """
        return self.fit.extrapolation(math.log(x))


def _scaled(e: Estimate) -> Estimate:
    v = math.exp(e.value)
    return Estimate(v, e.contributions * v, e.basis, e.scatter_degrees_of_freedom)


def performance_curve(x: Dual, y: Dual, basis: ErrorBasis) -> PerformanceCurve:
    """Fit a performance curve to points.

    Parameters
    ----------
    x, y : Dual over n points
        Positive coordinates with contributions of shape (k, n) [unit of x, unit of y].
    basis : ErrorBasis
        The k errors [-].

    Returns
    -------
    PerformanceCurve
        Curve with contributions of every error [unit of y].

    Raises
    ------
    InputError
        When fewer than two points lie apart.

    Notes
    -----
    In logarithms a free-turbine engine's curves (power, speed, temperature, fuel) are nearly parabolas:
    between 60 and 114 % of take-off power of a generic model a quadratic misses them by less than 0.1 %, a
    cubic by 0.01 %.
    """
    return PerformanceCurve(fit_curve(log(x), log(y), basis))
