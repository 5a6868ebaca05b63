"""Densities of the readings under every state of the modules, and how they change with a hypothesis."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from spoolwright.core.reduction.doubt.signs import FloatArray
from spoolwright.core.reduction.doubt.spread import Linear


class Normals:
    """The readings under every state of the modules; arrays lead with the state."""

    def __init__(self, linear: Linear, states: Sequence[np.ndarray]) -> None:
        r = linear.residual
        covariance = linear.covariance()
        half = float(np.log(np.diag(np.linalg.cholesky(covariance))).sum())
        self.base = np.linalg.inv(covariance)
        weighted = self.base @ r
        constant = -half - 0.5 * r.size * math.log(2.0 * math.pi)
        pulled = self.base @ linear.worn
        stiff = linear.worn.T @ pulled
        self.roots, self.weighted, density, misfit = [], [], [], []
        for state in states:
            inner = np.linalg.cholesky(np.eye(state.size) + stiff[np.ix_(state, state)])
            # precision of a state = base - root root', by the matrix inversion lemma
            root = np.linalg.solve(inner, pulled[:, state].T).T
            self.roots.append(root)
            self.weighted.append(weighted - root @ (root.T @ r))
            misfit.append(float(r @ self.weighted[-1]))
            density.append(constant - float(np.log(np.diag(inner)).sum()) - 0.5 * misfit[-1])
        self.misfit = np.array(misfit)
        self.log_density = np.array(density)

    def _block(self, rows: np.ndarray) -> tuple[FloatArray, FloatArray]:
        """Precision and weighted residuals of some rows: (states, n, n), (states, n)."""
        base = self.base[np.ix_(rows, rows)]
        block = np.array([base - root[rows] @ root[rows].T for root in self.roots])
        return block, np.array([w[rows] for w in self.weighted])

    def replaced(self, rows: np.ndarray, change: FloatArray, log_slope: float) -> FloatArray:
        """ln density with some residuals changed, (states,)."""
        block, weighted = self._block(rows)
        more = 2.0 * weighted @ change + np.einsum("i,sij,j->s", change, block, change)
        return np.asarray(self.log_density - 0.5 * more + log_slope)

    def freed(self, rows: np.ndarray, shapes: FloatArray, sizes: FloatArray) -> tuple[FloatArray, FloatArray]:
        """ln density and best amount for free errors of m shapes (n, m) and k sizes, (states, k, m)."""
        block, weighted = self._block(rows)
        pull = (weighted @ shapes)[:, None, :]
        stiff = np.einsum("nm,snk,km->sm", shapes, block, shapes, optimize=True)[:, None, :]
        square = (sizes**2)[None, :, None]
        loss = 1.0 + square * stiff
        gain = 0.5 * square * pull**2 / loss - 0.5 * np.log(loss)
        return self.log_density[:, None, None] + gain, square * pull / loss


def module_states(modules: Sequence[np.ndarray], factors: int) -> list[np.ndarray]:
    """States of the modules: build scatter, each module worn, all worn.

    Parameters
    ----------
    modules : sequence of arrays of int
        Places of each module's condition factors [-].
    factors : int
        Number of factors [-].

    Returns
    -------
    list of arrays of int
        Factors that depart by more than build scatter [-].
    """
    return [np.zeros(0, dtype=int), *[m for m in modules if m.size], np.arange(factors)]
