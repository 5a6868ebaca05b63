"""When to replace: by age with a dearer failure, or after minimal repairs."""

from __future__ import annotations

import math
from dataclasses import dataclass

from spoolwright.errors import RangeError


@dataclass(frozen=True)
class Replacement:
    """A replacement age and what it costs in the long run.

    Parameters
    ----------
    age : float
        Age at which to replace; infinite: only at failure [h].
    cost_rate : float
        Cost for each hour, in the unit of the costs given [1/h].
    run_to_failure : float
        The same when replaced only at failure [1/h].
    """

    age: float
    cost_rate: float
    run_to_failure: float


def age_replacement(shape: float, scale: float, planned: float, failed: float) -> Replacement:
    """The age at which replacing costs least, when a failure costs more than a planned replacement.

    Parameters
    ----------
    shape, scale : float
        Weibull life [-], [h].
    planned, failed : float
        Cost of a replacement before and at failure, any one unit of money [-].

    Returns
    -------
    Replacement
        Age, infinite where the shape is at most one [h], and cost for each hour [1/h].

    References
    ----------
    R. E. Barlow, L. Hunter, Operations Research 8 (1960) 90-100.

    Examples
    --------
    >>> best = age_replacement(3.0, 1000.0, 1.0, 5.0)
    >>> round(best.age, 2), round(1000.0 * best.cost_rate, 5)
    (502.61, 3.0314)
    """
    from scipy.optimize import brentq

    if min(shape, scale, planned, failed) <= 0.0:
        raise RangeError("shape, scale and costs must be above zero.")
    mean = scale * math.gamma(1.0 + 1.0 / shape)
    whole = failed / mean
    if shape <= 1.0 or failed <= planned:
        return Replacement(math.inf, whole, whole)

    def rising(log_t: float) -> float:
        """Zero where the cost rate is least: hazard times mean life so far, less the share failed."""
        t = math.exp(log_t)
        hazard = shape / scale * (t / scale) ** (shape - 1.0)
        failed_share = -math.expm1(-((t / scale) ** shape))
        return float(hazard * _mean_until(t, shape, scale) - failed_share - planned / (failed - planned))

    low, high = math.log(scale * 1e-6), math.log(scale) + 8.0 / shape
    while rising(high) < 0.0:
        high += 1.0 / shape
    age = math.exp(float(brentq(rising, low, high, xtol=1e-13, rtol=1e-14)))
    survive = math.exp(-((age / scale) ** shape))
    rate = (planned * survive + failed * (1.0 - survive)) / _mean_until(age, shape, scale)
    return Replacement(age, rate, whole)


def minimal_repair_replacement(shape: float, scale: float, replace: float, repair: float) -> Replacement:
    """The age at which to replace an item that is patched at each failure and left as old as it was.

    Parameters
    ----------
    shape, scale : float
        Weibull life; the shape above one [-], [h].
    replace, repair : float
        Cost of a replacement and of a repair, any one unit of money [-].

    Returns
    -------
    Replacement
        Age [h] and cost for each hour [1/h].

    References
    ----------
    R. E. Barlow, L. Hunter, Operations Research 8 (1960) 90-100, policy II.

    Examples
    --------
    >>> round(minimal_repair_replacement(3.0, 1000.0, 5.0, 1.0).age, 2)
    1357.21
    """
    if shape <= 1.0:
        raise RangeError(f"shape {shape} is not above 1: a new item is no better.", mend="Repair only.")
    age = scale * (replace / (repair * (shape - 1.0))) ** (1.0 / shape)
    rate = (replace + repair * (age / scale) ** shape) / age
    mean = scale * math.gamma(1.0 + 1.0 / shape)
    return Replacement(age, rate, replace / mean)


def _mean_until(age: float, shape: float, scale: float) -> float:
    """Mean life when replaced at an age: the integral of survival up to it."""
    from scipy.special import gammainc

    z = (age / scale) ** shape
    return float(scale * math.gamma(1.0 + 1.0 / shape) * gammainc(1.0 / shape, z))
