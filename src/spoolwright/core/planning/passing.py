"""The chance to pass all limits at once, from margins that share a part of their scatter."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spoolwright.errors import RangeError

FloatArray = NDArray[np.float64]
_NODES = 61


def joint_passing(margins: FloatArray, shared: float) -> float:
    """Probability that every reading clears its limit.

    Parameters
    ----------
    margins : ndarray, shape (limits,)
        Mean margins, each in standard uncertainties of its reading [-].
    shared : float
        Correlation between any two readings, 0 to below 1 [-].

    Returns
    -------
    float
        Probability [-].

    Notes
    -----
    One cause common to all, the rest independent: the integral over the common cause by Gauss-Hermite
    quadrature. For two limits it is the orthant probability 1/4 + asin(correlation) / (2 pi) at no margin.

    References
    ----------
    C. W. Dunnett, M. Sobel, Biometrika 42 (1955) 258-260 (equally correlated normal variates).

    Examples
    --------
    >>> round(joint_passing(np.zeros(2), 0.5), 6)
    0.333333
    """
    from scipy.special import ndtr

    if not 0.0 <= shared < 1.0:
        raise RangeError(f"a shared part of {shared:g} is not between 0 and 1.")
    nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES)
    inner = (np.asarray(margins, dtype=float)[:, None] + np.sqrt(shared) * nodes) / np.sqrt(1.0 - shared)
    each = np.prod(ndtr(inner), axis=0)
    return float(np.clip(weights @ each / weights.sum(), 0.0, 1.0))


def shared_part(margins: FloatArray, passing: float) -> float:
    """The correlation under which the margins give a joint probability that is known.

    Parameters
    ----------
    margins : ndarray, shape (limits,)
        Mean margins, in standard uncertainties [-].
    passing : float
        Probability to pass all limits [-].

    Returns
    -------
    float
        Correlation, 0 to 0.95; the end of that range where no value inside gives it [-].
    """
    from scipy.optimize import brentq

    def over(shared: float) -> float:
        return joint_passing(margins, shared) - passing

    low, high = 0.0, 0.95
    if over(low) >= 0.0:
        return low
    if over(high) <= 0.0:
        return high
    return float(brentq(over, low, high, xtol=1e-10))
