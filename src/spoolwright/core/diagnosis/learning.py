"""Calibration: what runs of a shop's own engines say of the type's model, of builds and of the bench."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.diagnosis.comparison import Compared, compared
from spoolwright.core.diagnosis.lines import fitted_line
from spoolwright.core.diagnosis.observation import Observation
from spoolwright.core.diagnosis.problem import EngineRuns, engine_runs, over
from spoolwright.core.diagnosis.terms import (
    COMMON,
    PRIOR,
    SPREADS,
    WIDTH,
    line_prior,
)
from spoolwright.core.numerics import FloatArray

PASSES = 2
"""How often engines' own lines and what scatters are fitted in turn."""
_STEPS = 30


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
    parts = over(engines, lambda e: _whitened(e, multipliers, line))
    information = np.diag(PRIOR**-2.0) + sum(a.T @ a for _, a, _, _ in parts)
    pull = sum(a.T @ u for u, a, _, _ in parts)
    covariance = np.linalg.inv(information)
    covariance = 0.5 * (covariance + covariance.T)
    mean = covariance @ pull
    cost = 0.5 * float(np.linalg.slogdet(information)[1]) + float(sum(x for _, _, _, x in parts))
    cost += 0.5 * float(sum(u @ u for u, _, _, _ in parts) - mean @ pull)

    def slopes(i: int) -> Any:
        u, a, w, _ = parts[i]
        projected = a.T @ w
        each = np.sum(w * w, axis=0) - np.sum(projected * (covariance @ projected), axis=0)
        each -= ((u - a @ mean) @ w) ** 2
        spread = engines[i].spread
        return np.bincount(spread, weights=each * multipliers[spread] ** 2, minlength=len(SPREADS))

    slope = np.sum(np.array(over(range(len(engines)), slopes)), axis=0)
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
        The problem, one an engine [-].
    """
    seen = compared(model, [o for g in groups for o in g])
    engines = _grouped(model, groups, seen)
    multipliers = np.ones(len(SPREADS))
    prior = line_prior(seen)
    line = prior
    for n in range(PASSES):
        line = fitted_line(engines, multipliers, prior, line)
        multipliers = fitted_multipliers(engines, multipliers, line)
        progress((n + 1) / PASSES)
    line = fitted_line(engines, multipliers, prior, line)
    return posterior(engines, multipliers, line), multipliers, line, engines


def _grouped(
    model: EngineModel, groups: Sequence[Sequence[Observation]], seen: Sequence[Compared]
) -> list[EngineRuns]:
    out, start = [], 0
    for g in groups:
        out.append(engine_runs(model, seen[start : start + len(g)]))
        start += len(g)
    return out
