"""Estimates as a value and what every independent error contributes to it.

A reduction is arithmetic on dual numbers whose directions are the independent errors of its inputs, each
scaled by its standard uncertainty. Covariance between any two results is the inner product of their
contributions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spoolwright.core.measurement.channel import ErrorSource, FloatArray
from spoolwright.core.measurement.propagation import coverage_factor, effective_degrees_of_freedom
from spoolwright.core.numerics import Dual, Number

SCATTER = "scatter"
"""Cause that every random part counts under."""


@dataclass(frozen=True)
class ErrorBasis:
    """The independent errors that results are made of.

    Parameters
    ----------
    sources : tuple of k ErrorSource
        What they are, with distribution and degrees of freedom [-].
    causes : tuple of k str
        Name under which each counts in a table of shares [-].
    """

    sources: tuple[ErrorSource, ...]
    causes: tuple[str, ...]

    @property
    def size(self) -> int:
        """Number of errors [-]."""
        return len(self.sources)

    @property
    def random(self) -> FloatArray:
        """1 for an error that a repeated point would draw anew, else 0; shape (k,) [-]."""
        return np.array([float(c == SCATTER) for c in self.causes])


@dataclass(frozen=True)
class Estimate:
    """A value with its error contributions.

    Parameters
    ----------
    value : float
        Best estimate [inner unit].
    contributions : array, shape (k,)
        Signed standard uncertainty from each error of the basis [inner unit].
    basis : ErrorBasis
        The errors [-].
    scatter_degrees_of_freedom : float or None
        Degrees of freedom of all scatter together, where it was judged from a curve's residuals [-].
    """

    value: float
    contributions: FloatArray
    basis: ErrorBasis
    scatter_degrees_of_freedom: float | None = None

    @property
    def standard_uncertainty(self) -> float:
        """Combined standard uncertainty [inner unit]."""
        return float(np.sqrt(self.contributions @ self.contributions))

    @property
    def degrees_of_freedom(self) -> float:
        """Effective degrees of freedom by Welch and Satterthwaite (JCGM 100:2008, G.2b) [-]."""
        squares = self.contributions**2
        freedom = np.array([s.degrees_of_freedom for s in self.basis.sources])
        if self.scatter_degrees_of_freedom is not None:
            scatter = self.basis.random > 0.0
            squares = np.append(np.where(scatter, 0.0, squares), np.sum(squares[scatter]))
            freedom = np.append(freedom, self.scatter_degrees_of_freedom)
        return effective_degrees_of_freedom(np.sqrt(squares), freedom)

    def shares(self) -> dict[str, float]:
        """Standard uncertainty by cause, largest first [inner unit]."""
        squares: dict[str, float] = {}
        for cause, c in zip(self.basis.causes, self.contributions, strict=True):
            squares[cause] = squares.get(cause, 0.0) + float(c) ** 2
        ranked = sorted(squares.items(), key=lambda item: -item[1])
        return {cause: math.sqrt(square) for cause, square in ranked if square > 0.0}

    def half_width(self, probability: float = 0.95) -> float:
        """Half-width of the coverage interval.

        Parameters
        ----------
        probability : float
            Coverage probability [-].

        Returns
        -------
        float
            Student's t factor at the effective degrees of freedom times standard uncertainty [inner unit].

        References
        ----------
        JCGM 100:2008, G.4.1.
        """
        return coverage_factor(probability, self.degrees_of_freedom)[0] * self.standard_uncertainty


def estimate(number: Number, basis: ErrorBasis, index: int | None = None) -> Estimate:
    """Read an estimate out of a dual number.

    Parameters
    ----------
    number : float, Dual of floats, or Dual over points
        Result of the arithmetic [inner unit].
    basis : ErrorBasis
        Errors along the dual's directions [-].
    index : int or None
        Which point, where the dual runs over points [-].

    Returns
    -------
    Estimate
        A plain float has no contributions [inner unit].
    """
    if not isinstance(number, Dual):
        v = number if index is None or np.ndim(number) == 0 else number[index]
        return Estimate(float(v), np.zeros(basis.size), basis)
    v = number.v if index is None else np.broadcast_to(number.v, np.shape(number.d)[1:])[index]
    d = number.d if index is None else number.d[:, index]
    return Estimate(float(v), np.asarray(d, dtype=float).reshape(basis.size), basis)
