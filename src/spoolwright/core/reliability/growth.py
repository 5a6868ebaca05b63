"""Whether rejects grow or fall over time: the power-law process of MIL-HDBK-189."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spoolwright.core.reliability.weibull import FloatArray
from spoolwright.errors import RangeError


@dataclass(frozen=True)
class Growth:
    """A power-law process of events, N(t) = rate * t^exponent.

    Parameters
    ----------
    exponent : float
        Below one: events become rarer [-].
    rate : float
        Scale of the process [1/h^exponent].
    intensity : float
        Events for each hour at the end [1/h].
    unbiased_exponent : float
        The exponent with its bias taken out [-].
    fit_statistic : float
        Cramer-von Mises statistic of the fit [-].
    """

    exponent: float
    rate: float
    intensity: float
    unbiased_exponent: float
    fit_statistic: float


def growth(events: FloatArray, until: float) -> Growth:
    """The power-law process from times of events, watched until a given time.

    Parameters
    ----------
    events : ndarray, shape (n,)
        Times of the events, above zero, at least two [h].
    until : float
        End of the watch, not before the last event [h].

    Returns
    -------
    Growth
        Exponent [-], rate and intensity at the end [1/h].

    Raises
    ------
    RangeError
        Too few events, or one after the end.

    References
    ----------
    MIL-HDBK-189, Reliability Growth Management (1981), appendix C (time-terminated test).
    """
    t = np.sort(np.asarray(events, dtype=float))
    n = t.size
    if n < 2 or t[0] <= 0.0 or t[-1] > until:
        raise RangeError(f"{n} event(s) from {t[:1]} to {t[-1:]} in {until} h give no trend.")
    exponent = n / float(np.sum(np.log(until / t)))
    unbiased = exponent * (n - 1) / n
    places = (2.0 * np.arange(1, n + 1) - 1.0) / (2.0 * n)
    statistic = 1.0 / (12.0 * n) + float(np.sum(((t / until) ** unbiased - places) ** 2))
    rate = n / until**exponent
    return Growth(exponent, rate, rate * exponent * until ** (exponent - 1.0), unbiased, statistic)
