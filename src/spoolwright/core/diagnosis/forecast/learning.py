"""What past builds teach: coefficients, the model's own errors and the build scatter, by Bayes' theorem.

Prior: the rule book as it stands. Likelihood: measured rated quantities of each build against the non-linear
model at the build's findings; errors of findings, build scatter and measurement marginalised to first
order at each step (Gauss-Newton). The scatter's scale is the most probable one under the same likelihood.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.diagnosis.forecast.build import FACTORS, Build, Expected, expected_build
from spoolwright.core.diagnosis.forecast.rated import LEVELS, Rated, rated_slopes
from spoolwright.core.diagnosis.forecast.rules import Coefficients, Key, RuleBook
from spoolwright.core.numerics import FloatArray
from spoolwright.errors import InputError

STEPS: Final = 4
"""Gauss-Newton steps: the model is nearly linear in the coefficients, the fourth changes nothing [-]."""
OWN: Final = 3e-4
"""Standard deviation of ln(reading) that no other reading of the run shares [-].

Power at rated MGT and MGT at rated power tell nearly the same; the slope of the operating line that joins
them is the model's, known to some per cent of the little way it is followed (2 % of power, 0.5 % of MGT).
"""
FARTHEST: Final = 1.2
"""ln of the scale of the build scatter is looked for as far as this from 0 [-]."""
SCALE_PRIOR: Final = 0.3
"""Standard deviation of ln of that scale before any build [-]."""


@dataclass(frozen=True)
class PastBuild:
    """A build whose run was measured.

    Parameters
    ----------
    name : str
        Serial and visit, for messages [-].
    build : Build
        What was found and built [-].
    rated : tuple of M Rated
        What was measured [-].
    measured : array, shape (M,)
        Readings [inner unit].
    covariance : array, shape (M, M)
        Covariance of the readings' errors [product of inner units].
    """

    name: str
    build: Build
    rated: tuple[Rated, ...]
    measured: FloatArray
    covariance: FloatArray


@dataclass(frozen=True)
class Learnt:
    """The rule book after learning, and how it came about.

    Parameters
    ----------
    before, after : RuleBook
        Rule books [-].
    keys : tuple of (str, int)
        Coefficients that the builds bear on [-].
    misfit : float
        Sum of squared standardised residuals over their number, 1 where everything stated is right [-].
    residuals : int
        Number of readings [-].
    """

    before: RuleBook
    after: RuleBook
    keys: tuple[Key, ...]
    misfit: float
    residuals: int


@dataclass(frozen=True)
class _Linear:
    """A build linearised: residual, derivative with the coefficients, covariance without and of scatter."""

    residual: FloatArray
    by_key: FloatArray
    fixed: FloatArray
    scatter: FloatArray

    def covariance(self, scale: float) -> FloatArray:
        return self.fixed + scale**2 * self.scatter


def learn(model: EngineModel, rules: RuleBook, builds: Sequence[PastBuild]) -> Learnt:
    """Update the rule book from past builds.

    Parameters
    ----------
    model : EngineModel
        Model of the type, the one that forecasts [-].
    rules : RuleBook
        Rules in force; what they learnt before is the prior [-].
    builds : sequence of PastBuild
        Builds that were not learnt from before [-].

    Returns
    -------
    Learnt
        Rule books before and after [-].

    Raises
    ------
    InputError
        No build was given, or the model does not reach a rating of one.

    Notes
    -----
    A build without findings teaches the model's own errors and the build scatter alone: accepted runs of
    engines without build sheets are taken so.

    With residuals r, derivatives J, covariance S of a build and prior mean m and covariance P: information
    P^-1 + sum J' S^-1 J; the scale of the scatter maximises the likelihood times a lognormal prior. The
    uncertainty of the scale itself is not carried on.

    References
    ----------
    Bell and Cathey, The iterated Kalman filter update as a Gauss-Newton method, IEEE Trans. Autom. Control 38
    (1993) 294.
    """
    if not builds:
        raise InputError("there is no build to learn from.", mend="Give at least one build that was run.")
    keys = _keys(builds, rules)
    prior = rules.coefficients(keys)
    mean, covariance, scale = prior.mean, prior.covariance, 1.0
    linear: list[_Linear] = []
    for _ in range(STEPS):
        linear = _linearised(model, rules, builds, Coefficients(tuple(keys), mean, covariance))
        scale = _scale(linear, mean, prior)
        mean, covariance = _updated(linear, mean, prior, scale)
    learnt = Coefficients(tuple(keys), mean, covariance)
    after = replace(
        rules,
        learnt=learnt,
        builds=rules.builds + len(builds),
        scatter_scale=rules.scatter_scale * scale,
    )
    linear = _linearised(model, after, builds, learnt)
    squares = [float(x.residual @ np.linalg.solve(x.covariance(1.0), x.residual)) for x in linear]
    count = sum(x.residual.size for x in linear)
    return Learnt(rules, after, tuple(keys), sum(squares) / count, count)


def _keys(builds: Sequence[PastBuild], rules: RuleBook) -> list[Key]:
    keys: list[Key] = [(name, 0) for name in LEVELS]
    for b in builds:
        keys += [k for k in expected_build(b.build, rules).coefficients.keys if k not in keys]
    # what was learnt before stays joined to what is learnt now
    keys += [k for k in rules.learnt.keys if k not in keys]
    return keys


def _linearised(
    model: EngineModel, rules: RuleBook, builds: Sequence[PastBuild], now: Coefficients
) -> list[_Linear]:
    expected = [_at(expected_build(b.build, rules), now) for b in builds]
    change = np.array([e.mean for e in expected]).T
    asked = list(dict.fromkeys(r for b in builds for r in b.rated))
    value, slope = rated_slopes(model, asked, change)
    return [
        _one(b, e, now, asked, value[:, i], slope[:, :, i])
        for i, (b, e) in enumerate(zip(builds, expected, strict=True))
    ]


def _at(e: Expected, now: Coefficients) -> Expected:
    """The build at coefficients on trial, its widening kept."""
    index = [now.keys.index(k) for k in e.coefficients.keys]
    return replace(e, coefficients=replace(e.coefficients, mean=now.mean[index]))


def _one(
    b: PastBuild, e: Expected, now: Coefficients, asked: list[Rated], value: FloatArray, slope: FloatArray
) -> _Linear:
    rows = [asked.index(r) for r in b.rated]
    if not np.all(np.isfinite(value[rows])):
        raise InputError(
            f"the model does not reach a rating of build {b.name} as found.",
            mend="Check its findings and their units.",
        )
    d = slope[rows]
    by_key = np.zeros((len(rows), len(now.keys)))
    index = [now.keys.index(k) for k in e.coefficients.keys]
    by_key[:, index] = d @ e.by_coefficient(e.excess)
    levels = [now.keys.index((name, 0)) for name in LEVELS]
    loadings = np.array([r.levels for r in b.rated])
    by_key[:, levels] = loadings
    predicted = np.log(value[rows]) + loadings @ now.mean[levels]
    by_excess = d @ e.by_excess()
    u = np.array([f.uncertainty for f in b.build.findings])
    fixed = b.covariance / np.outer(b.measured, b.measured) + (by_excess * u**2) @ by_excess.T
    fixed = fixed + OWN**2 * np.eye(len(rows))
    received = b.build.received
    if received is not None:
        at = d[:, [FACTORS.index(f) for f in received.factors]]
        fixed = fixed + at @ received.covariance @ at.T
    scatter = (d * e.rest**2) @ d.T
    return _Linear(np.log(b.measured) - predicted, by_key, fixed, scatter)


def _updated(
    linear: Sequence[_Linear], now: FloatArray, prior: Coefficients, scale: float
) -> tuple[FloatArray, FloatArray]:
    information = np.linalg.inv(prior.covariance)
    vector = information @ (prior.mean - now)
    for x in linear:
        weighted = np.linalg.solve(x.covariance(scale), x.by_key)
        information = information + x.by_key.T @ weighted
        vector = vector + weighted.T @ x.residual
    covariance = np.linalg.inv(information)
    return now + covariance @ vector, 0.5 * (covariance + covariance.T)


def _scale(linear: Sequence[_Linear], now: FloatArray, prior: Coefficients) -> float:
    """The most probable scale of the build scatter, coefficients integrated out."""
    from scipy.optimize import minimize_scalar

    def cost(log_scale: float) -> float:
        scale = float(np.exp(log_scale))
        mean, covariance = _updated(linear, now, prior, scale)
        off = mean - prior.mean
        total = (log_scale / SCALE_PRIOR) ** 2 + off @ np.linalg.solve(prior.covariance, off)
        total -= np.linalg.slogdet(covariance)[1]
        for x in linear:
            s, r = x.covariance(scale), x.residual - x.by_key @ (mean - now)
            total += np.linalg.slogdet(s)[1] + r @ np.linalg.solve(s, r)
        return float(total)

    found = minimize_scalar(cost, bounds=(-FARTHEST, FARTHEST), method="bounded", options={"xatol": 1e-4})
    return float(np.exp(found.x))
