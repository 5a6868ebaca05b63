"""Conformity of one measured value with a limit: what the reading says, and how probably the truth agrees.

The two stay apart. Whether the reading meets the limit is arithmetic on the reading alone; no probability and
no prior changes it. Guard bands only move the acceptance limit inward.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

import numpy as np

from spoolwright.core.measurement.channel import FloatArray
from spoolwright.core.measurement.prior import Prior
from spoolwright.errors import InputError, RangeError

Basis: TypeAlias = Literal["normal", "t", "samples", "prior"]


@dataclass(frozen=True)
class ToleranceInterval:
    """Values that the approved document permits.

    Parameters
    ----------
    lower : float
        Lower limit; minus infinity when there is none [inner].
    upper : float
        Upper limit; infinity when there is none [inner].

    Raises
    ------
    InputError
        When there is no limit at all or the limits are not in rising order.

    References
    ----------
    JCGM 106:2012, 3.3.4 to 3.3.5; the limits themselves are permitted values.
    """

    lower: float = -math.inf
    upper: float = math.inf

    def __post_init__(self) -> None:
        if not self.lower < self.upper:
            raise InputError(
                f"lower limit {self.lower} is not below upper limit {self.upper}.",
                mend="Check the type file.",
            )
        if math.isinf(self.lower) and math.isinf(self.upper):
            raise InputError("no limit is given.", mend="Without a limit there is no verdict.")

    def holds(self, reading: float) -> bool:
        """Whether a reading lies within the limits, without regard to its uncertainty; NaN does not."""
        return bool(self.lower <= reading <= self.upper)


@dataclass(frozen=True)
class GuardBand:
    """Distance by which each acceptance limit lies inside its tolerance limit.

    Parameters
    ----------
    width : float
        Distance, never negative [inner].
    reason : str
        What it is for, for the page [-].
    prior : Prior or None
        The prior it was computed with, if any [-].

    Raises
    ------
    RangeError
        When the width is negative: that would accept readings outside the approved limit.

    References
    ----------
    JCGM 106:2012, 3.3.11 and 8.3.2 (guarded acceptance). Guarded rejection, 8.3.3, is not offered.
    """

    width: float = 0.0
    reason: str = "none"
    prior: Prior | None = None

    def __post_init__(self) -> None:
        if not self.width >= 0:
            raise RangeError(
                f"a guard band of {self.width} would accept readings outside the approved limit.",
                mend="Guard bands only tighten; leave it out to accept up to the limit.",
            )


@dataclass(frozen=True)
class ConformanceProbability:
    """Probability that the true value lies within the tolerance limits.

    Parameters
    ----------
    conforming : float
        That it does [-].
    nonconforming : float
        That it does not, kept by itself so that a small risk has all its digits [-].
    basis : {"normal", "t", "samples", "prior"}
        What it rests on [-].
    standard_error : float
        From the number of Monte Carlo trials; 0 for a closed form [-].
    prior : Prior or None
        The prior used; printed with the result [-].
    """

    conforming: float
    nonconforming: float
    basis: Basis
    standard_error: float = 0.0
    prior: Prior | None = None


@dataclass(frozen=True)
class Conformity:
    """One reading against one limit: reading, probability of conformance and decision rule side by side.

    Parameters
    ----------
    tolerance : ToleranceInterval
        Limits of the approved document [inner].
    reading : float
        Measured value [inner].
    probability : ConformanceProbability
        That the true value conforms [-].
    guard : GuardBand
        The guard band applied; none when left out: acceptance up to the limit [inner].
    reading_meets : bool
        Computed: whether the reading itself lies within the approved limits [-].
    accepted : bool
        Computed: whether it also lies within the guarded acceptance limits; never true without
        `reading_meets` [-].

    Notes
    -----
    The probability has no part in `reading_meets` or `accepted`.

    References
    ----------
    JCGM 106:2012, 8.2 and 8.3.2.

    Examples
    --------
    >>> limit = ToleranceInterval(lower=490.0)
    >>> c = Conformity(limit, 509.7, conformance_probability(limit, 509.7, 8.6))
    >>> c.reading_meets, round(c.probability.conforming, 3)
    (True, 0.989)
    """

    tolerance: ToleranceInterval
    reading: float
    probability: ConformanceProbability
    guard: GuardBand = field(default_factory=GuardBand)
    reading_meets: bool = field(init=False)
    accepted: bool = field(init=False)

    def __post_init__(self) -> None:
        low, high = acceptance_interval(self.tolerance, self.guard)
        meets = self.tolerance.holds(self.reading)
        object.__setattr__(self, "reading_meets", meets)
        object.__setattr__(self, "accepted", meets and bool(low <= self.reading <= high))

    @property
    def consumer_risk(self) -> float | None:
        """Probability that this accepted item is out of tolerance; None when it was not accepted [-].

        References
        ----------
        JCGM 106:2012, 9.3.2.
        """
        return self.probability.nonconforming if self.accepted else None

    @property
    def producer_risk(self) -> float | None:
        """Probability that this rejected item is within tolerance; None when it was accepted [-].

        References
        ----------
        JCGM 106:2012, 9.3.3.
        """
        return None if self.accepted else self.probability.conforming

    @property
    def priors(self) -> tuple[Prior, ...]:
        """Every prior that went into this result, to be printed with it [-]."""
        used = (self.probability.prior, self.guard.prior)
        return tuple(dict.fromkeys(p for p in used if p is not None))


def acceptance_interval(tolerance: ToleranceInterval, guard: GuardBand) -> tuple[float, float]:
    """Acceptance limits inside the tolerance limits.

    Parameters
    ----------
    tolerance : ToleranceInterval
        Approved limits [inner].
    guard : GuardBand
        Guard band, the same at either limit [inner].

    Returns
    -------
    lower : float
        Lower acceptance limit [inner].
    upper : float
        Upper acceptance limit; below the lower one when the guard band leaves nothing to accept [inner].

    References
    ----------
    JCGM 106:2012, 8.3.2.
    """
    return tolerance.lower + guard.width, tolerance.upper - guard.width


def conformance_probability(
    tolerance: ToleranceInterval,
    reading: float,
    standard_uncertainty: float,
    degrees_of_freedom: float = math.inf,
) -> ConformanceProbability:
    """Probability of conformance from a reading and its standard uncertainty alone.

    Parameters
    ----------
    tolerance : ToleranceInterval
        Limits, one or two [inner].
    reading : float
        Measured value [inner].
    standard_uncertainty : float
        Of the measured value; positive [inner].
    degrees_of_freedom : float
        Of the standard uncertainty. Finite: scaled and shifted Student's t; infinite: normal [-].

    Returns
    -------
    ConformanceProbability
        Both tails computed directly [-].

    Raises
    ------
    RangeError
        When the standard uncertainty or the degrees of freedom are not positive.

    References
    ----------
    JCGM 106:2012, 7.2, 7.3 (equations 7 to 9) for one limit, 7.4 for two, A.4.4 (t).

    Examples
    --------
    >>> p = conformance_probability(ToleranceInterval(upper=-5.40), -5.47, 0.05)
    >>> round(p.conforming, 2)
    0.92
    """
    if not 0 < standard_uncertainty < math.inf:
        raise RangeError(
            f"standard uncertainty {standard_uncertainty} is not positive.", mend="State the uncertainty."
        )
    below = standard_cdf((tolerance.lower - reading) / standard_uncertainty, degrees_of_freedom)
    above = standard_cdf((reading - tolerance.upper) / standard_uncertainty, degrees_of_freedom)
    inside = _inside(tolerance, reading, standard_uncertainty, degrees_of_freedom)
    basis: Basis = "normal" if math.isinf(degrees_of_freedom) else "t"
    return ConformanceProbability(inside, float(below + above), basis)


def _inside(tolerance: ToleranceInterval, reading: float, u: float, freedom: float) -> float:
    low, high = (tolerance.lower - reading) / u, (tolerance.upper - reading) / u
    if low > 0:  # far above zero the difference of two numbers near 1 would lose the digits
        low, high = -high, -low
    return float(standard_cdf(high, freedom) - standard_cdf(low, freedom))


def standard_cdf(z: FloatArray | float, degrees_of_freedom: float = math.inf) -> FloatArray:
    """Distribution function of the standard normal or, with finite degrees of freedom, Student's t.

    Parameters
    ----------
    z : array or float
        Standardised values [-].
    degrees_of_freedom : float
        Positive [-].

    Returns
    -------
    array
        Probability of a smaller value [-].

    Raises
    ------
    RangeError
        When the degrees of freedom are not positive.

    Examples
    --------
    >>> round(float(standard_cdf(1.96)), 3)
    0.975
    """
    from scipy.special import ndtr, stdtr

    if not degrees_of_freedom > 0:
        raise RangeError(
            f"degrees of freedom {degrees_of_freedom} are not positive.", mend="Record more, or state none."
        )
    result = ndtr(z) if math.isinf(degrees_of_freedom) else stdtr(degrees_of_freedom, z)
    return np.asarray(result, dtype=float)


def conformance_probability_from_samples(
    tolerance: ToleranceInterval, samples: FloatArray
) -> ConformanceProbability:
    """Probability of conformance as the fraction of Monte Carlo values within the limits.

    Parameters
    ----------
    tolerance : ToleranceInterval
        Limits, one or two [inner].
    samples : array, shape (trials,)
        Values of the quantity from a Monte Carlo propagation [inner].

    Returns
    -------
    ConformanceProbability
        With its standard error [-].

    Raises
    ------
    InputError
        When there is no sample or one is not a number.

    References
    ----------
    JCGM 106:2012, 7.1, equation 6, with JCGM 101:2008, 7.5 as the distribution.
    """
    values = np.asarray(samples, dtype=float).ravel()
    if values.size == 0 or np.isnan(values).any():
        raise InputError(
            "the samples are empty or hold NaN.", mend="Find the trials that the model failed on."
        )
    inside = int(np.count_nonzero((values >= tolerance.lower) & (values <= tolerance.upper)))
    p = inside / values.size
    error = math.sqrt(max(p * (1.0 - p), 1.0 / values.size) / values.size)
    return ConformanceProbability(p, (values.size - inside) / values.size, "samples", error)
