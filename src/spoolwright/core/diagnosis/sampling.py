"""The posterior over explanations and sizes as a weighted cloud of points, to weigh further checks
against."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.diagnosis.causes import Cause, size_density
from spoolwright.core.diagnosis.diagnosing import Weighing
from spoolwright.core.diagnosis.weighing import Explanation
from spoolwright.core.numerics import FloatArray

_LEAST = 0.001
"""Explanations less probable than this are left out."""
_GRID, _PAIR_GRID = 200, 40
"""Sizes at which the posterior of a cause alone, and of each cause of a pair, is read."""
_MANY, _FEW = 16, 6
"""Points for an explanation above and below 2 %."""


@dataclass(frozen=True)
class Cloud:
    """Points of the posterior over explanations and sizes.

    Parameters
    ----------
    explanations : tuple of Explanation
        Those that were kept [-].
    of : array of int, shape (N,)
        Which explanation each point belongs to [-].
    weights : array, shape (N,)
        Probability of each point, sum 1 [-].
    sizes : array, shape (N, C)
        Signed size of every cause, in the order of the weighing; 0 where it is absent [unit of the cause].
    """

    explanations: tuple[Explanation, ...]
    of: NDArray[np.intp]
    weights: FloatArray
    sizes: FloatArray


def cloud_of(weighing: Weighing) -> Cloud:
    """Draw the posterior as points, evenly spaced in probability.

    Parameters
    ----------
    weighing : Weighing
        An engine's runs, weighed [-].

    Returns
    -------
    Cloud
        Points of all explanations of at least 0.1 %; their probabilities are scaled to sum 1 [-].
    """
    kept = tuple(e for e in weighing.explanations if e.probability >= _LEAST)
    order = {c.id: i for i, c in enumerate(weighing.causes)}
    of, weights, rows = [], [], []
    for k, e in enumerate(kept):
        members = [order[i] for i in e.ids]
        points = _points(weighing, members, _MANY if e.probability > 0.02 else _FEW)
        sizes = np.zeros((len(points), len(weighing.causes)))
        sizes[:, members] = points
        of += [k] * len(points)
        weights += [e.probability / len(points)] * len(points)
        rows.append(sizes)
    w = np.array(weights)
    return Cloud(kept, np.array(of), w / w.sum(), np.concatenate(rows))


def effects(cloud: Cloud, slopes: FloatArray, curvatures: FloatArray) -> FloatArray:
    """What every point of a cloud does to some data.

    Parameters
    ----------
    cloud : Cloud
        Points [-].
    slopes, curvatures : array, shape (C, M)
        Of each cause's effect [-].

    Returns
    -------
    array, shape (N, M)
        Effects, those of two causes added [-].
    """
    return np.asarray(cloud.sizes @ slopes + cloud.sizes**2 @ curvatures)


def _points(weighing: Weighing, members: Sequence[int], count: int) -> FloatArray:
    """Signed sizes of an explanation's causes, each point as probable as the others."""
    if not members:
        return np.zeros((1, 0))
    n = _GRID if len(members) == 1 else _PAIR_GRID
    grids = [_grid(weighing.causes[i], n) for i in members]
    w = weighing.white
    rows = [
        s[:, None] * w.slopes[i] + s[:, None] ** 2 * w.curvatures[i]
        for (s, _), i in zip(grids, members, strict=True)
    ]
    log = [
        r @ w.residual - 0.5 * np.sum(r**2, axis=1) + np.log(p) for r, (_, p) in zip(rows, grids, strict=True)
    ]
    if len(members) == 1:
        sizes, gain = grids[0][0][:, None], log[0]
    else:
        gain = (log[0][:, None] + log[1] - rows[0] @ rows[1].T).ravel()
        sizes = np.stack(np.meshgrid(grids[0][0], grids[1][0], indexing="ij"), axis=-1).reshape(-1, 2)
    share = np.cumsum(np.exp(gain - gain.max()))
    return np.asarray(sizes[np.searchsorted(share, (np.arange(count) + 0.5) / count * share[-1])])


def _grid(cause: Cause, n: int) -> tuple[FloatArray, FloatArray]:
    """Signed sizes in rising order and the prior's share of each."""
    edges = np.geomspace(*cause.sizes, n + 1)
    size = np.sqrt(edges[1:] * edges[:-1])
    share = np.array([size_density(cause, float(s)) for s in size]) * np.diff(edges)
    if -1 not in cause.signs:
        return size, share / share.sum()
    return np.concatenate([-size[::-1], size]), 0.5 * np.concatenate([share[::-1], share]) / share.sum()
