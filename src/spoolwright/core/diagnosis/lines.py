"""How the operating lines of single engines depart from the common one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spoolwright.core.diagnosis.problem import EngineRuns, over
from spoolwright.core.diagnosis.terms import LINE, PRIOR
from spoolwright.core.numerics import FloatArray

_STEPS = 60
_WEIGHT = 6.0
"""How many engines the prior of their own lines counts for."""


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
    for _ in range(_STEPS):
        line = _positive((_WEIGHT * prior + seen.moments(line)) / (_WEIGHT + len(engines)))
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

    def told(e: EngineRuns) -> FloatArray:
        scaled = e.columns * multipliers[e.spread]
        joined = np.concatenate([e.line, e.common, e.residual[:, None]], axis=1)
        return np.asarray(joined.T @ np.linalg.solve(e.scatter + scaled @ scaled.T, joined))

    every = np.array(over(engines, told))
    return ToldOfLines(
        every[:, :LINE, :LINE],
        every[:, :LINE, LINE:-1],
        every[:, LINE:-1, LINE:-1].sum(axis=0),
        every[:, :LINE, -1],
        every[:, LINE:-1, -1].sum(axis=0),
    )
