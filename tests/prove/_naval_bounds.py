"""What can be reached on the open naval data set: by any linear function of six columns, and in coverage."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np
from _naval import DECAYS

from spoolwright.core.numerics import FloatArray

READABLE = (2, 3, 4, 7, 9, 10, 12, 13, 14, 15)
"""Columns of the set that a sensor could read: torque, speeds, temperatures, pressures, injection, fuel."""
_CELLS = 36
_WIDE = 5.5


def best_linear(rows: FloatArray, level: float) -> FloatArray:
    """Least error of each coefficient that a linear function of any six columns reaches, noise level given.

    Rows (n, 18) are all states at one lever position, alike probable. The coefficients of the function are
    those that are best on average over these states and the noise; a fit to fewer rows is no better.
    """
    truth = rows[:, DECAYS] - rows[:, DECAYS].mean(axis=0)
    errors = [_error(rows[:, list(six)], truth, level) for six in itertools.combinations(READABLE, 6)]
    return np.asarray(np.min(errors, axis=0))


def _error(x: FloatArray, truth: FloatArray, level: float) -> FloatArray:
    """Error of the best linear function of noisy readings."""
    middle = x.mean(axis=0)
    z = x / middle - 1.0
    noise = np.diag(level**2 * np.mean((x / middle) ** 2, axis=0))
    shared = z.T @ truth / len(z)
    weights = np.linalg.solve(z.T @ z / len(z) + noise, shared)
    return np.asarray(np.sqrt(np.mean(truth**2, axis=0) - np.sum(shared * weights, axis=0)))


def perfect_coverage(
    truth: FloatArray,
    covariance: FloatArray,
    bounds: tuple[FloatArray, FloatArray],
    shares: Sequence[float],
    draws: int,
) -> Mapping[float, FloatArray]:
    """Part of the central intervals that hold the truth, were the estimator perfect.

    Truths (n, 2) are read, each `draws` times, with normal errors of a known covariance; the prior is uniform
    within bounds, its posterior exact. Over truths drawn from that prior the part is the stated share. The
    set's truths stand on a grid, and those at the ends of the range always half a step within the bounds:
    there it is another.
    """
    rng = np.random.default_rng(1)
    ranks = np.concatenate([_ranks(truth, covariance, bounds, rng) for _ in range(draws)])
    return {share: np.mean(np.abs(ranks - 0.5) <= 0.5 * share, axis=0) for share in shares}


def _ranks(
    truth: FloatArray, covariance: FloatArray, bounds: tuple[FloatArray, FloatArray], rng: np.random.Generator
) -> FloatArray:
    """Posterior probability below each truth, as read once."""
    best = truth + rng.multivariate_normal(np.zeros(2), covariance, len(truth))
    spread = np.sqrt(np.diag(covariance))
    low, high = np.maximum(bounds[0], best - _WIDE * spread), np.minimum(bounds[1], best + _WIDE * spread)
    edges = np.linspace(low, high, _CELLS + 1, axis=-1)
    a, b = np.moveaxis(0.5 * (edges[..., 1:] + edges[..., :-1]) - best[..., None], 1, 0)
    p = np.linalg.inv(covariance)
    square = (
        p[0, 0] * a[:, :, None] ** 2 + p[1, 1] * b[:, None] ** 2 + 2.0 * p[0, 1] * a[:, :, None] * b[:, None]
    )
    weight = np.exp(-0.5 * (square - square.min(axis=(1, 2), keepdims=True)))
    weight /= weight.sum(axis=(1, 2), keepdims=True)
    return np.stack([_below(truth[:, c], edges[:, c], weight.sum(axis=2 - c)) for c in (0, 1)], axis=1)


def _below(x: FloatArray, edges: FloatArray, parts: FloatArray) -> FloatArray:
    """Posterior probability below x, row by row."""
    whole = np.concatenate([np.zeros((len(x), 1)), np.cumsum(parts, axis=1)], axis=1)
    return np.array([np.interp(v, e, w) for v, e, w in zip(x, edges, whole, strict=True)])
