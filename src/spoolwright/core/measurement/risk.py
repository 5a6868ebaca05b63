"""Risks over many items under a stated prior, and the guard bands that hold a risk down."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from spoolwright.core.measurement.channel import FloatArray
from spoolwright.core.measurement.decision import (
    ConformanceProbability,
    GuardBand,
    ToleranceInterval,
    acceptance_interval,
    conformance_probability,
    standard_cdf,
)
from spoolwright.core.measurement.prior import Prior
from spoolwright.errors import RangeError

_ABSCISSAE, _WEIGHTS = np.polynomial.legendre.leggauss(32)
_STEPS = np.array([-32, -16, -8, -5, -3, -1.5, 0, 1.5, 3, 5, 8, 16, 32])
"""Distances from a limit, in standard uncertainties, at which an integral is cut."""
_DECADES = 10.0 ** np.arange(-30, 0)
"""Tail probabilities of the prior at which an integral is cut."""
_DISAGREEMENT = 1e-9
"""A reading less probable than this under the prior is not combined with it."""


@dataclass(frozen=True)
class GlobalRisks:
    """What happens to items drawn from the prior when each is measured and decided upon.

    Parameters
    ----------
    consumer : float
        Probability that an item is accepted and out of tolerance [-].
    producer : float
        Probability that an item is rejected and within tolerance [-].
    rightly_accepted : float
        Probability that an item is accepted and within tolerance [-].
    rightly_rejected : float
        Probability that an item is rejected and out of tolerance [-].
    prior : Prior
        Printed with the result [-].
    """

    consumer: float
    producer: float
    rightly_accepted: float
    rightly_rejected: float
    prior: Prior

    @property
    def nonconforming(self) -> float:
        """Part of the items out of tolerance, measured or not [-]."""
        return self.consumer + self.rightly_rejected

    @property
    def accepted(self) -> float:
        """Part of the items accepted [-]."""
        return self.consumer + self.rightly_accepted


def global_risks(
    tolerance: ToleranceInterval,
    standard_uncertainty: float,
    prior: Prior,
    guard: GuardBand | None = None,
    degrees_of_freedom: float = math.inf,
) -> GlobalRisks:
    """Consumer's and producer's risk for an item taken at random.

    Parameters
    ----------
    tolerance : ToleranceInterval
        Approved limits [inner].
    standard_uncertainty : float
        Of the measuring system; positive [inner].
    prior : Prior
        Distribution of the true values of the items [inner].
    guard : GuardBand, optional
        Guard band of the acceptance limits; none when left out [inner].
    degrees_of_freedom : float
        Of the standard uncertainty; finite: Student's t [-].

    Returns
    -------
    GlobalRisks
        The four probabilities sum to 1 [-].

    Raises
    ------
    RangeError
        When the standard uncertainty is not positive.

    Notes
    -----
    Gauss-Legendre quadrature over the prior's probability, cut at the limits and at steps of the meter's
    width; absolute error below 1e-10.

    References
    ----------
    JCGM 106:2012, 9.5.2, equations 17 to 20.

    Examples
    --------
    >>> bearings = Prior("gamma", 4.0, 0.25, "JCGM 106, 9.5.4")
    >>> risks = global_risks(ToleranceInterval(upper=2.0), 0.25, bearings)
    >>> round(risks.consumer, 5), round(risks.producer, 5)
    (0.00802, 0.01744)
    """
    _check_uncertainty(standard_uncertainty)
    low, high = acceptance_interval(tolerance, guard or GuardBand())
    u, freedom = standard_uncertainty, degrees_of_freedom

    def accepted(truth: FloatArray) -> FloatArray:
        if low > high:
            return np.zeros_like(truth)
        return standard_cdf((high - truth) / u, freedom) - standard_cdf((low - truth) / u, freedom)

    def rejected(truth: FloatArray) -> FloatArray:
        if low > high:
            return np.ones_like(truth)
        return standard_cdf((truth - high) / u, freedom) + standard_cdf((low - truth) / u, freedom)

    marks = [tolerance.lower, tolerance.upper, low, high]
    inside = (tolerance.lower, tolerance.upper)
    outside = ((-math.inf, tolerance.lower), (tolerance.upper, math.inf))
    return GlobalRisks(
        consumer=sum(_expectation(accepted, prior, *side, marks, u) for side in outside),
        producer=_expectation(rejected, prior, *inside, marks, u),
        rightly_accepted=_expectation(accepted, prior, *inside, marks, u),
        rightly_rejected=sum(_expectation(rejected, prior, *side, marks, u) for side in outside),
        prior=prior,
    )


def conformance_probability_with_prior(
    tolerance: ToleranceInterval,
    reading: float,
    standard_uncertainty: float,
    prior: Prior,
    degrees_of_freedom: float = math.inf,
) -> ConformanceProbability:
    """Probability of conformance when a prior is combined with the reading by Bayes' theorem.

    Parameters
    ----------
    tolerance : ToleranceInterval
        Approved limits [inner].
    reading : float
        Measured value [inner].
    standard_uncertainty : float
        Of the measured value; positive [inner].
    prior : Prior
        Distribution of the true values before the measurement [inner].
    degrees_of_freedom : float
        Of the standard uncertainty; finite: Student's t [-].

    Returns
    -------
    ConformanceProbability
        Carries the prior. It does not change whether the reading meets the limit [-].

    Raises
    ------
    RangeError
        When the standard uncertainty is not positive, or the reading and the prior exclude each other: under
        the prior a reading so far out has a probability below 1e-9.

    References
    ----------
    JCGM 106:2012, 6.2, equation 1, and 7.1.
    """
    _check_uncertainty(standard_uncertainty)
    u = standard_uncertainty

    def likelihood(truth: FloatArray) -> FloatArray:
        return _standard_density((reading - truth) / u, degrees_of_freedom)

    def predicted_below(truth: FloatArray) -> FloatArray:
        return standard_cdf((reading - truth) / u, degrees_of_freedom)

    everything = (-math.inf, math.inf)
    marks = [tolerance.lower, tolerance.upper, reading]
    predicted = _expectation(predicted_below, prior, *everything, marks, u)
    if not _DISAGREEMENT < predicted < 1.0 - _DISAGREEMENT:
        raise RangeError(
            f"the reading {reading} and the prior ({prior}) exclude each other.",
            mend="Doubt the reading first, then the prior.",
        )
    inside = _expectation(likelihood, prior, tolerance.lower, tolerance.upper, marks, u)
    below = _expectation(likelihood, prior, -math.inf, tolerance.lower, marks, u)
    above = _expectation(likelihood, prior, tolerance.upper, math.inf, marks, u)
    total = inside + below + above
    return ConformanceProbability(inside / total, (below + above) / total, "prior", prior=prior)


def guard_for_specific_risk(
    tolerance: ToleranceInterval,
    standard_uncertainty: float,
    most_risk: float,
    degrees_of_freedom: float = math.inf,
) -> GuardBand:
    """Guard band that holds the consumer's risk of every single accepted reading down.

    Parameters
    ----------
    tolerance : ToleranceInterval
        Approved limits [inner].
    standard_uncertainty : float
        Of the measured value; positive [inner].
    most_risk : float
        Largest probability that an accepted item is out of tolerance, above 0 and below 0.5 [-].
    degrees_of_freedom : float
        Of the standard uncertainty; finite: Student's t [-].

    Returns
    -------
    GuardBand
        Reached at the acceptance limit. Wider than half the tolerance, hence nothing acceptable, when no
        reading could have so small a risk [inner].

    Raises
    ------
    RangeError
        When the risk is not between 0 and 0.5: from 0.5 on the acceptance limit would lie outside the
        approved one.

    Notes
    -----
    With two limits the risk beyond the far limit is counted too.

    References
    ----------
    JCGM 106:2012, 8.3.2 and 9.3.2.

    Examples
    --------
    >>> round(guard_for_specific_risk(ToleranceInterval(lower=0.0), 0.4, 0.05).width, 3)
    0.658
    """
    _check_risk(most_risk)
    _check_uncertainty(standard_uncertainty)
    half = 0.5 * (tolerance.upper - tolerance.lower)
    reason = f"specific consumer's risk at most {most_risk:g}"

    def excess(width: float) -> float:
        limit = tolerance.upper - width if math.isfinite(tolerance.upper) else tolerance.lower + width
        at_limit = conformance_probability(tolerance, limit, standard_uncertainty, degrees_of_freedom)
        return at_limit.nonconforming - most_risk

    one_sided = standard_uncertainty * _upper_quantile(most_risk, degrees_of_freedom)
    if math.isinf(half):
        return GuardBand(one_sided, reason)
    if excess(half) > 0:
        return GuardBand(
            math.nextafter(half, math.inf) + standard_uncertainty, f"{reason}; no reading can have it"
        )
    return GuardBand(_root(excess, min(one_sided, half), half), reason)


def guard_for_global_risk(
    tolerance: ToleranceInterval,
    standard_uncertainty: float,
    most_risk: float,
    prior: Prior,
    degrees_of_freedom: float = math.inf,
) -> GuardBand:
    """Guard band that holds the consumer's risk of an item taken at random down.

    Parameters
    ----------
    tolerance : ToleranceInterval
        Approved limits [inner].
    standard_uncertainty : float
        Of the measuring system; positive [inner].
    most_risk : float
        Largest probability that an item is accepted and out of tolerance, above 0 and below 0.5 [-].
    prior : Prior
        Distribution of the true values of the items [inner].
    degrees_of_freedom : float
        Of the standard uncertainty; finite: Student's t [-].

    Returns
    -------
    GuardBand
        Carries the prior. Zero when acceptance up to the limit already holds the risk: it is never widened
        [inner].

    Raises
    ------
    RangeError
        When the risk is not between 0 and 0.5.

    References
    ----------
    JCGM 106:2012, 9.5.3 and the example 9.5.4.

    Examples
    --------
    >>> bearings = Prior("gamma", 4.0, 0.25, "JCGM 106, 9.5.4")
    >>> limit = ToleranceInterval(upper=2.0)
    >>> round(guard_for_global_risk(limit, 0.25, 0.001, bearings).width, 2)
    0.33
    """
    _check_risk(most_risk)
    reason = f"global consumer's risk at most {most_risk:g}"

    def excess(width: float) -> float:
        band = GuardBand(width)
        return (
            global_risks(tolerance, standard_uncertainty, prior, band, degrees_of_freedom).consumer
            - most_risk
        )

    if excess(0.0) <= 0:
        return GuardBand(0.0, reason, prior)
    width, half = standard_uncertainty, 0.5 * (tolerance.upper - tolerance.lower)
    while width < half and excess(width) > 0:
        width *= 2.0
    if width >= half:
        width = half
        if excess(half) > 0:
            return GuardBand(half + standard_uncertainty, f"{reason}; nothing can be accepted", prior)
    return GuardBand(_root(excess, 0.0, width), reason, prior)


def _check_uncertainty(u: float) -> None:
    if not 0 < u < math.inf:
        raise RangeError(f"standard uncertainty {u} is not positive.", mend="State the uncertainty.")


def _check_risk(risk: float) -> None:
    if not 0 < risk < 0.5:
        raise RangeError(
            f"consumer's risk {risk} is not between 0 and 0.5.",
            mend="From 0.5 on it would accept readings outside the approved limit; guard bands only tighten.",
        )


def _upper_quantile(risk: float, freedom: float) -> float:
    from scipy.special import ndtri, stdtrit

    return -float(ndtri(risk) if math.isinf(freedom) else stdtrit(freedom, risk))


def _standard_density(z: FloatArray, freedom: float) -> FloatArray:
    if math.isinf(freedom):
        return np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
    scale = math.exp(math.lgamma(0.5 * (freedom + 1)) - math.lgamma(0.5 * freedom))
    density: FloatArray = (
        scale / math.sqrt(freedom * math.pi) * (1.0 + z * z / freedom) ** (-0.5 * (freedom + 1))
    )
    return density


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Where the function turns negative, on the negative side: the guard band errs on the wide side."""
    from scipy.optimize import brentq

    if function(low) <= 0:
        return low
    root = float(brentq(function, low, high, xtol=1e-13 * max(abs(high), 1e-300), rtol=1e-14))
    step = 1e-15 * abs(high)
    while function(root) > 0 and root < high:
        root, step = min(root + step, high), 2.0 * step
    return root


def _expectation(
    function: Callable[[FloatArray], FloatArray],
    prior: Prior,
    start: float,
    stop: float,
    marks: list[float],
    width: float,
) -> float:
    """Mean of a function of the true value over the prior, counted from start to stop only.

    Integrated over probability, from either tail to the median, so that no density has to be finite.
    """
    near = (np.array([m for m in marks if math.isfinite(m)])[:, np.newaxis] + _STEPS * width).ravel()
    ends = np.array([start, stop])
    below, above = prior.probability_below(ends), prior.probability_above(ends)
    lower = (float(below[0]), min(float(below[1]), 0.5), prior.probability_below(near), prior.quantiles)
    upper = (float(above[1]), min(float(above[0]), 0.5), prior.probability_above(near), prior.upper_quantiles)
    total = 0.0
    for low, high, cuts, truth in (lower, upper):
        edges = np.concatenate([[low, high], cuts, _DECADES])
        edges = np.unique(edges[(edges >= low) & (edges <= high)])
        half = 0.5 * np.diff(edges)[:, np.newaxis]
        values = function(truth(edges[:-1, np.newaxis] + half * (1.0 + _ABSCISSAE)))
        total += float(np.sum(half * _WEIGHTS * values))
    return total
