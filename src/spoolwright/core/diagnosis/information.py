"""What a further check is expected to tell: fall of the uncertainty over explanations, before it is made.

Explanations are put into groups (what would have to be opened); only which group is right counts. The
information of a check is the mutual information between group and outcome, so it is never negative and never
above the entropy of the groups.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.numerics import FloatArray

_BATCHES = 16
"""Parts of the draws whose scatter gives the standard error."""


@dataclass(frozen=True)
class Gained:
    """What a check is expected to tell.

    Parameters
    ----------
    information : float
        Expected fall of the entropy over the groups [bit].
    error : float
        Standard error of `information` by drawing; 0 where it is exact [bit].
    apart : array, shape (G, G)
        Fall of the chance that the truth is one group and a draw from the posterior the other [-].
    """

    information: float
    error: float
    apart: FloatArray


def entropy(probability: FloatArray) -> FloatArray:
    """Shannon entropy along the last axis.

    Parameters
    ----------
    probability : array, shape (..., G)
        Probabilities that sum to 1 along the last axis [-].

    Returns
    -------
    array, shape (...)
        Entropy [bit].

    References
    ----------
    Shannon 1948, Bell System Technical Journal 27, 379, section 6.

    Examples
    --------
    >>> float(entropy(np.array([0.5, 0.25, 0.25])))
    1.5
    """
    p = np.asarray(probability, dtype=float)
    return np.asarray(-np.sum(p * np.log2(np.where(p > 0.0, p, 1.0)), axis=-1))


def grouped(weights: FloatArray, groups: NDArray[np.intp]) -> FloatArray:
    """Sums of weights by group.

    Parameters
    ----------
    weights : array, shape (..., N)
        Weights of explanations [-].
    groups : array of int, shape (N,)
        Group of each, numbered from 0 [-].

    Returns
    -------
    array, shape (..., G)
        Sums [-].

    Examples
    --------
    >>> grouped(np.array([0.5, 0.25, 0.25]), np.array([0, 1, 0])).tolist()
    [0.75, 0.25]
    """
    member = (groups[:, None] == np.arange(groups.max() + 1)).astype(float)
    return np.asarray(weights @ member)


def inspected(weights: FloatArray, groups: NDArray[np.intp], positive: FloatArray) -> Gained:
    """Information of an inspection that answers questions by yes or no.

    Parameters
    ----------
    weights : array, shape (N,)
        Probabilities of the explanations, sum 1 [-].
    groups : array of int, shape (N,)
        Group of each [-].
    positive : array, shape (Q, N)
        Probability of a yes to each question under each explanation; answers are independent given the
        explanation [-].

    Returns
    -------
    Gained
        Exact: over all 2^Q outcomes [-].

    References
    ----------
    Lindley 1956, Annals of Mathematical Statistics 27, 986 (information provided by an experiment).

    Examples
    --------
    A check that is right nine times in ten, of two explanations as probable as each other: 1 - H(0.1).

    >>> found = inspected(np.array([0.5, 0.5]), np.array([0, 1]), np.array([[0.9, 0.1]]))
    >>> round(found.information, 4)
    0.531
    """
    likelihood = np.ones((1, len(weights)))
    for yes in positive:
        likelihood = np.concatenate([likelihood * yes, likelihood * (1.0 - yes)])
    joint = grouped(likelihood * weights, groups)
    chance = joint.sum(axis=1)
    seen = chance > 0.0
    after = joint[seen] / chance[seen, None]
    before = grouped(weights, groups)
    information = float(entropy(before) - chance[seen] @ entropy(after))
    return Gained(max(information, 0.0), 0.0, _apart(before, chance[seen], after))


def measured(weights: FloatArray, groups: NDArray[np.intp], means: FloatArray, noise: FloatArray) -> Gained:
    """Information of a measurement with normal errors.

    Parameters
    ----------
    weights : array, shape (N,)
        Probabilities of the explanations, each at one size, sum 1 [-].
    groups : array of int, shape (N,)
        Group of each [-].
    means : array, shape (N, d)
        What each leads to expect, in units of the scatter: errors are independent with unit variance [-].
    noise : array, shape (T, D)
        Standard normal draws, D not below d, rows 2 k and 2 k + 1 of opposite sign: the same for all checks
        that are to be compared, so that their differences are known better than they are [-].

    Returns
    -------
    Gained
        By drawing: stratified over the explanations, antithetic in the errors [-].
    """
    draws = len(noise)
    share = np.cumsum(weights)
    true = np.searchsorted(share, (np.arange(draws) + 0.5) / draws * share[-1])
    y = means[true] + noise[:, : means.shape[1]]
    log = y @ means.T - 0.5 * np.sum(means**2, axis=1)
    log -= log.max(axis=1, keepdims=True)
    posterior = grouped(np.exp(log) * weights, groups)
    posterior /= posterior.sum(axis=1, keepdims=True)
    before = grouped(weights, groups)
    left = entropy(posterior)
    part = [float(left[(np.arange(draws) // 2) % _BATCHES == b].mean()) for b in range(_BATCHES)]
    error = float(np.std(part, ddof=1) / np.sqrt(_BATCHES))
    information = float(entropy(before) - left.mean())
    return Gained(max(information, 0.0), error, _apart(before, np.full(draws, 1.0 / draws), posterior))


def paired_noise(draws: int, dimensions: int, seed: int) -> FloatArray:
    """Standard normal draws in pairs of opposite sign.

    Parameters
    ----------
    draws : int
        How many, even [-].
    dimensions : int
        Numbers in each [-].
    seed : int
        Of the random generator: the same seed gives the same draws [-].

    Returns
    -------
    array, shape (draws, dimensions)
        Draws; the first numbers of each do not depend on `dimensions` beyond them [-].
    """
    half = np.random.default_rng(seed).standard_normal((dimensions, draws // 2)).T
    return np.asarray(np.stack([half, -half], axis=1).reshape(draws, dimensions))


def _apart(before: FloatArray, chance: FloatArray, after: FloatArray) -> FloatArray:
    fall = np.outer(before, before) - (after * chance[:, None]).T @ after
    np.fill_diagonal(fall, 0.0)
    return np.asarray(fall)
