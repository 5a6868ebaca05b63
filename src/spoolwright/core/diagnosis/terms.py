"""The linear model of residuals: what the type has in common, what engines, runs and points add."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.diagnosis import spreads
from spoolwright.core.diagnosis.comparison import FACTORS, HEALTHY_FACTORS, UNIT, Compared, condition_of
from spoolwright.core.diagnosis.observation import OUTPUTS
from spoolwright.core.numerics import FloatArray
from spoolwright.core.reduction.baseline import log_reynolds

NAMES = tuple(OUTPUTS)
SHAPES = ("level", "speed", "speed squared", "warmth")
"""Terms of a factor along the operating line; speed is ln(corrected speed), warmth is ln(theta)."""
CHANNEL_TERMS = ("level", "speed", "speed squared", "speed cubed", "warmth", "humidity", "ln Reynolds")
"""Terms of an output's own residual; the cube as schedules of vanes and bleeds bend a line at one speed."""
LINE_TERMS = CHANNEL_TERMS[1:5]
"""Terms of an engine's own line."""
LINE = len(NAMES) * len(LINE_TERMS)
"""Number of coefficients of an engine's own line."""
COMMON = len(FACTORS) * len(SHAPES) + len(NAMES) * len(CHANNEL_TERMS)
"""Number of coefficients that a type has in common."""
PRIOR = np.concatenate(
    [np.concatenate([spreads.LEVEL[:, None], spreads.LINE], axis=1).ravel(), spreads.CHANNEL.ravel()]
)
"""Standard deviations of those coefficients before any run was seen, shape (COMMON,) [-]."""

SPREADS = (
    *(f"build: {f}" for f in FACTORS),
    *(f"engine's level: {o}" for o in NAMES),
    "point's own state",
    "instruments",
    *(f"run's level: {o}" for o in NAMES),
    *(f"run's slope: {o}" for o in NAMES),
    *(f"point: {o}" for o in NAMES),
)
"""What scatters, each with one multiplier of its standard deviation."""
WIDTH = np.array([0.6] * len(FACTORS) + [1.0] * len(NAMES) + [1.0, 0.15] + [1.0] * (3 * len(NAMES)))
"""How far each multiplier may be from 1: standard deviation of its logarithm [-]."""
_STATE, _INSTRUMENTS = (len(FACTORS) + len(NAMES) + i for i in range(2))
_RUN_LEVEL = _INSTRUMENTS + 1
_RUN_SLOPE, _POINT = _RUN_LEVEL + len(NAMES), _RUN_LEVEL + 2 * len(NAMES)


@dataclass(frozen=True)
class Scatter:
    """Columns that random causes of unit variance give to a vector of residuals.

    Parameters
    ----------
    columns : array, shape (N, M)
        Before the multipliers [-].
    spread : array of int, shape (M,)
        Index of each column's multiplier in `SPREADS` [-].
    """

    columns: FloatArray
    spread: NDArray[np.intp]


def line_features(c: Compared) -> FloatArray:
    """Terms of a factor at a run's points, shape (4, P) [-]."""
    return np.stack([np.ones_like(c.speed), c.speed, c.speed**2, c.warmth])


def own_features(c: Compared) -> FloatArray:
    """Terms of an output's own line at a run's points: level, and those of `LINE_TERMS`, shape (5, P) [-]."""
    return np.stack([np.ones_like(c.speed), c.speed, c.speed**2, c.speed**3, c.warmth])


def factors_along(common: FloatArray, speed: FloatArray, warmth: FloatArray) -> FloatArray:
    """Condition factors of the common shape at points.

    Parameters
    ----------
    common : array, shape (COMMON,)
        Coefficients [-].
    speed, warmth : array, shape (P,)
        ln of relative corrected speed and ln of theta [-].

    Returns
    -------
    array, shape (F, P)
        Factors of the average engine of good build [-].
    """
    own = common[: len(FACTORS) * len(SHAPES)].reshape(len(FACTORS), len(SHAPES))
    features = np.stack([np.ones_like(speed), speed, speed**2, warmth])
    return np.asarray(HEALTHY_FACTORS[:, None] + UNIT[:, None] * (own @ features))


def common_columns(c: Compared, reference_temperature: float, reference_pressure: float) -> FloatArray:
    """What each common coefficient gives to a run's residuals.

    Parameters
    ----------
    c : Compared
        The run [-].
    reference_temperature, reference_pressure : float
        At which warmth and Reynolds terms vanish [K, Pa].

    Returns
    -------
    array, shape (K P, COMMON)
        Columns [-].
    """
    k, p = c.residual.shape
    line = line_features(c)
    physical = np.einsum("fkp,jp->kpfj", c.by_factor, line).reshape(k * p, -1)
    at = condition_of(c.observation)
    theta = at["temperature"] / reference_temperature
    reynolds = log_reynolds(theta, at["pressure"] / reference_pressure, reference_temperature)
    features = np.concatenate([own_features(c), [c.humidity, reynolds]])
    own = np.zeros((k, p, len(NAMES), len(CHANNEL_TERMS)))
    for i, name in enumerate(c.outputs):
        own[i, :, NAMES.index(name)] = features.T
    return np.concatenate([physical, own.reshape(k * p, -1)], axis=1)


def build_scatter(c: Compared) -> Scatter:
    """Build of every module and the level of every output, the same in all runs of an engine.

    Parameters
    ----------
    c : Compared
        A run [-].

    Returns
    -------
    Scatter
        One column a factor, one an output [-].
    """
    columns = (c.by_factor * spreads.BUILD[:, None, None]).reshape(len(FACTORS), -1).T
    k, p = c.residual.shape
    level = np.zeros((k, p, len(NAMES)))
    for i, name in enumerate(c.outputs):
        level[i, :, NAMES.index(name)] = spreads.ENGINE_LEVEL
    both = np.concatenate([columns, level.reshape(k * p, -1)], axis=1)
    return Scatter(both, np.arange(len(FACTORS) + len(NAMES)))


def line_columns(c: Compared) -> FloatArray:
    """What an engine's own line gives to a run's residuals: all but the level of each output.

    Parameters
    ----------
    c : Compared
        A run [-].

    Returns
    -------
    array, shape (K P, LINE)
        Columns, output by output [-].
    """
    k, p = c.residual.shape
    out = np.zeros((k, p, len(NAMES), len(LINE_TERMS)))
    for i, name in enumerate(c.outputs):
        out[i, :, NAMES.index(name)] = own_features(c)[1:].T
    return out.reshape(k * p, -1)


def line_prior(runs: Sequence[Compared]) -> FloatArray:
    """Covariance of an engine's own line before any run is seen: what departures of its modules' maps give.

    Parameters
    ----------
    runs : sequence of Compared
        Runs at whose points the maps are read [-].

    Returns
    -------
    array, shape (LINE, LINE)
        Covariance [-].
    """
    total = np.zeros((LINE, LINE))
    for c in runs:
        moved = np.einsum(
            "fkp,jp,fj->kpfj", c.by_factor, line_features(c)[1:], spreads.ENGINE_LINE * spreads.LINE
        )
        columns = line_columns(c)
        ridge = columns.T @ columns + 1e-9 * np.eye(LINE)
        fitted = np.linalg.solve(ridge, columns.T @ moved.reshape(len(columns), -1))
        total += fitted @ fitted.T
    floor = (spreads.ENGINE_LINE * spreads.CHANNEL[:, 1 : 1 + len(LINE_TERMS)].ravel()) ** 2
    return np.asarray(total / len(runs) + np.diag(floor))


def run_scatter(c: Compared) -> Scatter:
    """What is drawn anew in every run: instruments, an output's level and slope, states of single points.

    Parameters
    ----------
    c : Compared
        A run [-].

    Returns
    -------
    Scatter
        Scatter of readings is not among it, see `reading_scatter` [-].
    """
    k, p = c.residual.shape
    lasting = c.errors()[~c.observation.random].T
    lasting = lasting[:, np.any(lasting != 0.0, axis=0)]
    known = [NAMES.index(name) for name in c.outputs]
    each = np.eye(k)
    level = np.repeat(each, p, axis=0) * spreads.RUN_LEVEL
    slope = np.einsum("kj,p->kpj", each, c.speed).reshape(k * p, k) * spreads.RUN_SLOPE
    states = [f for f in range(len(FACTORS)) if spreads.WAVES[f] > 0.0]
    state = np.zeros((k, p, len(states), p))
    for i, f in enumerate(states):
        state[:, np.arange(p), i, np.arange(p)] = c.by_factor[f] * spreads.WAVES[f] * spreads.WAVE_SHARE
    columns = [lasting, level, slope, state.reshape(k * p, -1), np.eye(k * p) * spreads.POINT]
    index = [
        np.full(lasting.shape[1], _INSTRUMENTS),
        _RUN_LEVEL + np.array(known),
        _RUN_SLOPE + np.array(known),
        np.full(len(states) * p, _STATE),
        _POINT + np.repeat(known, p),
    ]
    return Scatter(np.concatenate(columns, axis=1), np.concatenate(index))


def reading_scatter(c: Compared) -> FloatArray:
    """Covariance that the scatter of readings gives to a run's residuals, shape (K P, K P) [-]."""
    e = c.errors()[c.observation.random]
    return np.asarray(e.T @ e)
