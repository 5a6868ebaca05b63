"""One run weighed against every cause under JAX, made to be mapped over runs; the formulas of `weighing`.

Arrays keep their size whatever the run: causes of one sign have their grid filled up with the largest size at
no weight, and causes with fewer errors of their slope have rows of zeros.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Any

import numpy as np

from spoolwright.core.diagnosis.causes import Cause
from spoolwright.core.diagnosis.weighing import _GRID, _PAIR_GRID, _PAIRS, PriorShares, _grid
from spoolwright.core.numerics import FloatArray


class Odds:
    """Prior of the explanations of a run, as arrays.

    Parameters
    ----------
    causes : sequence of C Cause
        Module causes first, readings after them [-].
    shares : PriorShares
        Prior of the causes [-].
    families : array, shape (G,)
        Part of the engines that each family has [-].
    """

    def __init__(self, causes: Sequence[Cause], shares: PriorShares, families: FloatArray) -> None:
        self.families = np.log(families)
        self.modules = sum(c.kind == "module" for c in causes)
        self.sizes, self.weights = _grids(causes, _GRID)
        self.pair_sizes, self.pair_weights = _grids(causes, _PAIR_GRID)
        kinds = {"module": shares.module, "reading": shares.reading}
        part = {k: s / max(sum(c.weight for c in causes if c.kind == k), 1e-300) for k, s in kinds.items()}
        singles = [math.log(part[c.kind] * c.weight) for c in causes]
        pairs = [p for p in itertools.combinations(range(len(causes)), 2) if p[0] < self.modules]
        self.pairs = np.array(pairs if shares.pair > 0.0 else [], dtype=int).reshape(-1, 2)
        self.kept = min(_PAIRS, len(self.pairs))
        pair = math.log(shares.pair / len(self.pairs)) if self.kept else 0.0
        self.priors = np.array([math.log(shares.healthy), *singles, *[pair] * self.kept])


def _grids(causes: Sequence[Cause], n: int) -> tuple[FloatArray, FloatArray]:
    """Rising sizes of every cause and the prior's share of each, filled up to one length."""
    sizes, shares = [], []
    for cause in causes:
        s, share = _grid(cause, n)
        order = np.argsort(s)
        fill = 2 * n - len(s)
        sizes.append(np.concatenate([s[order], np.full(fill, s.max())]))
        shares.append(np.concatenate([share[order], np.zeros(fill)]))
    return np.array(sizes), np.array(shares)


@dataclass(frozen=True)
class _Products:
    """Inner products that the likelihood is made of; C causes, M of them in modules, G families."""

    base: Any  # (G,): ln of each family's part when nothing is wrong
    ra: Any  # (G, C)
    rb: Any
    aa: Any  # (C, C)
    ab: Any
    bb: Any
    er: Any  # (G, M + 1, m): errors by residual, the last for a wrong reading, which has none
    ea: Any  # (M + 1, m, C): errors by slopes
    eb: Any
    ee: Any  # (M + 1, m, M + 1, m)


def weighed(
    odds: Odds,
    residuals: Any,
    covariance: Any,
    slopes: Any,
    curvatures: Any,
    errors: Any,
    twins: tuple[Any, Any],
) -> dict[str, Any]:
    """Explanations of one run: nothing wrong, every cause, and the pairs that fit best.

    Parameters
    ----------
    odds : Odds
        Prior of C causes, M of them in modules, and of G families [-].
    residuals : array, shape (G, N)
        What is to be explained in each family [-].
    covariance : array, shape (N, N)
        What scatters [-].
    slopes : array, shape (C, N)
        Of the causes' signatures [1 / unit of the cause].
    curvatures, errors : array, shape (M, N) and (M, m, N)
        Of module causes [1 / square of the unit, 1 / unit].
    twins : array, shape (T,) and (W, T)
        Surprise of readings that ought to agree, and what each wrong reading does to it [-].

    Returns
    -------
    dict
        By explanation: "members" (X, 2) indices of causes, -1 for none; "evidence" and "probability" (X,);
        "sizes" (X, 2, 3) mean and ends of the 90 % interval, NaN for none [-].
    """
    from jax import numpy as jnp

    pr = _products(
        odds, _whitened(residuals, covariance, slopes, curvatures, errors, twins), errors.shape[:2]
    )
    single, single_sizes = _singles(odds, pr)
    count = len(single)
    pairs = jnp.asarray(odds.pairs)[_best(odds, pr)]
    pair, pair_sizes = _pairs(odds, pr, pairs[:, 0], pairs[:, 1])
    alone = np.stack([np.arange(-1, count), np.full(count + 1, -1)], axis=1)
    evidence = jnp.concatenate([jnp.zeros(1), single, pair])
    logs = odds.priors + evidence
    weight = jnp.exp(logs - logs.max())
    nothing = jnp.full((count + 1, 2, 3), jnp.nan)
    return {
        "members": jnp.concatenate([alone, pairs]),
        "evidence": evidence,
        "probability": weight / weight.sum(),
        "sizes": jnp.concatenate([nothing.at[1:, 0].set(single_sizes), pair_sizes]),
    }


def _whitened(
    residuals: Any, covariance: Any, slopes: Any, curvatures: Any, errors: Any, twins: tuple[Any, Any]
) -> tuple[Any, Any, Any, Any]:
    """Residuals by family, slopes, curvatures, errors over the root of the covariance; twins beside."""
    from jax import numpy as jnp
    from jax.scipy.linalg import solve_triangular

    modules, m, n = errors.shape
    extra, moved = twins
    parts = [residuals, slopes, curvatures, errors.reshape(-1, n)]
    lower = jnp.linalg.cholesky(covariance)
    white = solve_triangular(lower, jnp.concatenate(parts).T, lower=True).T
    ends = np.cumsum([len(x) for x in parts]).tolist()
    r, a, b, e = (white[i - len(x) : i] for i, x in zip(ends, parts, strict=True))
    r = jnp.concatenate([r, jnp.broadcast_to(extra, (len(r), len(extra)))], axis=1)
    a = jnp.concatenate([a, jnp.pad(moved, ((modules, 0), (0, 0)))], axis=1)
    b = jnp.pad(b, ((0, len(slopes) - modules), (0, len(extra))))
    return r, a, b, jnp.pad(e, ((0, m), (0, len(extra))))


def _products(odds: Odds, white: tuple[Any, Any, Any, Any], errors: tuple[int, int]) -> _Products:
    import jax
    from jax import numpy as jnp

    r, a, b, e = white
    by = (errors[0] + 1, errors[1])
    base = odds.families - 0.5 * jnp.sum(r**2, axis=1)
    return _Products(
        base - jax.nn.logsumexp(base), r @ a.T, r @ b.T, a @ a.T, a @ b.T, b @ b.T,
        (r @ e.T).reshape(-1, *by), (e @ a.T).reshape(*by, -1), (e @ b.T).reshape(*by, -1),
        (e @ e.T).reshape(*by, *by),
    )  # fmt: skip


def _gain(pr: _Products, i: Any, s: Any) -> Any:
    """ln likelihood of causes i at signed sizes s (len(i), S), over that of nothing wrong, by family."""
    first, second = pr.ra[:, i, None], (pr.rb[:, i] - 0.5 * pr.aa[i, i])[:, :, None]
    third, fourth = pr.ab[i, i][:, None], 0.5 * pr.bb[i, i][:, None]
    return s * (first + s * (second - s * (third + s * fourth)))


def _singles(odds: Odds, pr: _Products) -> tuple[Any, Any]:
    """Log evidence and sizes of single causes."""
    from jax import numpy as jnp

    s = jnp.asarray(odds.sizes)
    gain = pr.base[:, None, None] + _gain(pr, np.arange(len(s)), s)
    gain = gain.at[:, : odds.modules].add(_allowances(pr, s[: odds.modules]))
    top = gain.max(axis=(0, 2))
    weight = odds.weights * jnp.exp(gain - top[:, None]).sum(axis=0)
    total = weight.sum(axis=1)
    return top + jnp.log(total), _intervals(s, weight / total[:, None])


def _allowances(pr: _Products, s: Any) -> Any:
    """What the errors of the slopes of module causes add at signed sizes, by family, see `weighing`."""
    from jax import numpy as jnp

    i = np.arange(len(s))
    variance, mixed = jnp.linalg.eigh(pr.ee[i, :, i, :])
    keep = variance > 1e-8 * jnp.maximum(variance[:, -1:], 1e-300)
    variance = jnp.where(keep, variance, 0.0)
    mixed = mixed * jnp.where(keep, 1.0 / jnp.sqrt(variance), 0.0)[:, None, :]
    a, b = (jnp.einsum("cem,ce->cm", mixed, x[i, :, i])[..., None] for x in (pr.ea, pr.eb))
    own = jnp.einsum("cem,gce->gcm", mixed, pr.er[:, i])[..., None]
    s = s[:, None, :]
    grown = variance[..., None] * s**2
    left = (own - s * (a + s * b)) ** 2 * (grown / (1.0 + grown))
    return 0.5 * (left.sum(axis=2) - jnp.log1p(grown).sum(axis=1))


def _intervals(s: Any, weight: Any) -> Any:
    """Mean and ends of the 90 % interval of each row, shape (rows, 3); sizes rise along a row."""
    import jax
    from jax import numpy as jnp

    below = jnp.cumsum(weight, axis=1) - 0.5 * weight
    ends = jax.vmap(jnp.interp, (None, 0, 0))(jnp.array([0.05, 0.95]), below, s)
    return jnp.concatenate([jnp.sum(s * weight, axis=1)[:, None], ends], axis=1)


def _best(odds: Odds, pr: _Products) -> Any:
    """The pairs that straight lines fit best, each in its best family."""
    import jax
    from jax import numpy as jnp

    i, j = odds.pairs.T
    aii, ajj, aij = pr.aa[i, i] + 1e-9, pr.aa[j, j] + 1e-9, pr.aa[i, j]
    ri, rj = pr.ra[:, i], pr.ra[:, j]
    det = jnp.maximum(aii * ajj - aij**2, 1e-6 * aii * ajj)
    gain = 0.5 * (ajj * ri**2 - 2.0 * aij * ri * rj + aii * rj**2) / det
    return jax.lax.top_k(jnp.max(pr.base[:, None] + gain, axis=0), odds.kept)[1]


def _pairs(odds: Odds, pr: _Products, i: Any, j: Any) -> tuple[Any, Any]:
    """Log evidence and sizes of pairs."""
    from jax import numpy as jnp

    sizes, weights = jnp.asarray(odds.pair_sizes), jnp.asarray(odds.pair_weights)
    s, t = sizes[i], sizes[j]
    linear, bent = pr.aa[i, j][:, None, None], pr.bb[i, j][:, None, None]
    ab, ba = pr.ab[i, j][:, None, None], pr.ab[j, i][:, None, None]
    x, y = s[:, :, None], t[:, None, :]
    shared = x * y * (linear + ab * y + ba * x + bent * x * y)
    one, other = pr.base[:, None, None] + _gain(pr, i, s), _gain(pr, j, t)
    # family by family, so that the compiler makes no array over families, pairs and both sizes
    gains = [one[g][:, :, None] + other[g][:, None, :] - shared for g in range(len(one))]
    top = reduce(jnp.maximum, [g.max(axis=(1, 2)) for g in gains])
    weight = sum(jnp.exp(g - top[:, None, None]) for g in gains)
    weight = weights[i][:, :, None] * weights[j][:, None, :] * weight
    by_s, by_t = weight.sum(axis=2), weight.sum(axis=1)
    total = by_s.sum(axis=1)
    found = jnp.stack([_intervals(s, by_s / total[:, None]), _intervals(t, by_t / total[:, None])], axis=1)
    return top + jnp.log(total) + _pair_allowances(odds, pr, (i, j), (found[:, 0, 0], found[:, 1, 0])), found


def _pair_allowances(odds: Odds, pr: _Products, members: tuple[Any, Any], sizes: tuple[Any, Any]) -> Any:
    """What the errors of both slopes add at given sizes: by the determinant lemma, without their axes."""
    import jax
    from jax import numpy as jnp
    from jax.scipy.linalg import solve_triangular

    block, m = [jnp.minimum(k, odds.modules) for k in members], pr.er.shape[2]
    scale = jnp.repeat(jnp.stack(sizes, axis=1), m, axis=1)
    gram = jnp.concatenate(
        [jnp.concatenate([pr.ee[k, :, q, :] for q in block], axis=2) for k in block], axis=1
    )
    lower = jnp.linalg.cholesky(jnp.eye(2 * m) + scale[:, :, None] * gram * scale[:, None, :])
    left = jnp.concatenate([_left(pr, k, members, sizes) for k in block], axis=2) * scale
    half = solve_triangular(lower, left.transpose(1, 2, 0), lower=True)
    logs = jnp.log(jnp.diagonal(lower, axis1=1, axis2=2)).sum(axis=1)
    family = pr.base[:, None] + sum(
        pr.ra[:, c] * s + pr.rb[:, c] * s**2 for c, s in zip(members, sizes, strict=True)
    )
    gain = 0.5 * jnp.sum(half**2, axis=1).T + jax.nn.log_softmax(family, axis=0)
    return jax.nn.logsumexp(gain, axis=0) - logs


def _left(pr: _Products, k: Any, members: tuple[Any, Any], sizes: tuple[Any, Any]) -> Any:
    """Errors k by what the pair leaves of the residual, shape (G, pairs, m)."""
    effect = [
        pr.ea[k, :, c] * s[:, None] + pr.eb[k, :, c] * s[:, None] ** 2
        for c, s in zip(members, sizes, strict=True)
    ]
    return pr.er[:, k] - effect[0] - effect[1]
