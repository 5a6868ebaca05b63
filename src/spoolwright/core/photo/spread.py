"""Coverage interval of a length with a normal part, a rectangular part and a spread of factors."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def cumulative(x: FloatArray, sigma: float, half: float) -> FloatArray:
    """Probability below x of a sum of a normal and a rectangular error, both about zero.

    Parameters
    ----------
    x : ndarray
        Where it is asked [m].
    sigma : float
        Standard deviation of the normal part, above 0 [m].
    half : float
        Half-width of the rectangular part [m].

    Returns
    -------
    ndarray
        Probability [-].

    References
    ----------
    Integral of the normal distribution function: ∫Φ(t)dt = tΦ(t) + φ(t).
    """
    if half < 1e-9 * sigma:
        return _below(x / sigma)
    return (_integral((x + half) / sigma) - _integral((x - half) / sigma)) * (sigma / (2.0 * half))


def coverage_interval(
    length: float, sigma: float, half: float, factors: FloatArray, weights: FloatArray, coverage: float
) -> tuple[float, float]:
    """The interval that leaves the same probability on either side.

    Parameters
    ----------
    length : float
        Estimate [m].
    sigma : float
        Standard deviation of its normal part, above 0 [m].
    half : float
        Half-width of its rectangular part [m].
    factors, weights : ndarray, shape (j,)
        Factors that the length may have, and their weights [-].
    coverage : float
        Probability, such as 0.95 [-].

    Returns
    -------
    tuple of float
        Lower and upper end [m].

    Examples
    --------
    >>> one = np.ones(1)
    >>> [round(v, 3) for v in coverage_interval(0.0, 1.0, 0.0, one, one, 0.95)]
    [-1.96, 1.96]
    """

    def below(x: float) -> float:
        return float(weights @ cumulative(x / factors - length, sigma, half))

    wide = float(np.max(factors)) * (abs(length) + 10.0 * sigma + half)

    def end(share: float) -> float:
        low, high = -wide, wide
        for _ in range(80):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if below(middle) < share else (low, middle)
        return 0.5 * (low + high)

    return end(0.5 * (1.0 - coverage)), end(0.5 * (1.0 + coverage))


def _integral(t: FloatArray) -> FloatArray:
    result: FloatArray = t * _below(t) + np.exp(-0.5 * t * t) / math.sqrt(2.0 * math.pi)
    return result


def _below(t: FloatArray) -> FloatArray:
    from scipy.special import ndtr

    below: FloatArray = ndtr(t)
    return below
