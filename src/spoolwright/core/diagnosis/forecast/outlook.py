"""Distribution of test margins, and the probability that a run to come is passed.

Draws of findings, coefficients and build scatter go through the non-linear cycle model; the model's own
errors and the measurement of the run to come are added. All comparisons reuse the same draws.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.diagnosis.forecast.build import (
    FACTORS,
    Build,
    Expected,
    expected_build,
    quasi_random,
    root_of,
)
from spoolwright.core.diagnosis.forecast.findings import Finding
from spoolwright.core.diagnosis.forecast.rated import LEVELS, Rated, rated_values
from spoolwright.core.diagnosis.forecast.rules import RuleBook
from spoolwright.core.measurement.decision import standard_cdf
from spoolwright.core.numerics import FloatArray

DRAWS: Final = 2048
"""Draws of one forecast [-]."""
MOST_LOST: Final = 0.01
"""With a larger part of the draws out of the model's reach, a forecast cannot be told [-]."""


@dataclass(frozen=True)
class Requirement:
    """What a run must show: the reading must clear the limit by the guard band.

    Parameters
    ----------
    rated : Rated
        Quantity and rating [-].
    sign : float
        1 where more is better (a lower limit), -1 where less is better [-].
    limit : float
        Approved limit [inner unit].
    guard : float
        Width of the guard band, not negative [inner unit].
    """

    rated: Rated
    sign: float
    limit: float
    guard: float = 0.0


@dataclass(frozen=True)
class RunToCome:
    """The run to come.

    Parameters
    ----------
    requirements : tuple of M Requirement
        What it must show [-].
    measurement : array, shape (M, M)
        Covariance of the readings' errors [product of inner units].
    """

    requirements: tuple[Requirement, ...]
    measurement: FloatArray

    @property
    def uncertainty(self) -> FloatArray:
        """Standard uncertainty of each reading, shape (M,) [inner unit]."""
        return np.asarray(np.sqrt(np.diag(self.measurement)))


@dataclass(frozen=True)
class Outlook:
    """Margins of a build, drawn.

    Parameters
    ----------
    test : RunToCome
        The run to come [-].
    true : array, shape (M, N)
        True margin in each draw, the guard band not taken off [inner unit].
    measured : array, shape (M, N)
        Margin as the run will read it [inner unit].
    lost : float
        Part of the draws that the model does not reach; they count as not passed [-].
    """

    test: RunToCome
    true: FloatArray
    measured: FloatArray
    lost: float

    def interval(self, probability: float = 0.90, *, measured: bool = True) -> FloatArray:
        """Limits of the central interval of each margin, shape (2, M) [inner unit]."""
        tail = 0.5 * (1.0 - probability)
        return np.asarray(
            np.nanquantile(self.measured if measured else self.true, [tail, 1.0 - tail], axis=1)
        )

    @property
    def mean(self) -> FloatArray:
        """Expected margin, shape (M,) [inner unit]."""
        return np.asarray(np.nanmean(self.true, axis=1))

    @property
    def passing(self) -> FloatArray:
        """Probability that the reading clears each limit and guard band, shape (M,) [-].

        The measurement's part is integrated exactly, draw by draw (JCGM 106:2012, 8.3.2: guarded acceptance).
        """
        guard = np.array([[r.guard] for r in self.test.requirements])
        p = standard_cdf((self.true - guard) / self.test.uncertainty[:, None])
        return np.asarray(np.mean(np.where(np.isfinite(p), p, 0.0), axis=1))

    @property
    def passing_all(self) -> float:
        """Probability that the run clears all limits [-]."""
        guard = np.array([[r.guard] for r in self.test.requirements])
        return float(np.mean(np.all(self.measured >= guard, axis=0)))

    @property
    def conforming(self) -> FloatArray:
        """Probability that the true value meets each limit, shape (M,) [-]."""
        return np.asarray(np.mean(np.where(np.isfinite(self.true), self.true >= 0.0, False), axis=1))


@dataclass(frozen=True)
class Forecaster:
    """Forecasts builds of one type with one set of draws.

    Parameters
    ----------
    model : EngineModel
        Model of the type, calibrated where a baseline is [-].
    rules : RuleBook
        Rules in force [-].
    test : RunToCome
        The run to come [-].
    draws : int
        Number of draws, a power of two [-].
    seed : int
        Same seed, same draws [-].
    """

    model: EngineModel
    rules: RuleBook
    test: RunToCome
    draws: int = DRAWS
    seed: int = 1

    def outlook(self, build: Build) -> Outlook:
        """Margins of a build.

        Parameters
        ----------
        build : Build
            What was found and built [-].

        Returns
        -------
        Outlook
            Distribution of the margins [-].
        """
        expected = expected_build(build, self.rules)
        sample = self._sample(expected)
        values = rated_values(self.model, self._asked, sample.change)
        return self._told(values, sample)

    @property
    def _asked(self) -> list[Rated]:
        return [r.rated for r in self.test.requirements]

    @cached_property
    def _loadings(self) -> FloatArray:
        return np.array([r.rated.levels for r in self.test.requirements]).reshape(-1, len(LEVELS))

    def _sample(self, e: Expected) -> Sample:
        """Draws of a build: a finding, factor or coefficient keeps its numbers whatever else changes."""
        m = len(self.test.requirements)
        j, k = len(e.build.findings), len(e.coefficients.keys)
        z = quasi_random(len(FACTORS) + len(LEVELS) + m + j + k, self.draws, self.seed)
        rest, z = z[: len(FACTORS)], z[len(FACTORS) :]
        levels, z = z[: len(LEVELS)], z[len(LEVELS) :]
        reading, z = z[:m], z[m:]
        u = np.array([[f.uncertainty] for f in e.build.findings]).reshape(-1, 1)
        excess = np.maximum(e.excess[:, None] + u * z[:j], least_excess(e)[:, None])
        keys = (*e.coefficients.keys, *((name, 0) for name in LEVELS))
        joint = self.rules.coefficients(keys)
        wide = e.coefficients.standard_deviation / joint.standard_deviation[:k]
        root = root_of(joint.covariance)
        drawn = root @ np.concatenate([z[j:], levels])
        coefficients = joint.mean[:k, None] + wide[:, None] * drawn[:k]
        change = e.change(excess, coefficients, e.rest_of(rest) + _received(e, rest))
        return Sample(change, joint.mean[k:, None] + drawn[k:], reading)

    def _told(self, values: FloatArray, sample: Sample) -> Outlook:
        true = values * np.exp(self._loadings @ sample.levels)
        sign = np.array([[r.sign] for r in self.test.requirements])
        limit = np.array([[r.limit] for r in self.test.requirements])
        measured = true + root_of(self.test.measurement) @ sample.reading
        lost = float(np.mean(~np.isfinite(values).all(axis=0)))
        return Outlook(self.test, sign * (true - limit), sign * (measured - limit), lost)


@dataclass(frozen=True)
class Sample:
    """Draws that all comparisons of a build share.

    Parameters
    ----------
    change : array, shape (F, N)
        Change of every condition factor [-, deg].
    levels : array, shape (L, N)
        The model's own errors [-].
    reading : array, shape (M, N)
        Standard normal numbers of the readings [-].
    """

    change: FloatArray
    levels: FloatArray
    reading: FloatArray


def least_excess(e: Expected) -> FloatArray:
    """Least value that each finding can truly have.

    Parameters
    ----------
    e : Expected
        The build [-].

    Returns
    -------
    array, shape (J,)
        0 for what cannot be less than nothing (blends, friction, dirt, leaks), else minus infinity
        [unit of the finding].
    """
    out = np.full(len(e.build.findings), -np.inf)
    for t in e.terms:
        if t.rule.low == 0.0:
            out[t.finding] = 0.0
    return out


def _received(e: Expected, rest: FloatArray) -> FloatArray:
    out = np.zeros_like(rest)
    received = e.build.received
    if received is not None:
        at = [FACTORS.index(f) for f in received.factors]
        out[at] = root_of(received.covariance) @ rest[at]
    return out


def changed(build: Build, names: Sequence[str], to: Sequence[Finding]) -> Build:
    """A build with some findings in another state.

    Parameters
    ----------
    build : Build
        As found [-].
    names : sequence of str
        Findings that change [-].
    to : sequence of Finding
        Their new states, in the same order [-].

    Returns
    -------
    Build
        As it would be; every other finding stays [-].
    """
    new = dict(zip(names, to, strict=True))
    return replace(build, findings=tuple(new.get(f.name, f) for f in build.findings))
