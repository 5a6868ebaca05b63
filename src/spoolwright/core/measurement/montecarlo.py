"""Propagation of distributions by Monte Carlo, and the test of the law of propagation against it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.random import Generator

from spoolwright.core.measurement.channel import FloatArray
from spoolwright.core.measurement.propagation import ExpandedUncertainty, Model
from spoolwright.errors import InputError, RangeError

Sampler: TypeAlias = Callable[[Generator, int], FloatArray]
"""Draws joint values of the inputs: takes a generator and a number of trials, gives an array (n, trials)."""
IntervalKind: TypeAlias = Literal["shortest", "symmetric"]


@dataclass(frozen=True)
class MonteCarloResult:
    """Outputs of a measurement model with their uncertainty by Monte Carlo.

    Parameters
    ----------
    samples : array, shape (m, trials)
        Values of the outputs, trial by trial [output].
    estimates : array, shape (m,)
        Means [output].
    standard_uncertainties : array, shape (m,)
        Standard deviations [output].
    low : array, shape (m,)
        Lower ends of the coverage intervals [output].
    high : array, shape (m,)
        Upper ends of the coverage intervals [output].
    probability : float
        Coverage probability [-].
    interval : {"shortest", "symmetric"}
        Kind of the coverage intervals [-].
    tolerance : array, shape (m,)
        Numerical tolerance asked of every figure [output].
    settled : bool
        Whether the figures met that tolerance; not judged, hence False, when the number of trials was fixed
        [-].
    """

    samples: FloatArray
    estimates: FloatArray
    standard_uncertainties: FloatArray
    low: FloatArray
    high: FloatArray
    probability: float
    interval: IntervalKind
    tolerance: FloatArray
    settled: bool

    @property
    def trials(self) -> int:
        """Number of trials [-]."""
        return int(self.samples.shape[1])

    @property
    def covariance(self) -> FloatArray:
        """Covariance matrix of the outputs, shape (m, m) [output²]."""
        return np.atleast_2d(np.cov(self.samples))


@dataclass(frozen=True)
class Validation:
    """Outcome of comparing a law-of-propagation interval with a Monte Carlo interval.

    Parameters
    ----------
    difference_low : float
        Distance of the lower ends [output].
    difference_high : float
        Distance of the upper ends [output].
    tolerance : float
        Largest distance allowed [output].
    """

    difference_low: float
    difference_high: float
    tolerance: float

    @property
    def passed(self) -> bool:
        """Whether the law of propagation may be used here [-]."""
        return self.difference_low <= self.tolerance and self.difference_high <= self.tolerance


def numerical_tolerance(value: float, significant_digits: int = 2) -> float:
    """Half a unit in the last digit of a value written with so many significant digits.

    Parameters
    ----------
    value : float
        A standard uncertainty [output].
    significant_digits : int
        Digits regarded as meaningful [-].

    Returns
    -------
    float
        Tolerance; 0 for a value of 0 [output].

    References
    ----------
    JCGM 101:2008, 7.9.2.

    Examples
    --------
    >>> numerical_tolerance(0.000352, 2), numerical_tolerance(0.0996, 2)
    (5e-06, 0.005)
    """
    if value == 0 or not math.isfinite(value):
        return 0.0
    exponent = int(f"{abs(value):.{significant_digits - 1}e}".partition("e")[2])
    return float(f"5e{exponent - significant_digits}")


def coverage_interval(
    samples: FloatArray, probability: float = 0.95, interval: IntervalKind = "shortest"
) -> tuple[FloatArray, FloatArray]:
    """Coverage interval of each row of samples.

    Parameters
    ----------
    samples : array, shape (..., trials)
        Draws, in any order [output].
    probability : float
        Coverage probability [-].
    interval : {"shortest", "symmetric"}
        Shortest, or with equal probability on either side [-].

    Returns
    -------
    low : array, shape (...)
        Lower ends [output].
    high : array, shape (...)
        Upper ends [output].

    Raises
    ------
    RangeError
        When there are too few trials for the probability.

    References
    ----------
    JCGM 101:2008, 7.7.2 (symmetric), 7.7.4 (shortest).

    Examples
    --------
    >>> low, high = coverage_interval(np.arange(1.0, 101.0) ** 2, 0.5)
    >>> float(low), float(high)
    (1.0, 2601.0)
    """
    ordered = np.sort(samples, axis=-1)
    trials = ordered.shape[-1]
    inside = math.floor(probability * trials + 0.5)
    if not 0 < probability < 1 or not 0 < inside < trials:
        raise RangeError(
            f"{trials} trials cannot give an interval of probability {probability}.",
            mend="Use a probability between 0 and 1 and more trials.",
        )
    if interval == "symmetric":
        first = (trials - inside + 1) // 2 - 1
        return ordered[..., first], ordered[..., first + inside]
    lengths = ordered[..., inside:] - ordered[..., : trials - inside]
    start = np.argmin(lengths, axis=-1)[..., np.newaxis]
    low = np.take_along_axis(ordered, start, axis=-1)[..., 0]
    return low, np.take_along_axis(ordered, start + inside, axis=-1)[..., 0]


def monte_carlo(
    model: Model,
    sample: Sampler,
    seed: int,
    *,
    probability: float = 0.95,
    interval: IntervalKind = "shortest",
    trials: int | None = None,
    significant_digits: int = 2,
    tolerance_divisor: float = 1.0,
    most_trials: int = 2_000_000,
) -> MonteCarloResult:
    """Propagate distributions through a measurement model.

    Parameters
    ----------
    model : callable
        Takes a list of n arrays of shape (trials,), gives one such array or a sequence of m [-].
    sample : callable
        Draws the inputs; `InputQuantities.sample` is one [-].
    seed : int
        Start of the random numbers: the same seed gives the same result [-].
    probability : float
        Coverage probability [-].
    interval : {"shortest", "symmetric"}
        Kind of coverage interval [-].
    trials : int, optional
        A fixed number of trials. When left out, blocks are added until the result is steady [-].
    significant_digits : int
        Digits of the standard uncertainty that must be steady [-].
    tolerance_divisor : float
        The numerical tolerance is divided by this; 5 for validating the law of propagation [-].
    most_trials : int
        The adaptive procedure stops here, steady or not [-].

    Returns
    -------
    MonteCarloResult
        Estimates, standard uncertainties, coverage intervals and the samples themselves [output].

    Raises
    ------
    InputError
        When the model gives back something other than one value a trial.

    Notes
    -----
    Adaptive: after each block of max(100 / (1 - probability), 10 000) trials, stop once twice the standard
    deviation of the block averages of estimate, standard uncertainty and both ends lies under the tolerance,
    for every output.

    References
    ----------
    JCGM 101:2008, clause 7 and the adaptive procedure 7.9.4; 8.2 for the divisor 5; JCGM 102:2011, 7.8.

    Examples
    --------
    >>> from spoolwright.core.measurement.quantities import independent_quantities
    >>> inputs = independent_quantities([10.0, 2.0], [0.3, 0.4])
    >>> result = monte_carlo(lambda x: x[0] + x[1], inputs.sample, seed=1)
    >>> round(float(result.standard_uncertainties[0]), 1), result.settled
    (0.5, True)
    """
    generator = np.random.default_rng(seed)
    if trials is not None:
        samples = _outputs(model, sample(generator, trials), trials)
        return _result(samples, probability, interval, significant_digits, tolerance_divisor, False)
    block = max(math.ceil(100.0 / (1.0 - probability)), 10_000)
    blocks: list[FloatArray] = []
    figures: list[FloatArray] = []
    settled = False
    while not settled and (len(blocks) + 1) * block <= max(most_trials, 2 * block):
        drawn = _outputs(model, sample(generator, block), block)
        blocks.append(drawn)
        figures.append(_figures(drawn, probability, interval))
        if len(blocks) >= 2:
            settled = _steady(blocks, np.array(figures), significant_digits, tolerance_divisor)
    samples = np.concatenate(blocks, axis=1)
    return _result(samples, probability, interval, significant_digits, tolerance_divisor, settled)


def gum_validation(
    expanded: ExpandedUncertainty, result: MonteCarloResult, *, output: int = 0, significant_digits: int = 2
) -> Validation:
    """Test a law-of-propagation interval against a Monte Carlo interval of the same probability.

    Parameters
    ----------
    expanded : ExpandedUncertainty
        From the law of propagation [output].
    result : MonteCarloResult
        From Monte Carlo, best with a tolerance divisor of 5 [output].
    output : int
        Which output [-].
    significant_digits : int
        Digits of the standard uncertainty regarded as meaningful [-].

    Returns
    -------
    Validation
        Distances of the ends and the tolerance [output].

    Raises
    ------
    InputError
        When the two intervals have different coverage probabilities.

    References
    ----------
    JCGM 101:2008, 8.1.
    """
    if not math.isclose(expanded.probability, result.probability):
        raise InputError(
            f"the intervals have probabilities {expanded.probability} and {result.probability}.",
            mend="Compare intervals of one coverage probability.",
        )
    low, high = expanded.interval
    u = expanded.half_width / expanded.coverage_factor
    return Validation(
        difference_low=abs(low - float(result.low[output])),
        difference_high=abs(high - float(result.high[output])),
        tolerance=numerical_tolerance(u, significant_digits),
    )


def _outputs(model: Model, inputs: FloatArray, trials: int) -> FloatArray:
    given = model(list(inputs))
    outputs = np.atleast_2d(np.asarray(given, dtype=float))
    if outputs.ndim != 2 or outputs.shape[1] != trials:
        raise InputError(
            f"the model gave values of shape {np.shape(given)} for {trials} trials.",
            mend="Return one array of shape (trials,) or a sequence of them.",
        )
    return outputs


def _figures(samples: FloatArray, probability: float, interval: IntervalKind) -> FloatArray:
    """Estimate, standard uncertainty and both ends of every output, shape (4, m)."""
    low, high = coverage_interval(samples, probability, interval)
    return np.array([samples.mean(axis=1), samples.std(axis=1, ddof=1), low, high])


def _steady(blocks: list[FloatArray], figures: FloatArray, digits: int, divisor: float) -> bool:
    u = _pooled_deviation(figures[:, 0], figures[:, 1], blocks[0].shape[1])
    tolerance = np.array([numerical_tolerance(float(x), digits) for x in u]) / divisor
    spread = figures.std(axis=0, ddof=1) / math.sqrt(len(blocks))
    return bool(np.all(2.0 * spread <= tolerance))


def _pooled_deviation(means: FloatArray, deviations: FloatArray, block: int) -> FloatArray:
    """Standard deviation of all trials from those of equally long blocks."""
    within = (block - 1) * np.sum(deviations**2, axis=0)
    between = block * np.sum((means - means.mean(axis=0)) ** 2, axis=0)
    deviation: FloatArray = np.sqrt((within + between) / (block * means.shape[0] - 1))
    return deviation


def _result(
    samples: FloatArray,
    probability: float,
    interval: IntervalKind,
    digits: int,
    divisor: float,
    settled: bool,
) -> MonteCarloResult:
    estimates, u, low, high = _figures(samples, probability, interval)
    tolerance = np.array([numerical_tolerance(float(x), digits) for x in u]) / divisor
    return MonteCarloResult(samples, estimates, u, low, high, probability, interval, tolerance, settled)
