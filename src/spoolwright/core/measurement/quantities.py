"""Input quantities of a measurement model: best estimates and the independent errors they are made of.

Every correlation is expressed by sharing an error: x = estimate + components @ z with independent z. The law
of propagation, the effective degrees of freedom and the Monte Carlo draws all read this one form.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from spoolwright.core.measurement.channel import ErrorSource, FloatArray
from spoolwright.errors import InputError


@dataclass(frozen=True)
class InputQuantities:
    """Best estimates with their independent error components.

    Parameters
    ----------
    estimates : array, shape (n,)
        Best estimates [inner].
    components : array, shape (n, k)
        Standard uncertainty that each of k independent errors gives to each quantity, signed [inner].
    sources : tuple of k ErrorSource
        What those errors are [-].

    References
    ----------
    JCGM 100:2008, F.1.2.3 (correlation through common influence quantities).
    """

    estimates: FloatArray
    components: FloatArray
    sources: tuple[ErrorSource, ...]

    def __post_init__(self) -> None:
        expected = (self.estimates.size, len(self.sources))
        if self.components.shape != expected:
            raise InputError(
                f"components have shape {self.components.shape}; {expected} is needed.",
                mend="Give one row a quantity and one column an error source.",
            )

    @property
    def covariance(self) -> FloatArray:
        """Covariance matrix, shape (n, n) [inner²]."""
        covariance: FloatArray = self.components @ self.components.T
        return covariance

    @property
    def standard_uncertainties(self) -> FloatArray:
        """Standard uncertainties, shape (n,) [inner]."""
        uncertainties: FloatArray = np.sqrt(np.sum(self.components**2, axis=1))
        return uncertainties

    def sample(self, generator: Generator, trials: int) -> FloatArray:
        """Joint draws of the quantities.

        Parameters
        ----------
        generator : numpy.random.Generator
            Source of random numbers; its state moves on [-].
        trials : int
            How many [-].

        Returns
        -------
        array, shape (n, trials)
            Values that the quantities may have [inner].

        Notes
        -----
        A normal source with finite degrees of freedom is drawn from Student's t with the stated standard
        uncertainty as its scale.

        References
        ----------
        JCGM 101:2008, 6.4 and 6.4.9.4.
        """
        errors = _standard_errors(self.sources, generator, trials)
        values = self.components @ errors
        values += self.estimates[:, np.newaxis]
        return values


def _standard_errors(sources: Sequence[ErrorSource], generator: Generator, trials: int) -> FloatArray:
    errors = generator.standard_normal((len(sources), trials))
    for row, source in enumerate(sources):
        if source.distribution != "normal" or math.isfinite(source.degrees_of_freedom):
            errors[row] = source.sample(generator, trials)
    return errors


def independent_quantities(
    estimates: Sequence[float] | FloatArray,
    standard_uncertainties: Sequence[float] | FloatArray,
    sources: Sequence[ErrorSource] | None = None,
) -> InputQuantities:
    """Quantities whose errors have nothing in common.

    Parameters
    ----------
    estimates : sequence of n floats
        Best estimates [inner].
    standard_uncertainties : sequence of n floats
        Standard uncertainties [inner].
    sources : sequence of n ErrorSource, optional
        Name, distribution and degrees of freedom of each; normal and exactly known when left out [-].

    Returns
    -------
    InputQuantities
        With a diagonal component matrix [inner].

    Examples
    --------
    >>> q = independent_quantities([10.0, 20.0], [0.1, 0.2])
    >>> q.covariance.diagonal().round(4).tolist()
    [0.01, 0.04]
    """
    values = np.asarray(estimates, dtype=float)
    if sources is None:
        sources = [ErrorSource(f"quantity {i + 1}") for i in range(values.size)]
    return InputQuantities(values, np.diag(np.asarray(standard_uncertainties, dtype=float)), tuple(sources))


def correlated_quantities(
    estimates: Sequence[float] | FloatArray, covariance: Sequence[Sequence[float]] | FloatArray
) -> InputQuantities:
    """Quantities known by a covariance matrix, taken as jointly normal.

    Parameters
    ----------
    estimates : sequence of n floats
        Best estimates [inner].
    covariance : array, shape (n, n)
        Covariance matrix; symmetric, no negative eigenvalue [inner²].

    Returns
    -------
    InputQuantities
        With the symmetric square root of the matrix as components, their degrees of freedom infinite [inner].

    Raises
    ------
    InputError
        When the matrix is not a covariance matrix.

    References
    ----------
    JCGM 101:2008, 6.4.8 (multivariate normal).

    Examples
    --------
    >>> correlated_quantities([0.0, 0.0], [[1.0, 0.5], [0.5, 1.0]]).covariance.round(12).tolist()
    [[1.0, 0.5], [0.5, 1.0]]
    """
    values = np.asarray(estimates, dtype=float)
    matrix = np.asarray(covariance, dtype=float)
    scale = np.sqrt(np.abs(matrix.diagonal()))
    scale = np.where(scale > 0, scale, 1.0)
    correlation = matrix / np.outer(scale, scale)
    if not np.allclose(correlation, correlation.T, rtol=0, atol=1e-9):
        raise InputError("the covariance matrix is not symmetric.", mend="Give u(xi, xj) = u(xj, xi).")
    eigenvalues, vectors = np.linalg.eigh(correlation)
    if eigenvalues.min(initial=0.0) < -1e-9 * max(1.0, float(eigenvalues.max(initial=0.0))):
        raise InputError(
            f"the covariance matrix has a negative eigenvalue ({eigenvalues.min():.3g}).",
            mend="No quantities can have it: check the correlation coefficients.",
        )
    root = scale[:, np.newaxis] * vectors * np.sqrt(np.clip(eigenvalues, 0.0, None))
    sources = tuple(ErrorSource(f"joint error {i + 1}") for i in range(values.size))
    return InputQuantities(values, root, sources)
