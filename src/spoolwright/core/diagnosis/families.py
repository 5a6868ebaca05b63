"""Families of engines: groups of one type whose operating lines differ, as modification standards do.

The runs themselves say whether there are any. With none there is one family, and nothing changes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spoolwright.core.diagnosis.learning import Posterior
from spoolwright.core.diagnosis.lines import told_of_lines
from spoolwright.core.diagnosis.problem import EngineRuns
from spoolwright.core.diagnosis.terms import LINE
from spoolwright.core.numerics import FloatArray

MOST = 8
"""Largest number of families looked for."""
FEWEST = 60
"""Families are looked for among at least so many engines: of a dozen, two that happen to be alike look like
one, and then the next sound engine looks wrong."""
LEAST_ENGINES = 4
"""Engines that a family must have."""
_STEPS = 60
_WITHIN = 0.02
"""Part of the lines' covariance that engines of one family are taken to keep, before they are looked at."""
_WITHIN_WEIGHT = 6.0
_STARTS = 6


@dataclass(frozen=True)
class Families:
    """Families of engines.

    Parameters
    ----------
    shares : array, shape (G,)
        Part of the engines that each has [-].
    lines : array, shape (G, LINE)
        Line of each family beside the average one [-].
    within : array, shape (LINE, LINE)
        Covariance of an engine's line about its family's [-].
    """

    shares: FloatArray
    lines: FloatArray
    within: FloatArray


def one_family(line: FloatArray) -> Families:
    """All engines in one family.

    Parameters
    ----------
    line : array, shape (LINE, LINE)
        Covariance of engines' own lines [-].

    Returns
    -------
    Families
        A single one [-].
    """
    return Families(np.ones(1), np.zeros((1, LINE)), line)


def found_families(
    engines: Sequence[EngineRuns], multipliers: FloatArray, line: FloatArray, found: Posterior
) -> Families:
    """Look for families among the engines of a history.

    Parameters
    ----------
    engines : sequence of EngineRuns
        What was seen [-].
    multipliers : array, shape (len(SPREADS),)
        Of what scatters [-].
    line : array, shape (LINE, LINE)
        Covariance of engines' own lines, all families together [-].
    found : Posterior
        Common coefficients [-].

    Returns
    -------
    Families
        As many as the Bayesian information criterion speaks for [-].

    Notes
    -----
    Mixture of normal distributions with a common covariance, each engine's line known as well as its runs
    tell it, by expectation and maximisation from several starts.

    References
    ----------
    McLachlan and Peel, Finite Mixture Models (Wiley 2000), 2.8 and 3.8 (EM, common covariance), 6.8 (BIC).
    """
    if len(engines) < FEWEST:
        return one_family(line)
    seen = _Seen(engines, multipliers, found)
    best, score = one_family(line), seen.score(one_family(line), line)
    for count in range(2, min(MOST, len(engines) // LEAST_ENGINES) + 1):
        tried = max((seen.fitted(count, line, s) for s in range(_STARTS)), key=lambda f: seen.score(f, line))
        now = seen.score(tried, line)
        if now <= score:
            break
        best, score = tried, now
    return best


class _Seen:
    """What each engine's runs tell of its line: precision and pull of a normal likelihood."""

    def __init__(self, engines: Sequence[EngineRuns], multipliers: FloatArray, found: Posterior) -> None:
        seen = told_of_lines(engines, multipliers)
        self.precision, self.pull = seen.precision, seen.pull - seen.mixed @ found.mean

    def score(self, f: Families, line: FloatArray) -> float:
        """Log likelihood less half the criterion's price; dimensions count as far as they are told."""
        price = (len(f.shares) - 1) * (1.0 + _told(line, self.precision)) * float(np.log(len(self.pull)))
        return float(np.sum(_log_sum(self._logs(f)))) - 0.5 * price

    def _logs(self, f: Families) -> FloatArray:
        """ln of share times likelihood, shape (engines, G)."""
        inner = np.linalg.inv(f.within)
        total = self.precision + inner
        level = -0.5 * (np.linalg.slogdet(total)[1] + np.linalg.slogdet(f.within)[1])
        pulled = self.pull[:, None] + f.lines @ inner
        square = np.sum(pulled * np.linalg.solve(total[:, None], pulled[..., None])[..., 0], axis=-1)
        own = np.sum((f.lines @ inner) * f.lines, axis=-1)
        return np.asarray(level[:, None] + 0.5 * (square - own) + np.log(f.shares))

    def fitted(self, count: int, line: FloatArray, start: int) -> Families:
        """A mixture of so many families, from one start."""
        lines = self._start(count, line, start)
        f = Families(np.full(count, 1.0 / count), lines, 0.1 * line)
        for _ in range(_STEPS):
            f = self._stepped(f, line)
        return f

    def _stepped(self, f: Families, line: FloatArray) -> Families:
        logs = self._logs(f)
        belongs = np.exp(logs - _log_sum(logs)[:, None])
        inner = np.linalg.inv(f.within)
        covariance = np.linalg.inv(self.precision + inner)
        mean = np.einsum("eij,egj->egi", covariance, self.pull[:, None] + f.lines @ inner)
        members = belongs.sum(axis=0)
        pulled = np.einsum("eg,egi->gi", belongs, mean) @ inner
        held = np.linalg.inv(line)
        lines = np.array([np.linalg.solve(n * inner + held, p) for n, p in zip(members, pulled, strict=True)])
        apart = mean - lines
        spread = np.einsum("eg,egi,egj->ij", belongs, apart, apart) + covariance.sum(axis=0)
        within = (_WITHIN_WEIGHT * _WITHIN * line + spread) / (_WITHIN_WEIGHT + len(mean))
        shares = (members + 1.0) / (members + 1.0).sum()
        return Families(shares, lines, 0.5 * (within + within.T))

    def _start(self, count: int, line: FloatArray, start: int) -> FloatArray:
        """Lines of engines far from each other, picked with chances as the square of their distance."""
        inner = np.linalg.inv(line)
        lines = np.linalg.solve(self.precision + inner, self.pull[..., None])[..., 0]
        root = np.linalg.cholesky(self.precision.mean(axis=0) + inner)
        places = lines @ root
        generator = np.random.default_rng([20, count, start])
        chosen = [int(generator.integers(len(places)))]
        while len(chosen) < count:
            far = np.min([np.sum((places - places[c]) ** 2, axis=1) for c in chosen], axis=0)
            chosen.append(int(generator.choice(len(places), p=far / far.sum())))
        return np.asarray(lines[chosen], dtype=float)


def _told(line: FloatArray, precision: FloatArray) -> float:
    """How many dimensions of a line the runs of one engine tell: the trace of the shrinkage."""
    j = precision.mean(axis=0)
    return float(np.trace(np.linalg.solve(np.eye(len(j)) + line @ j, line @ j)))


def _log_sum(logs: FloatArray) -> FloatArray:
    top = logs.max(axis=-1)
    return np.asarray(top + np.log(np.sum(np.exp(logs - top[..., None]), axis=-1)))
