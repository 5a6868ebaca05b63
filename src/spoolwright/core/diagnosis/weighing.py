"""How probable each cause is, and how large, given a run's residuals: Bayes' rule over causes and pairs."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from spoolwright.core.diagnosis.causes import Cause
from spoolwright.core.diagnosis.signatures import Signature
from spoolwright.core.numerics import FloatArray

_GRID = 240
"""Sizes at which a single cause is weighed."""
_PAIR_GRID = 48
"""Sizes of each cause at which a pair is weighed."""
_PAIRS = 40
"""Pairs that are weighed in full: those that fit best."""
_FAR = 60.0
"""A family whose most favourable ln likelihood lies so far below the best is left out of a pair."""


@dataclass(frozen=True)
class PriorShares:
    """How runs are shared out before they are looked at.

    Parameters
    ----------
    healthy, module, reading, pair : float
        Share of runs with nothing wrong, one module cause, one wrong reading, two causes at once [-].
    """

    healthy: float = 0.5
    module: float = 0.32
    reading: float = 0.1
    pair: float = 0.08


@dataclass(frozen=True)
class Sized:
    """A cause with how large it is, if it is the cause.

    Parameters
    ----------
    cause : Cause
        Which [-].
    mean, low, high : float
        Signed size: posterior mean, and the ends of the 90 % interval [unit of the cause].
    """

    cause: Cause
    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class Explanation:
    """One explanation of a run: nothing wrong (no cause), one cause, or two.

    Parameters
    ----------
    causes : tuple of Sized
        None, one or two [-].
    probability : float
        Posterior probability [-].
    log_evidence : float
        ln of the marginal likelihood over that of nothing wrong [-].
    """

    causes: tuple[Sized, ...]
    probability: float
    log_evidence: float

    @property
    def ids(self) -> tuple[str, ...]:
        """Ids of its causes [-]."""
        return tuple(s.cause.id for s in self.causes)


@dataclass(frozen=True)
class Whitened:
    """Residuals and signatures over the root of their covariance.

    Parameters
    ----------
    residual : array, shape (N,)
        What is to be explained [-].
    slopes, curvatures : array, shape (C, N)
        Of each cause's signature [-].
    errors : tuple of C array, shape (m, N)
        What is not known of each slope [-].
    families : array, shape (G, N)
        What each family of engines has beside the average engine [-].
    shares : array, shape (G,)
        Part of the engines that each family has [-].
    """

    residual: FloatArray
    slopes: FloatArray
    curvatures: FloatArray
    errors: tuple[FloatArray, ...]
    families: FloatArray
    shares: FloatArray


def whitened(
    residual: FloatArray,
    covariance: FloatArray,
    signatures: Sequence[Signature],
    families: FloatArray | None = None,
    shares: FloatArray | None = None,
) -> Whitened:
    """Divide residuals and signatures by the root of the covariance.

    Parameters
    ----------
    residual : array, shape (N,)
        Residual less what is expected of the average engine [-].
    covariance : array, shape (N, N)
        Of everything that scatters within a family [-].
    signatures : sequence of C Signature
        What causes do [-].
    families : array, shape (G, N), or None
        What each family of engines has beside the average engine; one family when None [-].
    shares : array, shape (G,), or None
        Part of the engines that each family has [-].

    Returns
    -------
    Whitened
        In units of the scatter [-].
    """
    from scipy.linalg import cholesky, solve_triangular

    if families is None or shares is None:
        families, shares = np.zeros((1, residual.size)), np.ones(1)
    lower = cholesky(covariance, lower=True)
    blocks = [residual[None], families, *(s.slope[None] for s in signatures)]
    blocks += [*(s.curvature[None] for s in signatures), *(s.errors for s in signatures)]
    done = solve_triangular(lower, np.concatenate(blocks).T, lower=True).T
    first, n = 1 + len(families), len(signatures)
    ends = first + 2 * n + np.cumsum([0, *(len(s.errors) for s in signatures)])
    errors = tuple(done[a:b] for a, b in itertools.pairwise(ends))
    slopes, curvatures = done[first : first + n], done[first + n : first + 2 * n]
    return Whitened(done[0], slopes, curvatures, errors, done[1:first], shares)


_Found = tuple[tuple[int, ...], float, float, list[tuple[float, float, float]]]


def weighed(w: Whitened, causes: Sequence[Cause], shares: PriorShares) -> list[Explanation]:
    """Posterior probabilities of nothing wrong, every cause, and pairs of causes.

    Parameters
    ----------
    w : Whitened
        Residual and signatures [-].
    causes : sequence of C Cause
        In the order of the signatures [-].
    shares : PriorShares
        Prior [-].

    Returns
    -------
    list of Explanation
        Most probable first; probabilities sum to 1 [-].

    Notes
    -----
    The likelihood is normal within each family of engines, and families are summed over; a size is
    integrated over its prior on a grid, exact in the parabola of the signature and in the errors of its
    slope, which grow with the size. A pair adds the effects of its causes; of the pairs, those that fit best
    are weighed, the errors of their slopes taken at their mean sizes.
    """
    products = _Products(w)
    part = {
        kind: share / max(sum(c.weight for c in causes if c.kind == kind), 1e-300)
        for kind, share in (("module", shares.module), ("reading", shares.reading))
    }
    found: list[_Found] = [((), math.log(shares.healthy), 0.0, [])]
    for i, c in enumerate(causes):
        evidence, interval = _single(w, products, i, c)
        found.append(((i,), math.log(part[c.kind] * c.weight), evidence, [interval]))
    found += _pairs(w, products, causes, shares.pair)
    return _ranked(found, causes)


def family_weights(w: Whitened, effect: FloatArray) -> FloatArray:
    """Probability of each family, given what a cause does.

    Parameters
    ----------
    w : Whitened
        Residual and families [-].
    effect : array, shape (N,)
        Effect of the causes, over the root of the covariance [-].

    Returns
    -------
    array, shape (G,)
        Probabilities [-].
    """
    logs = np.log(w.shares) - 0.5 * np.sum((w.residual - effect - w.families) ** 2, axis=1)
    weight = np.exp(logs - logs.max())
    return np.asarray(weight / weight.sum())


def _ranked(found: list[_Found], causes: Sequence[Cause]) -> list[Explanation]:
    logs = np.array([prior + evidence for _, prior, evidence, _ in found])
    probability = np.exp(logs - logs.max())
    probability /= probability.sum()
    out = [
        Explanation(
            tuple(Sized(causes[i], *x) for i, x in zip(members, intervals, strict=True)),
            float(p),
            float(evidence),
        )
        for p, (members, _, evidence, intervals) in zip(probability, found, strict=True)
    ]
    return sorted(out, key=lambda e: -e.probability)


class _Products:
    """Inner products that the likelihood is made of: |r - f|^2 is a polynomial in the sizes, by family."""

    def __init__(self, w: Whitened) -> None:
        own = w.residual - w.families
        self.ra, self.rb = own @ w.slopes.T, own @ w.curvatures.T
        self.aa, self.ab = w.slopes @ w.slopes.T, w.slopes @ w.curvatures.T
        self.bb = w.curvatures @ w.curvatures.T
        base = np.log(w.shares) - 0.5 * np.sum(own**2, axis=1)
        self.base = base - base.max() - math.log(float(np.sum(np.exp(base - base.max()))))

    def gain(self, i: int, s: FloatArray) -> FloatArray:
        """ln likelihood of a single cause at signed sizes over that of nothing wrong, shape (G, sizes)."""
        square = self.aa[i, i] * s**2 + 2.0 * self.ab[i, i] * s**3 + self.bb[i, i] * s**4
        return np.asarray(self.ra[:, i, None] * s + self.rb[:, i, None] * s**2 - 0.5 * square)

    def shared(self, i: int, j: int, s: FloatArray, t: FloatArray) -> FloatArray:
        """Inner product of two causes' effects at signed sizes."""
        linear = self.aa[i, j] * s * t + self.ab[i, j] * s * t**2 + self.ab[j, i] * s**2 * t
        return np.asarray(linear + self.bb[i, j] * s**2 * t**2)


def _grid(c: Cause, n: int) -> tuple[FloatArray, FloatArray]:
    """Signed sizes and the prior's share of each."""
    low, high = c.sizes
    space = np.linspace if c.kind == "module" else np.geomspace
    edges = space(low, high, n + 1)
    size = 0.5 * (edges[1:] + edges[:-1])
    share = np.diff(edges) if c.kind == "module" else -np.diff(1.0 / edges)
    share = share / (share.sum() * len(c.signs))
    return np.concatenate([sign * size for sign in c.signs]), np.tile(share, len(c.signs))


def _single(w: Whitened, products: _Products, i: int, c: Cause) -> tuple[float, tuple[float, float, float]]:
    s, share = _grid(c, _GRID)
    gain = products.base[:, None] + products.gain(i, s) + _allowance(w, i, s)
    top = float(gain.max())
    weight = share * np.exp(gain - top).sum(axis=0)
    total = float(weight.sum())
    return top + math.log(total), _interval(s, weight / total)


def _allowance(w: Whitened, i: int, s: FloatArray) -> FloatArray:
    """What the errors of a cause's slope add to the ln likelihood at signed sizes, shape (G, sizes)."""
    errors = w.errors[i]
    if not len(errors):
        return np.zeros((len(w.shares), s.size))
    variance, axes = _axes(errors)
    own = (w.residual - w.families) @ axes.T
    effect = (axes @ w.slopes[i])[:, None] * s + (axes @ w.curvatures[i])[:, None] * s**2
    grown = variance[:, None] * s**2
    left = (own[:, :, None] - effect) ** 2 * (grown / (1.0 + grown))
    return np.asarray(0.5 * (left.sum(axis=1) - np.log1p(grown).sum(axis=0)))


def _axes(errors: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Principal axes of errors, shape (m, N), with the variance along each."""
    variance, mixed = np.linalg.eigh(errors @ errors.T)
    keep = variance > 1e-8 * max(float(variance[-1]), 1e-300)
    variance = variance[keep]
    return variance, (mixed[:, keep] / np.sqrt(variance)).T @ errors


def _interval(s: FloatArray, weight: FloatArray) -> tuple[float, float, float]:
    order = np.argsort(s)
    s, weight = s[order], weight[order]
    below = np.cumsum(weight) - 0.5 * weight
    low, high = np.interp((0.05, 0.95), below, s)
    return float(s @ weight), float(low), float(high)


def _pairs(w: Whitened, products: _Products, causes: Sequence[Cause], share: float) -> list[_Found]:
    """Pairs of module causes, and of a module cause with a wrong reading; the best fitting alone."""
    allowed = [
        (i, j)
        for i in range(len(causes))
        for j in range(i + 1, len(causes))
        if "module" in (causes[i].kind, causes[j].kind)
    ]
    if not allowed or share <= 0.0:
        return []
    i, j = np.array(allowed).T
    order = np.argsort(-_best_gain(products, i, j))[:_PAIRS]
    prior = math.log(share / len(allowed))
    out: list[_Found] = []
    for k in order:
        members = (int(i[k]), int(j[k]))
        evidence, intervals = _pair(products, *members, causes)
        evidence += _pair_allowance(w, members, [x[0] for x in intervals])
        out.append((members, prior, evidence, intervals))
    return out


def _best_gain(products: _Products, i: Any, j: Any) -> FloatArray:
    """Gain of the best straight-line fit of each pair in its best family, sizes free."""
    aii, ajj, aij = products.aa[i, i] + 1e-9, products.aa[j, j] + 1e-9, products.aa[i, j]
    ri, rj = products.ra[:, i], products.ra[:, j]
    det = np.maximum(aii * ajj - aij**2, 1e-6 * aii * ajj)
    gain = 0.5 * (ajj * ri**2 - 2.0 * aij * ri * rj + aii * rj**2) / det
    return np.asarray(np.max(products.base[:, None] + gain, axis=0))


def _pair(
    products: _Products, i: int, j: int, causes: Sequence[Cause]
) -> tuple[float, list[tuple[float, float, float]]]:
    (s, ps), (t, pt) = _grid(causes[i], _PAIR_GRID), _grid(causes[j], _PAIR_GRID)
    one, other, both = products.gain(i, s), products.gain(j, t), products.shared(i, j, s[:, None], t)
    reach = products.base + one.max(axis=1) + other.max(axis=1)
    near = [g for g in range(len(reach)) if reach[g] > reach.max() - _FAR or len(reach) == 1]
    gains = [products.base[g] + one[g][:, None] + other[g] - both for g in near]
    top = max(float(g.max()) for g in gains)
    weight = ps[:, None] * pt * sum(np.exp(g - top) for g in gains)
    total = float(weight.sum())
    weight = weight / total
    return top + math.log(total), [_interval(s, weight.sum(axis=1)), _interval(t, weight.sum(axis=0))]


def _pair_allowance(w: Whitened, members: tuple[int, int], sizes: Sequence[float]) -> float:
    """What the errors of both slopes add to the ln likelihood at given sizes."""
    errors = np.concatenate([w.errors[i] * s for i, s in zip(members, sizes, strict=True)])
    if not len(errors):
        return 0.0
    effect = np.zeros_like(w.residual)
    for i, s in zip(members, sizes, strict=True):
        effect = effect + w.slopes[i] * s + w.curvatures[i] * s**2
    variance, axes = _axes(errors)
    left = (w.residual - effect - w.families) @ axes.T
    gain = 0.5 * (left**2 @ (variance / (1.0 + variance)) - np.log1p(variance).sum())
    weights = family_weights(w, effect)
    top = float(gain.max())
    return top + math.log(float(weights @ np.exp(gain - top)))
