"""Survival without a distribution: the product-limit estimate, and causes that compete."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.reliability.weibull import FloatArray, LifeData, WeibullFit, weibull_fit
from spoolwright.errors import RangeError


@dataclass(frozen=True)
class ProductLimit:
    """The product-limit (Kaplan-Meier) estimate: a step down at every age at which something failed.

    Parameters
    ----------
    ages : ndarray, shape (k,)
        Ages at which items failed, ascending [h].
    survival : ndarray, shape (k,)
        Estimated share that survives each age [-].
    at_risk : ndarray, shape (k,)
        Items still under observation just before each age [-].
    failed : ndarray, shape (k,)
        Items that failed at each age [-].
    variance : ndarray, shape (k,)
        Greenwood's variance of the survival [-].
    """

    ages: FloatArray
    survival: FloatArray
    at_risk: NDArray[np.int64]
    failed: NDArray[np.int64]
    variance: FloatArray

    def interval(self, times: float = 1.959963984540054) -> tuple[FloatArray, FloatArray]:
        """Pointwise interval, made in log(-log S) so that it stays between 0 and 1.

        Parameters
        ----------
        times : float
            Half-width in standard uncertainties; the default gives 95 % [-].

        Returns
        -------
        tuple of ndarray, shape (k,)
            Lower and upper survival; both the estimate where it is 0 or 1 [-].

        References
        ----------
        J. D. Kalbfleisch, R. L. Prentice, The Statistical Analysis of Failure Time Data, 2nd ed., eq. (1.13).
        """
        s = self.survival
        inner = (s > 0.0) & (s < 1.0)
        safe = np.where(inner, s, 0.5)
        half = times * np.sqrt(self.variance) / np.abs(safe * np.log(safe))
        lower, upper = safe ** np.exp(half), safe ** np.exp(-half)
        return np.where(inner, lower, s), np.where(inner, upper, s)


def product_limit(failures: FloatArray, suspensions: FloatArray) -> ProductLimit:
    """The product-limit estimate of survival.

    Parameters
    ----------
    failures, suspensions : ndarray, shape (f,), (s,)
        Ages at failure, and of items that had not failed when last seen [h].

    Returns
    -------
    ProductLimit
        Survival by step; an item suspended at an age of failure counts as at risk [-].

    Raises
    ------
    RangeError
        Nothing failed.

    References
    ----------
    E. L. Kaplan, P. Meier, J. Amer. Statist. Assoc. 53 (1958) 457-481.
    """
    if not len(failures):
        raise RangeError("nothing failed, so survival has no step.", mend="State a lower bound instead.")
    ages, failed = np.unique(failures, return_counts=True)
    every = np.sort(np.concatenate([failures, suspensions]))
    at_risk = every.size - np.searchsorted(every, ages, side="left")
    survival = np.cumprod(1.0 - failed / at_risk).astype(np.float64)
    with np.errstate(divide="ignore"):
        terms = np.where(at_risk > failed, failed / (at_risk * np.maximum(at_risk - failed, 1)), 0.0)
    return ProductLimit(ages, survival, at_risk, failed, survival**2 * np.cumsum(terms))


def competing_fits(failures: Mapping[str, FloatArray], suspensions: FloatArray) -> dict[str, WeibullFit]:
    """A Weibull life for each cause of failure; a failure from another cause is a suspension.

    Parameters
    ----------
    failures : mapping of str to ndarray
        Ages at failure by cause [h].
    suspensions : ndarray, shape (s,)
        Ages of items that had not failed [h].

    Returns
    -------
    dict of str to WeibullFit
        By cause; the life of an item is that of its shortest cause [h].

    Notes
    -----
    Holds where the causes are independent of each other.
    """
    fits = {}
    for cause, ages in failures.items():
        others = [a for name, a in failures.items() if name != cause]
        fits[cause] = weibull_fit(LifeData.of(ages, np.concatenate([suspensions, *others])))
    return fits
