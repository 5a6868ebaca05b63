"""Law of propagation of uncertainty with exact derivatives, and the expanded uncertainty that follows."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from spoolwright.core.measurement.channel import ErrorSource, FloatArray
from spoolwright.core.measurement.quantities import InputQuantities
from spoolwright.core.numerics import Dual, seeds, value
from spoolwright.errors import InputError, RangeError

Model: TypeAlias = Callable[[list[Any]], Any]
"""A measurement model: takes the list of inputs (floats, arrays or duals), gives one output or a sequence."""


@dataclass(frozen=True)
class ExpandedUncertainty:
    """An interval about an estimate that is expected to hold the value with a stated probability.

    Parameters
    ----------
    estimate : float
        Best estimate [output].
    half_width : float
        Expanded uncertainty U [output].
    coverage_factor : float
        U divided by the standard uncertainty [-].
    probability : float
        Coverage probability [-].
    degrees_of_freedom : float
        Used for the coverage factor: the effective ones, truncated to an integer [-].
    """

    estimate: float
    half_width: float
    coverage_factor: float
    probability: float
    degrees_of_freedom: float

    @property
    def interval(self) -> tuple[float, float]:
        """Lower and upper end of the interval [output]."""
        return self.estimate - self.half_width, self.estimate + self.half_width


@dataclass(frozen=True)
class Propagation:
    """Outputs of a measurement model with their uncertainty by the law of propagation.

    Parameters
    ----------
    estimates : array, shape (m,)
        The model at the best estimates of its inputs [output].
    jacobian : array, shape (m, n)
        Sensitivity of each output to each input [output/inner].
    contributions : array, shape (m, k)
        Signed standard uncertainty that each error source gives each output [output].
    sources : tuple of k ErrorSource
        The independent errors [-].
    """

    estimates: FloatArray
    jacobian: FloatArray
    contributions: FloatArray
    sources: tuple[ErrorSource, ...]

    @property
    def covariance(self) -> FloatArray:
        """Covariance matrix of the outputs, shape (m, m) [output²]."""
        covariance: FloatArray = self.contributions @ self.contributions.T
        return covariance

    @property
    def standard_uncertainties(self) -> FloatArray:
        """Combined standard uncertainties, shape (m,) [output]."""
        uncertainties: FloatArray = np.sqrt(np.sum(self.contributions**2, axis=1))
        return uncertainties

    @property
    def correlation(self) -> FloatArray:
        """Correlation matrix of the outputs, shape (m, m); NaN for an output without uncertainty [-]."""
        u = self.standard_uncertainties
        with np.errstate(invalid="ignore"):
            return self.covariance / np.outer(u, u)

    @property
    def shares(self) -> FloatArray:
        """Part of each output's variance due to each source, shape (m, k); rows sum to 1 [-]."""
        with np.errstate(invalid="ignore"):
            shares: FloatArray = self.contributions**2 / np.sum(self.contributions**2, axis=1, keepdims=True)
            return shares

    @property
    def degrees_of_freedom(self) -> FloatArray:
        """Effective degrees of freedom of each output, shape (m,) [-]."""
        freedom = np.array([s.degrees_of_freedom for s in self.sources])
        return np.array([effective_degrees_of_freedom(row, freedom) for row in self.contributions])

    def expanded(self, probability: float = 0.95, output: int = 0) -> ExpandedUncertainty:
        """Expanded uncertainty of one output.

        Parameters
        ----------
        probability : float
            Coverage probability [-].
        output : int
            Which output [-].

        Returns
        -------
        ExpandedUncertainty
            Half-width is coverage factor times combined standard uncertainty [output].

        References
        ----------
        JCGM 100:2008, G.4.1 and G.6.4.
        """
        freedom = float(self.degrees_of_freedom[output])
        factor, used = coverage_factor(probability, freedom)
        u = float(self.standard_uncertainties[output])
        return ExpandedUncertainty(float(self.estimates[output]), factor * u, factor, probability, used)


def propagation(model: Model, quantities: InputQuantities, jacobian: FloatArray | None = None) -> Propagation:
    """Propagate uncertainty through a measurement model to first order.

    Parameters
    ----------
    model : callable
        Takes a list of n numbers, gives one output or a sequence of m. Written with `core.numerics`, so that
        it also takes dual numbers; any callable when the Jacobian is given [-].
    quantities : InputQuantities
        Best estimates and error components of the n inputs [inner].
    jacobian : array, shape (m, n), optional
        Partial derivatives, where they are known otherwise; exact forward-mode derivatives when left out
        [output/inner].

    Returns
    -------
    Propagation
        Estimates, covariance, shares of the sources [output].

    Raises
    ------
    InputError
        When a given Jacobian does not fit the inputs and outputs.

    Notes
    -----
    First order: valid while the model is close to linear over the uncertainties. `gum_validation` tests that.

    References
    ----------
    JCGM 100:2008, 5.1.2 and 5.2.2 (equation 13); JCGM 102:2011, 6.2.1.3 (several outputs).

    Examples
    --------
    >>> from spoolwright.core.measurement.quantities import independent_quantities
    >>> power = propagation(lambda x: x[0] * x[1], independent_quantities([1500.0, 628.0], [3.0, 0.6]))
    >>> round(float(power.standard_uncertainties[0]), 1)
    2087.9
    """
    if jacobian is None:
        estimates, derivatives = _differentiated(model, quantities.estimates)
    else:
        estimates = np.atleast_1d(np.asarray(model(list(quantities.estimates)), dtype=float))
        derivatives = np.atleast_2d(np.asarray(jacobian, dtype=float))
    expected = (estimates.size, quantities.estimates.size)
    if derivatives.shape != expected:
        raise InputError(
            f"the Jacobian has shape {derivatives.shape}; {expected} is needed.",
            mend="Give one row an output and one column an input.",
        )
    return Propagation(estimates, derivatives, derivatives @ quantities.components, quantities.sources)


def _differentiated(model: Model, estimates: FloatArray) -> tuple[FloatArray, FloatArray]:
    result = model(list(seeds([float(x) for x in estimates])))
    outputs = list(result) if isinstance(result, Sequence | np.ndarray) else [result]
    still = np.zeros(estimates.size)
    rows = [np.broadcast_to(y.d, still.shape) if isinstance(y, Dual) else still for y in outputs]
    return np.array([float(value(y)) for y in outputs]), np.array(rows, dtype=float)


def effective_degrees_of_freedom(contributions: FloatArray, degrees_of_freedom: FloatArray) -> float:
    """Effective degrees of freedom of a combined standard uncertainty.

    Parameters
    ----------
    contributions : array, shape (k,)
        Standard uncertainties from independent sources, in one unit [output].
    degrees_of_freedom : array, shape (k,)
        Of each; may be infinite [-].

    Returns
    -------
    float
        Welch-Satterthwaite value; infinite when no contribution has finite degrees of freedom [-].

    Notes
    -----
    Holds for independent contributions. Correlated inputs come under it by being split into the independent
    errors that they share.

    References
    ----------
    JCGM 100:2008, G.4.1, equation G.2b.

    Examples
    --------
    >>> round(effective_degrees_of_freedom(np.array([3.0, 4.0]), np.array([9.0, np.inf])), 1)
    69.4
    """
    squares = np.asarray(contributions, dtype=float) ** 2
    spread = float(np.sum(squares**2 / np.asarray(degrees_of_freedom, dtype=float)))
    return float(np.sum(squares)) ** 2 / spread if spread > 0 else math.inf


def coverage_factor(probability: float, degrees_of_freedom: float = math.inf) -> tuple[float, float]:
    """Factor by which a standard uncertainty is expanded.

    Parameters
    ----------
    probability : float
        Coverage probability, between 0 and 1 [-].
    degrees_of_freedom : float
        Effective degrees of freedom [-].

    Returns
    -------
    factor : float
        From Student's t, or the normal distribution when the degrees of freedom are infinite [-].
    used : float
        The degrees of freedom after truncation to the next lower integer [-].

    Raises
    ------
    RangeError
        When the probability is not between 0 and 1 or the degrees of freedom are not positive.

    References
    ----------
    JCGM 100:2008, G.3.2, G.4.1 and table G.2.

    Examples
    --------
    >>> factor, used = coverage_factor(0.99, 16.8)
    >>> round(factor, 2), used
    (2.92, 16.0)
    """
    if not 0 < probability < 1:
        raise RangeError(
            f"coverage probability {probability} is not between 0 and 1.", mend="Give e.g. 0.95."
        )
    if not degrees_of_freedom > 0:
        raise RangeError(
            f"degrees of freedom {degrees_of_freedom} are not positive.",
            mend="Without them there is no interval: record more, or state the uncertainty as exactly known.",
        )
    from scipy.special import ndtri, stdtrit

    if math.isinf(degrees_of_freedom):
        return float(ndtri(0.5 + 0.5 * probability)), math.inf
    used = float(math.floor(degrees_of_freedom)) if degrees_of_freedom >= 1 else degrees_of_freedom
    return float(stdtrit(used, 0.5 + 0.5 * probability)), used


def region_factors(outputs: int, probability: float = 0.95) -> tuple[float, float]:
    """Coverage factors of a joint region for several normal outputs.

    Parameters
    ----------
    outputs : int
        Number of output quantities [-].
    probability : float
        Coverage probability of the region [-].

    Returns
    -------
    ellipsoid : float
        Largest Mahalanobis distance inside the ellipsoidal region [-].
    box : float
        Factor on every standard uncertainty for a hyper-rectangle that covers at least the probability,
        whatever the correlation [-].

    References
    ----------
    JCGM 102:2011, 6.5.2 (ellipsoid, chi-squared quantile) and 6.5.4 (rectangle, Bonferroni).

    Examples
    --------
    >>> [round(k, 2) for k in region_factors(2)]
    [2.45, 2.24]
    """
    from scipy.special import chdtri, ndtri

    ellipsoid = math.sqrt(float(chdtri(outputs, 1.0 - probability)))
    return ellipsoid, float(ndtri(1.0 - 0.5 * (1.0 - probability) / outputs))
