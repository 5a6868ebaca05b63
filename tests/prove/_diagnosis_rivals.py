"""What the ceiling and the product are set beside: weighted least squares with the nearest signature.

The textbook way: residuals against the data sheet's model, less their mean over the shop's healthy runs; a
covariance; straight-line signatures of the data sheet's model; nothing is wrong while the sum of squares is
below its 99.3 % point; otherwise the one cause that leaves the least sum of squares. Once with all points and
the covariance of the instruments and the scatter of readings alone, as it is usually written; once with each
output's mean over the points and the build scatter, as it is taken as known before any run was seen, added:
that blunts what the covariance leaves out, bent maps and profiles that turn.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from _diagnosis_rig import Bench
from scipy.linalg import cholesky, solve_triangular
from scipy.stats import chi2

from spoolwright.core.diagnosis.comparison import FACTORS, Compared, compared
from spoolwright.core.diagnosis.observation import Observation
from spoolwright.core.diagnosis.spreads import BUILD

QUIET = 0.993
"""Part of healthy runs whose sum of squares stays below the bound, were the covariance true."""
WAYS = ("least squares", "least squares of means")


class LeastSquares:
    """Nearest signature, for one sensor set."""

    def __init__(self, bench: Bench, healthy: Sequence[Observation]) -> None:
        self.bench = bench
        seen = compared(bench.basis.model, healthy)
        self.mean = np.mean([c.residual for c in seen], axis=0)

    def named(self, runs: Sequence[Observation]) -> list[Mapping[str, tuple[str, ...]]]:
        """For each run what each way names."""
        return [self._named(c) for c in compared(self.bench.basis.model, runs)]

    def _named(self, c: Compared) -> dict[str, tuple[str, ...]]:
        errors = c.errors()
        built = c.by_factor.reshape(len(FACTORS), -1) * BUILD[:, None]
        instruments = errors.T @ errors + 1e-10 * np.eye(errors.shape[1])
        z = (c.residual - self.mean).ravel()
        ids, signs, rows = self._signatures(c)
        over_points = np.kron(np.eye(len(c.outputs)), np.full((1, len(c.speed)), 1.0 / len(c.speed)))
        whole = over_points @ (instruments + built.T @ built) @ over_points.T
        return {
            WAYS[0]: _nearest(z, instruments, ids, signs, rows),
            WAYS[1]: _nearest(over_points @ z, whole, ids, signs, rows @ over_points.T),
        }

    def _signatures(self, c: Compared) -> tuple[list[str], list[bool], np.ndarray]:
        ids, both, rows = [], [], []
        for cause in self.bench.causes:
            moved = np.array([cause.factors.get(f, 0.0) for f in FACTORS])
            rows.append(np.tensordot(moved, c.by_factor, 1).ravel())
            ids.append(cause.id)
            both.append(len(cause.signs) == 2)
        for i, n in enumerate(c.observation.channels):
            if n in self.bench.units:
                rows.append(c.by_channel[i].ravel() * self.bench.units[n])
                ids.append(f"reading:{n}")
                both.append(True)
        return ids, both, np.array(rows)


def _nearest(
    z: np.ndarray, covariance: np.ndarray, ids: Sequence[str], both: Sequence[bool], rows: np.ndarray
) -> tuple[str, ...]:
    lower = cholesky(covariance, lower=True)
    white = solve_triangular(lower, np.vstack([z, rows]).T, lower=True).T
    r, s = white[0], white[1:]
    if r @ r < chi2.ppf(QUIET, r.size):
        return ()
    along = s @ r
    gain = np.where(np.array(both) | (along > 0.0), along**2, 0.0) / np.maximum(np.sum(s**2, axis=1), 1e-12)
    return (ids[int(np.argmax(gain))],)
