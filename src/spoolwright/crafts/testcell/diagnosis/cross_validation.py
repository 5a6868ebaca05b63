"""Where the model is wrong and by how much, told by engines that the calibration had not seen.

Engines are dealt into folds; the common coefficients are learnt without a fold and held against it. What
scatters is taken from all engines: it is learnt from every engine's departure from the rest.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from spoolwright.core.diagnosis.calibrated import Calibrated, ModelError
from spoolwright.core.diagnosis.comparison import Compared
from spoolwright.core.diagnosis.learning import posterior
from spoolwright.core.diagnosis.observation import OUTPUTS, Observation
from spoolwright.core.diagnosis.problem import EngineRuns
from spoolwright.core.numerics import FloatArray

FOLDS = 5
"""Engines are dealt into so many parts; into one each where there are fewer."""
BANDS = 3
"""Parts of the range of gas generator speed."""


def model_errors(
    problems: Sequence[EngineRuns],
    states: Sequence[Sequence[Observation]],
    seen: Sequence[Compared],
    serials: Sequence[str],
    learnt: Calibrated,
) -> tuple[ModelError, ...]:
    """Residuals by output and speed band; `seen` are the runs of all states in order, against the data sheet.

    With one engine nothing can be held against it: then there is no row.
    """
    engines = sorted(set(serials))
    if len(engines) < 2:
        return ()
    fold = {serial: i % min(FOLDS, len(engines)) for i, serial in enumerate(engines)}
    of = np.array([fold[s] for s in serials])
    rows = []
    start = 0
    held = {k: _learnt_without(problems, of == k, learnt) for k in sorted(set(of.tolist()))}
    for state, problem, k in zip(states, problems, of.tolist(), strict=True):
        own = seen[start : start + len(state)]
        start += len(state)
        rows.append(_rows(own, problem, held[k], learnt))
    return _banded(np.concatenate(rows))


def _learnt_without(
    problems: Sequence[EngineRuns], out: FloatArray, learnt: Calibrated
) -> tuple[FloatArray, FloatArray]:
    rest = [p for p, left in zip(problems, out, strict=True) if not left]
    found = posterior(rest, learnt.multipliers, learnt.line)
    return found.mean, found.covariance


def _rows(
    own: Sequence[Compared], problem: EngineRuns, held: tuple[FloatArray, FloatArray], learnt: Calibrated
) -> FloatArray:
    """Output, speed, residual before and after, and the stated standard deviation of each residual."""
    mean, covariance = held
    names = list(OUTPUTS)
    output = np.concatenate([np.repeat([names.index(n) for n in c.outputs], c.speed.size) for c in own])
    speed = np.concatenate([np.tile(np.exp(c.speed), len(c.outputs)) for c in own])
    before = np.concatenate([c.vector for c in own])
    after = problem.residual - problem.common @ mean
    columns = problem.columns * learnt.multipliers[problem.spread]
    variance = np.diag(problem.scatter) + np.sum(columns**2, axis=1)
    variance = variance + np.einsum("ni,ij,nj->n", problem.line, learnt.line, problem.line)
    variance = variance + np.einsum("ni,ij,nj->n", problem.common, covariance, problem.common)
    return np.stack([output, speed, before, after, np.sqrt(variance)], axis=1)


def _banded(rows: FloatArray) -> tuple[ModelError, ...]:
    rows = rows[np.all(np.isfinite(rows), axis=1)]
    edges = np.linspace(rows[:, 1].min(), rows[:, 1].max(), BANDS + 1)
    band = np.clip(np.searchsorted(edges, rows[:, 1], side="right") - 1, 0, BANDS - 1)
    out = []
    for i, name in enumerate(OUTPUTS):
        for b in range(BANDS):
            own = rows[(rows[:, 0] == i) & (band == b)]
            if len(own):
                out.append(
                    ModelError(
                        output=name,
                        speed_from=float(edges[b]),
                        speed_to=float(edges[b + 1]),
                        points=len(own),
                        before=float(own[:, 2].mean()),
                        after=float(own[:, 3].mean()),
                        scatter=float(own[:, 3].std()),
                        stated=float(np.sqrt(np.mean(own[:, 4] ** 2))),
                    )
                )
    return tuple(out)
