"""Densities of the readings under every state of the modules, and how they change with a hypothesis."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from spoolwright.core.reduction.doubt.signs import FloatArray
from spoolwright.core.reduction.doubt.spread import Linear, Unknowns


class Normals:
    """The readings under every state of the modules; arrays lead with the state.

    The precision is kept as that of the levels by themselves less a product of factors, by the matrix
    inversion lemma twice: inv(B + C C' + W W') = inv(B) - G G' - R R'. The blocks B of the levels are small.
    """

    def __init__(self, linear: Linear, states: Sequence[np.ndarray]) -> None:
        self.linear, self.states = linear, states
        r = linear.residual
        self.places = [np.flatnonzero(linear.level == k) for k in range(linear.levels)]
        half = self._levels()
        columns = self._by_levels(linear.columns)
        common = np.linalg.cholesky(np.eye(columns.shape[1]) + linear.columns.T @ columns)
        self.factor = np.linalg.solve(common, columns.T).T
        half += float(np.log(np.diag(common)).sum())
        constant = -half - 0.5 * r.size * math.log(2.0 * math.pi)
        pulled = self._base(linear.worn)
        stiff = linear.worn.T @ pulled
        self.roots, density = [], []
        for state in states:
            inner = np.linalg.cholesky(np.eye(state.size) + stiff[np.ix_(state, state)])
            self.roots.append(np.linalg.solve(inner, pulled[:, state].T).T)
            density.append(constant - float(np.log(np.diag(inner)).sum()))
        self.weighted = [self.pulled(r, k) for k in range(len(states))]
        self.misfit = np.array([float(r @ w) for w in self.weighted])
        self.log_density = np.array(density) - 0.5 * self.misfit

    def _levels(self) -> float:
        """Precision of each level by itself; half the ln of the product of their determinants."""
        linear, half = self.linear, 0.0
        most = max(rows.size for rows in self.places)
        self.own = np.zeros((linear.levels, most, most))
        self.place = np.zeros(linear.residual.size, dtype=int)
        for k, rows in enumerate(self.places):
            local = linear.local[rows]
            block = local @ local.T + np.diag(linear.scatter[rows])
            half += float(np.log(np.diag(np.linalg.cholesky(block))).sum())
            self.own[k, : rows.size, : rows.size] = np.linalg.inv(block)
            self.place[rows] = np.arange(rows.size)
        return half

    def _by_levels(self, x: FloatArray) -> FloatArray:
        """inv(B) x."""
        out = np.empty_like(x)
        for k, rows in enumerate(self.places):
            out[rows] = self.own[k, : rows.size, : rows.size] @ x[rows]
        return out

    def _base(self, x: FloatArray) -> FloatArray:
        """inv(B + C C') x."""
        return np.asarray(self._by_levels(x) - self.factor @ (self.factor.T @ x))

    def pulled(self, r: FloatArray, state: int) -> FloatArray:
        """Residuals weighted with the precision under a state of the modules."""
        root = self.roots[state]
        return np.asarray(self._base(r) - root @ (root.T @ r))

    def unknowns(self, r: FloatArray, state: int) -> Unknowns:
        """Most probable unknowns for residuals r under a state of the modules."""
        linear, weighted = self.linear, self.pulled(r, state)
        worn = np.zeros(linear.worn.shape[1])
        worn[self.states[state]] = linear.worn[:, self.states[state]].T @ weighted
        local = np.array([linear.local[rows].T @ weighted[rows] for rows in self.places]).T
        return Unknowns(linear.columns.T @ weighted, local, worn)

    def _block(self, rows: np.ndarray) -> tuple[FloatArray, FloatArray]:
        """Precision and weighted residuals of some rows: (states, n, n), (states, n)."""
        base = self._own_block(rows) - self.factor[rows] @ self.factor[rows].T
        block = np.array([base - root[rows] @ root[rows].T for root in self.roots])
        return block, np.array([w[rows] for w in self.weighted])

    def _own_block(self, rows: np.ndarray) -> FloatArray:
        """inv(B) between some rows: only those of one level have to do with each other."""
        level, place = self.linear.level[rows], self.place[rows]
        same = level[:, None] == level[None, :]
        return np.asarray(same * self.own[level[:, None], place[:, None], place[None, :]])

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
