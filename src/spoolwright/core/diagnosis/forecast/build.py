"""Expected condition of a build: every condition factor as findings, rules and build scatter make it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Final

import numpy as np

from spoolwright.core.cycle.condition import HEALTHY, ConditionFactors
from spoolwright.core.diagnosis.forecast.findings import Finding
from spoolwright.core.diagnosis.forecast.published import USUAL_SPREAD
from spoolwright.core.diagnosis.forecast.rules import ADDED, Coefficients, Key, Rule, RuleBook
from spoolwright.core.numerics import FloatArray

FACTORS: Final = tuple(f.name for f in fields(ConditionFactors))
"""Condition factors, in the order of every array of factors."""
_ONE_SIDED: Final = np.array([f == "leak" for f in FACTORS])
LEAST_REST: Final = 0.4
"""Build scatter never falls below this part of itself, however much of it findings explain [-]."""
FAR: Final = 1.0
"""A finding further outside a rule's range than this part of the range cannot be told by the rule [-]."""


@dataclass(frozen=True)
class Received:
    """Condition factors known beforehand, of modules left as they were.

    Parameters
    ----------
    factors : tuple of str
        Which [-].
    mean : array, shape (n,)
        Change from healthy: logarithm of a multiplying factor, value of an added one [-, deg].
    covariance : array, shape (n, n)
        Its covariance [square of that].
    """

    factors: tuple[str, ...]
    mean: FloatArray
    covariance: FloatArray


@dataclass(frozen=True)
class Build:
    """A build as the forecast takes it.

    Parameters
    ----------
    findings : tuple of Finding
        What was measured or judged [-].
    scatter : mapping
        Condition factor to the standard deviation among builds that nobody complained of [-, deg].
    received : Received or None
        What an as-received run says of modules left as they were [-].
    """

    findings: tuple[Finding, ...]
    scatter: Mapping[str, float] = field(default_factory=dict)
    received: Received | None = None


@dataclass(frozen=True)
class Term:
    """One rule at work on one finding.

    Parameters
    ----------
    finding : int
        Index of the finding [-].
    coefficient : int
        Index of the coefficient [-].
    factor : int
        Index in `FACTORS` [-].
    weight : float
        Change of the factor's logarithm (or value) for coefficient times excess of 1 [-, deg].
    rule : Rule
        The rule [-].
    beyond : float
        How far the excess lies outside the rule's range, as a part of the range [-].
    """

    finding: int
    coefficient: int
    factor: int
    weight: float
    rule: Rule
    beyond: float


@dataclass(frozen=True)
class Expected:
    """The build with the rules that bear on it: ready for drawing and for derivatives.

    Parameters
    ----------
    build : Build
        The build [-].
    terms : tuple of Term
        Rules at work [-].
    coefficients : Coefficients
        Their coefficients, widened where a finding lies outside a rule's range [-].
    rest : array, shape (F,)
        Standard deviation of each factor by causes that no finding tells [-, deg].
    """

    build: Build
    terms: tuple[Term, ...]
    coefficients: Coefficients
    rest: FloatArray

    @property
    def excess(self) -> FloatArray:
        """Excess of every finding, shape (J,)."""
        return np.array([f.excess for f in self.build.findings])

    @property
    def mean(self) -> FloatArray:
        """Expected change of every factor, shape (F,): logarithm, or value of an added one."""
        rest = np.where(_ONE_SIDED, self.rest, 0.0)
        return self.change(self.excess, self.coefficients.mean, rest)

    def rest_of(self, normal: FloatArray) -> FloatArray:
        """What no finding tells, from standard normal numbers of shape (F, ...): a leak is exponential."""
        from scipy.special import log_ndtr

        shape = (-1,) + (1,) * (normal.ndim - 1)
        z = np.where(_ONE_SIDED.reshape(shape), -log_ndtr(-normal), normal)
        return np.asarray(self.rest.reshape(shape) * z)

    @property
    def covariance(self) -> FloatArray:
        """Covariance of the change, to first order in the findings, shape (F, F)."""
        x, c = self.by_excess(), self.by_coefficient(self.excess)
        u = np.array([f.uncertainty for f in self.build.findings])
        total = (x * u**2) @ x.T + c @ self.coefficients.covariance @ c.T + np.diag(self.rest**2)
        received = self.build.received
        if received is not None:
            at = [FACTORS.index(f) for f in received.factors]
            total[np.ix_(at, at)] += received.covariance
        return np.asarray(total)

    def change(self, excess: FloatArray, coefficients: FloatArray, rest: FloatArray) -> FloatArray:
        """Change of every factor, from draws or values along the last axis: shape (F, ...)."""
        shape = np.broadcast_shapes(excess.shape[1:], coefficients.shape[1:], rest.shape[1:])
        total = np.array(np.broadcast_to(rest, (len(FACTORS), *shape)))
        for t in self.terms:
            total[t.factor] += t.weight * coefficients[t.coefficient] * excess[t.finding]
        received = self.build.received
        if received is not None:
            for name, m in zip(received.factors, received.mean, strict=True):
                total[FACTORS.index(name)] += m
        return total

    def by_excess(self) -> FloatArray:
        """Derivative of every factor's change with every excess, shape (F, J)."""
        out = np.zeros((len(FACTORS), len(self.build.findings)))
        for t in self.terms:
            out[t.factor, t.finding] += t.weight * self.coefficients.mean[t.coefficient]
        return out

    def by_coefficient(self, excess: FloatArray) -> FloatArray:
        """Derivative of every factor's change with every coefficient, shape (F, K)."""
        out = np.zeros((len(FACTORS), len(self.coefficients.keys)))
        for t in self.terms:
            out[t.factor, t.coefficient] += t.weight * excess[t.finding]
        return out

    def within_reach(self) -> Build:
        """The build with findings that no rule reaches brought to where the rules end to tell anything.

        For computing on: the answer is untold, but no margins are drawn of an engine that cannot be.
        """
        nearest = {t.finding: t.rule for t in self.untold()}
        findings = list(self.build.findings)
        for j, rule in nearest.items():
            reach = FAR * (rule.high - rule.low)
            low = rule.low if rule.low == 0.0 else rule.low - reach
            findings[j] = replace(findings[j], excess=min(max(findings[j].excess, low), rule.high + reach))
        return replace(self.build, findings=tuple(findings))

    def untold(self) -> tuple[Term, ...]:
        """Terms whose finding lies so far outside the rule's range that the rule cannot tell."""
        return tuple(t for t in self.terms if t.beyond > FAR)

    def outside(self) -> tuple[Term, ...]:
        """Terms whose finding lies outside the rule's range at all."""
        return tuple(t for t in self.terms if t.beyond > 0.0)


def expected_build(build: Build, rules: RuleBook) -> Expected:
    """Put a build and the rules together.

    Parameters
    ----------
    build : Build
        What was found and built [-].
    rules : RuleBook
        Rules in force [-].

    Returns
    -------
    Expected
        The build ready for drawing [-].

    Notes
    -----
    The build scatter holds what usual findings do to it; what a measured finding explains of it, by the
    rule's coefficient and `USUAL_SPREAD`, is taken off the variance. Outside a rule's range the standard
    deviation of its coefficient grows by the distance over the range's width. Factors of modules left as
    received have the as-received run's covariance in place of scatter.
    """
    terms, keys = _terms(build.findings, rules)
    coefficients = _widened(rules.coefficients(keys), terms)
    rest = np.array([build.scatter.get(f, 0.0) for f in FACTORS]) * rules.scatter_scale
    explained = np.zeros(len(FACTORS))
    prior = rules.prior(keys)
    for t in terms:
        usual = USUAL_SPREAD[build.findings[t.finding].cause]
        size = prior.mean[t.coefficient] ** 2 + prior.covariance[t.coefficient, t.coefficient]
        explained[t.factor] += (t.weight * usual) ** 2 * size
    rest = np.sqrt(np.maximum(rest**2 - explained, (LEAST_REST * rest) ** 2))
    if build.received is not None:
        for name in build.received.factors:
            rest[FACTORS.index(name)] = 0.0
    return Expected(build, terms, coefficients, rest)


def _terms(findings: Sequence[Finding], rules: RuleBook) -> tuple[tuple[Term, ...], list[Key]]:
    terms: list[Term] = []
    keys: list[Key] = []
    for j, f in enumerate(findings):
        for rule in rules.of(f.cause, f.module):
            key = (rule.name, f.stage)
            if key not in keys:
                keys.append(key)
            unit = 1.0 if rule.factor == "vane_offset" else 0.01
            terms.append(
                Term(j, keys.index(key), FACTORS.index(rule.factor), unit * f.share, rule, _beyond(rule, f))
            )
    return tuple(terms), keys


def _beyond(rule: Rule, f: Finding) -> float:
    return max(rule.low - f.excess, f.excess - rule.high, 0.0) / (rule.high - rule.low)


def _widened(c: Coefficients, terms: Sequence[Term]) -> Coefficients:
    grow = np.ones(len(c.keys))
    for t in terms:
        grow[t.coefficient] = max(grow[t.coefficient], 1.0 + 2.0 * t.beyond)
    return replace(c, covariance=c.covariance * np.outer(grow, grow))


def factors_of(change: FloatArray) -> ConditionFactors:
    """Condition factors as the engine model takes them.

    Parameters
    ----------
    change : array, shape (F, ...)
        Change of every factor in the order of `FACTORS` [-, deg].

    Returns
    -------
    ConditionFactors
        Fields of the shape behind the first axis; a leak is never negative [-].
    """
    values = {}
    for name, x in zip(FACTORS, change, strict=True):
        healthy = getattr(HEALTHY, name)
        values[name] = healthy + x if name in ADDED else healthy * np.exp(x)
    values["leak"] = np.maximum(values["leak"], 0.0)
    return ConditionFactors(**values)


def quasi_random(dimensions: int, count: int, seed: int) -> FloatArray:
    """Standard normal quasi-random numbers: scrambled Sobol points through the normal quantile.

    Parameters
    ----------
    dimensions : int
        Number of independent causes [-].
    count : int
        Number of draws, a power of two [-].
    seed : int
        Same seed, same draws [-].

    Returns
    -------
    array, shape (dimensions, count)
        Values [-].

    References
    ----------
    Owen, Scrambled net variance for integrals of smooth functions, Ann. Statist. 25 (1997) 1541.
    """
    from scipy.special import ndtri
    from scipy.stats import qmc

    power = round(math.log2(count))
    points = qmc.Sobol(dimensions, scramble=True, rng=np.random.default_rng(seed)).random_base2(power)
    return np.asarray(ndtri(np.clip(points.T, 1e-12, 1.0 - 1e-12)), dtype=float)


def root_of(covariance: FloatArray) -> FloatArray:
    """A root R of a covariance, R R' = covariance; singular ones have one too.

    Parameters
    ----------
    covariance : array, shape (n, n)
        Symmetric, not negative [any].

    Returns
    -------
    array, shape (n, n)
        Root [root of that].
    """
    scale = np.sqrt(np.diag(covariance))  # quantities of very different units stand side by side
    unit = np.where(scale > 0.0, scale, 1.0)
    values, vectors = np.linalg.eigh(0.5 * (covariance + covariance.T) / np.outer(unit, unit))
    return np.asarray(unit[:, None] * vectors * np.sqrt(np.clip(values, 0.0, None)))
