"""Learning the shape of a type's model from runs of several engines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spoolwright.core.measurement.channel import FloatArray
from spoolwright.core.reduction.baseline import (
    FEATURES,
    PRIOR,
    QUANTITIES,
    SCALE,
    ModelBaseline,
    Shape,
    Spread,
)
from spoolwright.errors import InputError


@dataclass(frozen=True)
class ShapeRun:
    """One run to learn from.

    Parameters
    ----------
    engine : str
        Which engine in which state; runs of one engine before and after work on it are different engines [-].
    features : array, shape (n, p)
        Terms of the shape at its points [-].
    log_ratio : dict of array, shape (n,)
        Quantity to ln(observed / modelled) [-].
    scatter : dict of array, shape (n,)
        Quantity to the standard uncertainty of its logarithm from scatter [-].
    level : dict of float
        Quantity to the standard uncertainty that the instruments' systematic errors give its mean level [-].
    """

    engine: str
    features: FloatArray
    log_ratio: dict[str, FloatArray]
    scatter: dict[str, FloatArray]
    level: dict[str, float]


@dataclass(frozen=True)
class _Stacked:
    """Runs by engine, padded to one size with rows that carry no information."""

    y: FloatArray  # (engines, n)
    x: FloatArray  # (engines, n, p)
    instrument: FloatArray  # (engines, n, n), with 1 on the diagonal of padding
    real: FloatArray  # (engines, n) 1 for a point, 0 for padding
    same_run: FloatArray  # (engines, n, n)


def calibrate_shape(runs: list[ShapeRun], prior_width: float = 1.0) -> ModelBaseline:
    """Learn the shape corrections of a type from runs of several engines.

    Parameters
    ----------
    runs : list of ShapeRun
        Runs; at least two [-].
    prior_width : float
        Multiplies the prior's standard deviations; to see how far a result rests on them [-].

    Returns
    -------
    ModelBaseline
        Corrections with their posterior covariance and the spreads [-].

    Raises
    ------
    InputError
        When there are fewer than two runs.

    Notes
    -----
    Linear mixed model: a free level and slopes (in s and ln theta) of every engine, a level of every run,
    scatter of every point, the instruments' covariance as given, and a normal prior on the common shape. The
    five spreads maximise the restricted likelihood with weak log-normal priors that only matter where the
    runs cannot tell (a slope in ln theta needs engines that ran on different days). The posterior covariance
    of the shape grows by itself outside the range that was seen.

    References
    ----------
    Harville, J. Am. Stat. Assoc. 72 (1977) 320 (restricted likelihood, mixed models). Lindley and Smith,
    J. R. Stat. Soc. B 34 (1972) 1 (normal priors in linear models).
    """
    if len(runs) < 2:
        raise InputError(
            f"{len(runs)} run(s) cannot tell a shape common to a type.", mend="Give more recorded runs."
        )
    told = [q for q in QUANTITIES if all(q in r.log_ratio for r in runs)]
    shapes = {q: _calibrated(_stacked(runs, q), prior_width * SCALE[q] * PRIOR) for q in told}
    every = np.concatenate([r.features for r in runs])
    t, s = every[:, FEATURES.index("ln theta")], every[:, FEATURES.index("s")]
    return ModelBaseline(
        shapes,
        len(runs),
        len({r.engine for r in runs}),
        (float(t.min()), float(t.max())),
        (float(s.min()), float(s.max())),
    )


def _stacked(runs: list[ShapeRun], quantity: str) -> _Stacked:
    engines: dict[str, list[ShapeRun]] = {}
    for run in runs:
        engines.setdefault(run.engine, []).append(run)
    n = max(sum(len(r.features) for r in group) for group in engines.values())
    p, m = len(FEATURES), len(engines)
    y, x, real = np.zeros((m, n)), np.zeros((m, n, p)), np.zeros((m, n))
    instrument, same = np.tile(np.eye(n), (m, 1, 1)), np.zeros((m, n, n))
    for e, group in enumerate(engines.values()):
        start = 0
        for run in group:
            at = slice(start, start + len(run.features))
            y[e, at], x[e, at], real[e, at] = run.log_ratio[quantity], run.features, 1.0
            instrument[e, at, at] = np.diag(run.scatter[quantity] ** 2) + run.level[quantity] ** 2
            same[e, at, at] = 1.0
            start = at.stop
    return _Stacked(y, x, instrument, real, same)


_GUESS = np.log([0.03, 0.001, 0.03, 0.03, 0.01, 0.0007])
_LOOSE = np.array([3.0, 1.5, 1.5, 1.5, 1.0, 1.5])
"""Log-normal priors of the spreads, in their order: medians and standard deviations of their logarithms."""
_MEAN_LEVEL = 1.0
"""Standard deviation of the mean level of all engines before any run is seen: as good as free."""


def _calibrated(data: _Stacked, prior: FloatArray) -> Shape:
    from scipy.optimize import minimize

    prior = np.append(prior, _MEAN_LEVEL)

    def cost(logs: FloatArray) -> float:
        penalty = 0.5 * float(np.sum(((logs - _GUESS) / _LOOSE) ** 2))
        return _posterior(data, np.exp(logs), prior)[2] + penalty

    simplex = np.vstack([_GUESS, _GUESS + 1.0 * np.eye(_GUESS.size)])
    found = minimize(
        cost, _GUESS, method="Nelder-Mead", options={"initial_simplex": simplex, "xatol": 0.02, "fatol": 0.01}
    )
    spread = np.exp(found.x)
    mean, covariance, _ = _posterior(data, spread, prior)
    # The mean level belongs to the engines learnt from; it is no part of the shape.
    root = np.asarray(np.linalg.cholesky(covariance[:-1, :-1]), dtype=float)
    return Shape(mean[:-1], root, Spread(*(float(v) for v in spread)))


def _posterior(data: _Stacked, spread: FloatArray, prior: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """Shape and mean level, their covariance, and minus the log restricted likelihood, at given spreads."""
    level, run, setting, run_setting, theta, point = spread
    s, t = data.x[..., FEATURES.index("s")], data.x[..., FEATURES.index("ln theta")]
    covariance = (
        data.instrument
        + level**2 * data.real[:, :, None] * data.real[:, None, :]
        + run**2 * data.same_run
        + (setting**2 + run_setting**2 * data.same_run) * s[:, :, None] * s[:, None, :]
        + theta**2 * t[:, :, None] * t[:, None, :]
        + point**2 * data.real[:, :, None] * np.eye(data.y.shape[1])
    )
    lower = np.linalg.cholesky(covariance)
    design = np.concatenate([data.x, data.real[..., None], data.y[..., None]], axis=-1)
    z = np.linalg.solve(lower, design)
    zx, zy = z[..., :-1].reshape(-1, prior.size), z[..., -1].ravel()
    information = zx.T @ zx + np.diag(prior**-2)
    mean = np.linalg.solve(information, zx.T @ zy)
    misfit = float(zy @ zy - mean @ (zx.T @ zy))
    logs = float(np.sum(np.log(np.diagonal(lower, axis1=1, axis2=2))))
    logs += 0.5 * float(np.linalg.slogdet(information)[1])
    return mean, np.linalg.inv(information), 0.5 * misfit + logs
