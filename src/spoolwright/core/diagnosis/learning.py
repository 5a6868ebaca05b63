"""Calibration: what runs of a shop's own engines say of the type's model, of builds and of the bench."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.diagnosis.comparison import Compared, compared
from spoolwright.core.diagnosis.observation import Observation
from spoolwright.core.diagnosis.terms import (
    COMMON,
    LINE,
    PRIOR,
    SPREADS,
    WIDTH,
    build_scatter,
    common_columns,
    factors_along,
    line_columns,
    line_prior,
    reading_scatter,
    run_scatter,
)
from spoolwright.core.numerics import FloatArray

PASSES = 3
"""How often the model is run again at the shape just learnt."""
_STEPS = 30
_LINE_STEPS = 60
_LINE_WEIGHT = 6.0
"""How many engines the prior of their own lines counts for."""


@dataclass(frozen=True)
class EngineRuns:
    """All runs of one engine in one state, as one linear problem.

    Parameters
    ----------
    residual : array, shape (N,)
        Against the model without any common coefficient [-].
    common : array, shape (N, COMMON)
        What each common coefficient gives [-].
    scatter : array, shape (N, N)
        Covariance by the scatter of readings [-].
    columns : array, shape (N, M)
        What random causes of unit variance give, before the multipliers [-].
    spread : array of int, shape (M,)
        Multiplier of each column, see `SPREADS` [-].
    line : array, shape (N, LINE)
        What the engine's own line gives [-].
    """

    residual: FloatArray
    common: FloatArray
    scatter: FloatArray
    columns: FloatArray
    spread: NDArray[np.intp]
    line: FloatArray


def engine_runs(model: EngineModel, runs: Sequence[Compared], common: FloatArray) -> EngineRuns:
    """Put the runs of one engine in one state together.

    Parameters
    ----------
    model : EngineModel
        Model of the type [-].
    runs : sequence of Compared
        Compared with the model at the factors of `common` [-].
    common : array, shape (COMMON,)
        Coefficients whose factors the model was run with [-].

    Returns
    -------
    EngineRuns
        The problem [-].
    """
    reference = model.data.reference
    designs = [common_columns(c, reference.temperature, reference.pressure) for c in runs]
    physical = common.copy()
    physical[-(COMMON - _physical()) :] = 0.0
    residual = [c.vector + a @ physical for c, a in zip(runs, designs, strict=True)]
    builds = [build_scatter(c) for c in runs]
    own = [run_scatter(c) for c in runs]
    blocks = _diagonal([s.columns for s in own])
    return EngineRuns(
        np.concatenate(residual),
        np.concatenate(designs),
        _diagonal([reading_scatter(c) for c in runs]),
        np.concatenate([np.concatenate([s.columns for s in builds]), blocks], axis=1),
        np.concatenate([builds[0].spread, *(s.spread for s in own)]),
        np.concatenate([line_columns(c) for c in runs]),
    )


def _physical() -> int:
    from spoolwright.core.diagnosis.comparison import FACTORS
    from spoolwright.core.diagnosis.terms import SHAPES

    return len(FACTORS) * len(SHAPES)


def _diagonal(blocks: Sequence[FloatArray]) -> FloatArray:
    from scipy.linalg import block_diag

    return np.asarray(block_diag(*blocks), dtype=float)


@dataclass(frozen=True)
class Posterior:
    """Common coefficients at given multipliers.

    Parameters
    ----------
    mean : array, shape (COMMON,)
        Best values [-].
    covariance : array, shape (COMMON, COMMON)
        Of their errors [-].
    cost : float
        Minus the logarithm of the restricted likelihood, up to a constant [-].
    slope : array, shape (len(SPREADS),)
        Derivative of `cost` with the logarithm of each multiplier [-].
    """

    mean: FloatArray
    covariance: FloatArray
    cost: float
    slope: FloatArray


def posterior(engines: Sequence[EngineRuns], multipliers: FloatArray, line: FloatArray) -> Posterior:
    """Common coefficients from all engines at given multipliers.

    Parameters
    ----------
    engines : sequence of EngineRuns
        What was seen [-].
    multipliers : array, shape (len(SPREADS),)
        Of the standard deviations [-].
    line : array, shape (LINE, LINE)
        Covariance of an engine's own line [-].

    Returns
    -------
    Posterior
        With the exact slope of the cost [-].

    References
    ----------
    Harville, J. Am. Stat. Assoc. 72 (1977) 320 (restricted likelihood of mixed models and its derivatives).
    """
    parts = [_whitened(e, multipliers, line) for e in engines]
    information = np.diag(PRIOR**-2.0) + sum(a.T @ a for _, a, _, _ in parts)
    pull = sum(a.T @ u for u, a, _, _ in parts)
    covariance = np.linalg.inv(information)
    covariance = 0.5 * (covariance + covariance.T)
    mean = covariance @ pull
    cost = 0.5 * float(np.linalg.slogdet(information)[1]) + float(sum(x for _, _, _, x in parts))
    cost += 0.5 * float(sum(u @ u for u, _, _, _ in parts) - mean @ pull)
    slope = np.zeros(len(SPREADS))
    for e, (u, a, w, _) in zip(engines, parts, strict=True):
        scale = multipliers[e.spread] ** 2
        projected = a.T @ w
        each = np.sum(w * w, axis=0) - np.sum(projected * (covariance @ projected), axis=0)
        each -= ((u - a @ mean) @ w) ** 2
        slope += np.bincount(e.spread, weights=each * scale, minlength=len(SPREADS))
    return Posterior(mean, covariance, cost, slope)


def _covariance(e: EngineRuns, multipliers: FloatArray, line: FloatArray) -> FloatArray:
    scaled = e.columns * multipliers[e.spread]
    return np.asarray(e.scatter + scaled @ scaled.T + e.line @ line @ e.line.T)


def _whitened(
    e: EngineRuns, multipliers: FloatArray, line: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """Residual, common columns and scatter columns over the root of the covariance, and its log root."""
    from scipy.linalg import cholesky, solve_triangular

    lower = cholesky(_covariance(e, multipliers, line), lower=True)
    joined = np.concatenate([e.residual[:, None], e.common, e.columns], axis=1)
    done = solve_triangular(lower, joined, lower=True)
    return done[:, 0], done[:, 1 : 1 + COMMON], done[:, 1 + COMMON :], float(np.sum(np.log(np.diag(lower))))


def fitted_multipliers(engines: Sequence[EngineRuns], start: FloatArray, line: FloatArray) -> FloatArray:
    """Multipliers that the runs and the prior make most likely together.

    Parameters
    ----------
    engines : sequence of EngineRuns
        What was seen [-].
    start : array, shape (len(SPREADS),)
        Where the search starts [-].
    line : array, shape (LINE, LINE)
        Covariance of an engine's own line [-].

    Returns
    -------
    array, shape (len(SPREADS),)
        Multipliers [-].
    """
    from scipy.optimize import minimize

    def cost(logs: FloatArray) -> tuple[float, FloatArray]:
        p = posterior(engines, np.exp(logs), line)
        return p.cost + 0.5 * float(np.sum((logs / WIDTH) ** 2)), p.slope + logs / WIDTH**2

    bounds = [(-4.0, 3.0)] * len(SPREADS)
    found = minimize(
        cost, np.log(start), jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": _STEPS}
    )
    return np.asarray(np.exp(found.x))


def fitted_line(
    engines: Sequence[EngineRuns], multipliers: FloatArray, prior: FloatArray, line: FloatArray
) -> FloatArray:
    """Covariance of engines' own lines by expectation and maximisation, held by an inverse Wishart prior.

    Parameters
    ----------
    engines : sequence of EngineRuns
        What was seen [-].
    multipliers : array, shape (len(SPREADS),)
        Of the standard deviations [-].
    prior, line : array, shape (LINE, LINE)
        Covariance before any run was seen, and where the search starts [-].

    Returns
    -------
    array, shape (LINE, LINE)
        Covariance [-].

    References
    ----------
    Dempster, Laird and Rubin, J. R. Stat. Soc. B 39 (1977) 1 (expectation and maximisation).
    """
    seen = told_of_lines(engines, multipliers)
    for _ in range(_LINE_STEPS):
        line = _positive((_LINE_WEIGHT * prior + seen.moments(line)) / (_LINE_WEIGHT + len(engines)))
    return line


def _positive(covariance: FloatArray) -> FloatArray:
    """The nearest symmetric matrix without a negative eigenvalue."""
    values, vectors = np.linalg.eigh(0.5 * (covariance + covariance.T))
    return np.asarray((vectors * np.maximum(values, 1e-14)) @ vectors.T)


@dataclass(frozen=True)
class ToldOfLines:
    """What each engine's runs tell of its own line and of the common coefficients together.

    Parameters
    ----------
    precision : array, shape (n, LINE, LINE)
        Of each engine's line [-].
    mixed : array, shape (n, LINE, COMMON)
        Of its line and the common coefficients [-].
    common : array, shape (COMMON, COMMON)
        Of the common coefficients, all engines together [-].
    pull : array, shape (n, LINE)
        Pull on each engine's line [-].
    pull_common : array, shape (COMMON,)
        Pull on the common coefficients, all engines together [-].
    """

    precision: FloatArray
    mixed: FloatArray
    common: FloatArray
    pull: FloatArray
    pull_common: FloatArray

    def moments(self, line: FloatArray) -> FloatArray:
        """Sum of the expected squares of the engines' own lines.

        Parameters
        ----------
        line : array, shape (LINE, LINE)
            Covariance of an engine's own line [-].

        Returns
        -------
        array, shape (LINE, LINE)
            Sum over the engines [-].
        """
        covariance = np.linalg.inv(self.precision + np.linalg.inv(line))
        gain = covariance @ self.mixed
        information = np.diag(PRIOR**-2.0) + self.common - np.einsum("eim,ein->mn", self.mixed, gain)
        pull = self.pull_common - np.einsum("eim,ei->m", gain, self.pull)
        spread = np.linalg.inv(information)
        common = spread @ pull
        mean = np.einsum("eij,ej->ei", covariance, self.pull - self.mixed @ common)
        by_common = np.einsum("eim,mn,ejn->ij", gain, spread, gain, optimize=True)
        return np.asarray(mean.T @ mean + covariance.sum(axis=0) + by_common)


def told_of_lines(engines: Sequence[EngineRuns], multipliers: FloatArray) -> ToldOfLines:
    """Gather what the engines' runs tell of their own lines.

    Parameters
    ----------
    engines : sequence of n EngineRuns
        What was seen [-].
    multipliers : array, shape (len(SPREADS),)
        Of the standard deviations [-].

    Returns
    -------
    ToldOfLines
        Precisions and pulls of a normal likelihood [-].
    """
    rows = []
    for e in engines:
        scaled = e.columns * multipliers[e.spread]
        joined = np.concatenate([e.line, e.common, e.residual[:, None]], axis=1)
        rows.append(joined.T @ np.linalg.solve(e.scatter + scaled @ scaled.T, joined))
    every = np.array(rows)
    return ToldOfLines(
        every[:, :LINE, :LINE],
        every[:, :LINE, LINE:-1],
        every[:, LINE:-1, LINE:-1].sum(axis=0),
        every[:, :LINE, -1],
        every[:, LINE:-1, -1].sum(axis=0),
    )


def learnt(
    model: EngineModel,
    groups: Sequence[Sequence[Observation]],
    progress: Callable[[float], None] = lambda _: None,
) -> tuple[Posterior, FloatArray, FloatArray, list[EngineRuns]]:
    """Learn common coefficients and multipliers from engines of good build.

    Parameters
    ----------
    model : EngineModel
        Model of the type [-].
    groups : sequence of sequences of Observation
        Runs by engine and state [-].
    progress : callable
        Told the share done [-].

    Returns
    -------
    Posterior
        Common coefficients [-].
    array, shape (len(SPREADS),)
        Multipliers [-].
    array, shape (LINE, LINE)
        Covariance of an engine's own line [-].
    list of EngineRuns
        The problem at the shape learnt [-].
    """
    flat = [o for g in groups for o in g]
    seen = compared(model, flat)
    common, multipliers = np.zeros(COMMON), np.ones(len(SPREADS))
    prior = line_prior(seen)
    line = prior
    for n in range(PASSES):
        engines = _grouped(model, groups, seen, common)
        line = fitted_line(engines, multipliers, prior, line)
        if n + 1 < PASSES:
            multipliers = fitted_multipliers(engines, multipliers, line)
        found = posterior(engines, multipliers, line)
        progress((n + 1) / PASSES)
        if n + 1 < PASSES:
            common = found.mean
            seen = compared(model, flat, [factors_along(common, c.speed, c.warmth) for c in seen])
    return found, multipliers, line, engines


def _grouped(
    model: EngineModel, groups: Sequence[Sequence[Observation]], seen: Sequence[Compared], common: FloatArray
) -> list[EngineRuns]:
    out, start = [], 0
    for g in groups:
        out.append(engine_runs(model, seen[start : start + len(g)], common))
        start += len(g)
    return out
