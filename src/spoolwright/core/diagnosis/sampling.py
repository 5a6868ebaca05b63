"""The posterior over explanations and sizes as a weighted cloud of points, to weigh further checks by."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
_MANY, _FEW = 24, 8
"""Points for an explanation above and below 2 %."""
_SEED = 17


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
    slips : array, shape (N, L)
        Errors of the causes' slopes times the size, those of every cause one after the other, then one more
        a cause: the error of its effect on an output that was not recorded [unit of the cause].
    owner : array of int, shape (L,)
        Which cause each of these errors belongs to [-].
    """

    explanations: tuple[Explanation, ...]
    of: NDArray[np.intp]
    weights: FloatArray
    sizes: FloatArray
    slips: FloatArray
    owner: NDArray[np.intp]


@dataclass(frozen=True)
class Effects:
    """What every cause does to M data.

    Parameters
    ----------
    slopes, curvatures : array, shape (C, M)
        Of each cause's effect [1 / unit of the cause, 1 / its square].
    errors : array, shape (L, M)
        What is not known of the slopes, in the order of `Cloud.slips` [1 / unit of the cause].
    """

    slopes: FloatArray
    curvatures: FloatArray
    errors: FloatArray

    def of(self, cloud: Cloud, left: FloatArray | None = None) -> FloatArray:
        """What every point of a cloud does to the data.

        Parameters
        ----------
        cloud : Cloud
            Points [-].
        left : array, shape (C,), or None
            Part of each cause's size that is still there; all when None [-].

        Returns
        -------
        array, shape (N, M)
            Effects, those of two causes added [-].
        """
        part = np.ones(cloud.sizes.shape[1]) if left is None else left
        sizes, slips = cloud.sizes * part, cloud.slips * part[cloud.owner]
        return np.asarray(sizes @ self.slopes + sizes**2 @ self.curvatures + slips @ self.errors)


def cloud_of(weighing: Weighing) -> Cloud:
    """Draw the posterior as points, evenly spaced in probability over the sizes.

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
    count = [len(s.errors) for s in weighing.signatures]
    causes = np.arange(len(count))
    owner = np.concatenate([np.repeat(causes, count), causes])
    random = np.random.default_rng(_SEED)
    of, weights, sizes, slips = [], [], [], []
    for k, e in enumerate(kept):
        members = [order[i] for i in e.ids]
        points = _points(weighing, members, _MANY if e.probability > 0.02 else _FEW)
        n = len(points)
        of += [k] * n
        weights += [e.probability / n] * n
        sizes.append(np.zeros((n, len(causes))))
        sizes[-1][:, members] = points
        slips.append(_slips(weighing, members, points, owner, random))
    w = np.array(weights)
    return Cloud(kept, np.array(of), w / w.sum(), np.concatenate(sizes), np.concatenate(slips), owner)


def seen_effects(weighing: Weighing, rows: slice = slice(None)) -> Effects:
    """What every cause does to the residuals that were seen.

    Parameters
    ----------
    weighing : Weighing
        An engine's runs, weighed [-].
    rows : slice
        Which of the stacked residuals [-].

    Returns
    -------
    Effects
        Effects on them [-].
    """
    of = weighing.signatures
    slopes = np.array([s.slope[rows] for s in of])
    errors = np.concatenate([*(s.errors[:, rows] for s in of), np.zeros_like(slopes)])
    return Effects(slopes, np.array([s.curvature[rows] for s in of]), errors)


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
        sizes = grids[0][0][:, None]
        gain = log[0] + _allowance(w.residual - rows[0], sizes, w.errors[members[0]])
    else:
        gain = (log[0][:, None] + log[1] - rows[0] @ rows[1].T).ravel()
        sizes = np.stack(np.meshgrid(grids[0][0], grids[1][0], indexing="ij"), axis=-1).reshape(-1, 2)
    share = np.cumsum(np.exp(gain - gain.max()))
    return np.asarray(sizes[np.searchsorted(share, (np.arange(count) + 0.5) / count * share[-1])])


def _allowance(left: FloatArray, sizes: FloatArray, errors: FloatArray) -> FloatArray:
    """What the errors of a slope add to the ln likelihood at signed sizes, their values integrated out."""
    variance, axes = np.linalg.eigh(errors @ errors.T)
    grown = 1.0 + np.maximum(variance, 0.0) * sizes**2
    along = sizes * (left @ (axes.T @ errors).T)
    return np.asarray(0.5 * np.sum(along**2 / grown - np.log(grown), axis=1))


def _slips(
    weighing: Weighing,
    members: Sequence[int],
    points: FloatArray,
    owner: NDArray[np.intp],
    random: np.random.Generator,
) -> FloatArray:
    """Draws of the errors of the slopes given what was seen, times the size."""
    w, n = weighing.white, len(points)
    out = np.zeros((n, len(owner)))
    known = len(owner) - len(weighing.causes)
    if not members:
        return out
    errors = np.concatenate([w.errors[i] for i in members])
    of = np.repeat(np.arange(len(members)), [len(w.errors[i]) for i in members])
    moved = points[:, of, None] * errors
    left = w.residual - points @ w.slopes[members] - points**2 @ w.curvatures[members]
    precision = np.eye(len(errors)) + moved @ moved.transpose(0, 2, 1)
    mean = np.linalg.solve(precision, (moved @ left[:, :, None]))[:, :, 0]
    lower = np.linalg.cholesky(precision)
    drawn = random.standard_normal((n, len(errors)))
    drawn = mean + np.linalg.solve(lower.transpose(0, 2, 1), drawn[:, :, None])[:, :, 0]
    places = np.concatenate([np.flatnonzero(owner[:known] == i) for i in members])
    out[:, places] = points[:, of] * drawn
    out[:, known + np.array(members)] = points * random.standard_normal(points.shape)
    return out


def _grid(cause: Cause, n: int) -> tuple[FloatArray, FloatArray]:
    """Signed sizes in rising order and the prior's share of each."""
    edges = np.geomspace(*cause.sizes, n + 1)
    size = np.sqrt(edges[1:] * edges[:-1])
    share = np.array([size_density(cause, float(s)) for s in size]) * np.diff(edges)
    if -1 not in cause.signs:
        return size, share / share.sum()
    return np.concatenate([-size[::-1], size]), 0.5 * np.concatenate([share[::-1], share]) / share.sum()


def left_of(weighing: Weighing, kept: Mapping[str, float]) -> FloatArray:
    """Part of each cause's size that is still there.

    Parameters
    ----------
    weighing : Weighing
        An engine's runs, weighed [-].
    kept : mapping of str to float
        Part that is left of some causes [-].

    Returns
    -------
    array, shape (C,)
        Parts; 1 where nothing is said [-].
    """
    return np.array([kept.get(c.id, 1.0) for c in weighing.causes])
