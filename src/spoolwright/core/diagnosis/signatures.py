"""What each cause does to a run's residuals, from the engine model run with the cause in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spoolwright.core.cycle.condition import Condition
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.solve import solve
from spoolwright.core.diagnosis.causes import Cause, ReadingScale
from spoolwright.core.diagnosis.comparison import FACTORS, UNIT, Compared, condition_of, factor_record
from spoolwright.core.diagnosis.observation import ADDITIVE, CONDITIONS, OUTPUTS
from spoolwright.core.diagnosis.spreads import (
    EFFECT,
    EFFECT_ALONG,
    EFFECT_DIVIDED,
    EFFECT_LINE,
    EFFECT_OF_SEEN,
    EFFECT_RATIO,
    EFFECT_SLOPE,
    MAPPED,
)
from spoolwright.core.numerics import FloatArray, value


@dataclass(frozen=True)
class Signature:
    """A cause's effect on a run's residuals as a function of its signed size: slope s + curvature s^2.

    Parameters
    ----------
    slope, curvature : array, shape (N,)
        Coefficients [1 / unit of the cause, 1 / its square].
    errors : array, shape (m, N)
        What is not known of the slope: independent errors of one standard deviation [1 / unit of the cause].
    """

    slope: FloatArray
    curvature: FloatArray
    errors: FloatArray

    def at(self, size: float) -> FloatArray:
        """Effect of a signed size, shape (N,) [-]."""
        return self.slope * size + self.curvature * size**2


def module_signatures(
    model: EngineModel, runs: Sequence[Compared], causes: Sequence[Cause]
) -> list[list[Signature]]:
    """Signatures of module causes at every run, all cases in one batch.

    Parameters
    ----------
    model : EngineModel
        Model of the type [-].
    runs : sequence of Compared
        Runs, with the factors the model was run with [-].
    causes : sequence of Cause
        Causes in modules [-].

    Returns
    -------
    list of list of Signature
        By run, then by cause [-].

    Notes
    -----
    Two solves a cause: at a third and two thirds of its largest size, or at half of it either way; the
    parabola through them and through no effect at size 0.
    """
    moves, sizes = _moves(causes)
    cases = [_cases(c, moves) for c in runs]
    condition = {k: np.concatenate([x[0][k] for x in cases]) for k in CONDITIONS}
    factors = np.concatenate([x[1] for x in cases], axis=1)
    speed = np.concatenate([x[2] for x in cases])
    found = solve(model, Condition(**condition), factor_record(factors), set_by="ng", target=speed)
    out, start = [], 0
    for c in runs:
        p = c.observation.size
        rows = slice(start, start + p * len(moves))
        start = rows.stop
        parabolas = _parabolas(_effects(c, found, rows, len(moves)), sizes)
        out.append(
            [Signature(a, b, _errors(c, x, a, b)) for x, (a, b) in zip(causes, parabolas, strict=True)]
        )
    return out


def _errors(c: Compared, cause: Cause, slope: FloatArray, curvature: FloatArray) -> FloatArray:
    """What is not known of a cause's effect.

    Where the operating point moves, maps of another shape answer otherwise: as if other factors moved along,
    by a part of the flow loss that would move the engine as much. Besides: each output, the whole, the ratio
    of factors. The rows are the same in every run, nought where it lacks an output: they are the same errors.
    """
    k, p = c.residual.shape
    effect = slope.reshape(k, p)
    flow = c.by_factor[FACTORS.index("compressor_flow")]
    moved = float(np.sqrt(np.mean(effect**2) / np.mean(flow**2)))
    along = [c.by_factor[FACTORS.index(name)] * moved * EFFECT_ALONG for name in MAPPED]
    rows = [*along, *(x * c.speed * EFFECT_SLOPE for x in along)]
    outputs = np.array(c.outputs)[:, None]
    rows += [effect * EFFECT * (outputs == name) for name in OUTPUTS]
    rows += [effect * EFFECT, effect * c.speed * (EFFECT_DIVIDED if cause.divided else EFFECT_LINE)]
    for name in list(cause.factors)[1:]:
        rows.append(c.by_factor[FACTORS.index(name)] * cause.factors[name] * EFFECT_RATIO)
    if cause.seen_by:
        others = (outputs != cause.seen_by) & (cause.seen_by in c.outputs)
        bent = curvature.reshape(k, p) * 0.5 * cause.sizes[1]
        hidden = [x * others * EFFECT_OF_SEEN for x in (effect, bent)]
        rows += [*hidden, *(x * c.speed * EFFECT_SLOPE for x in hidden)]
    return np.array(rows).reshape(len(rows), -1)


def _moves(causes: Sequence[Cause]) -> tuple[FloatArray, FloatArray]:
    """Departures of the factors for none and for two sizes of each cause, and those sizes."""
    rows, sizes = [np.zeros(len(FACTORS))], []
    for cause in causes:
        unit = np.array([cause.factors.get(f, 0.0) for f in FACTORS])
        high = cause.sizes[1]
        pair = (-0.5 * high, 0.5 * high) if len(cause.signs) == 2 else (high / 3.0, 2.0 * high / 3.0)
        rows += [unit * s for s in pair]
        sizes.append(pair)
    return np.array(rows), np.array(sizes)


def _cases(c: Compared, moves: FloatArray) -> tuple[dict[str, FloatArray], FloatArray, FloatArray]:
    """Every move at every point of a run: conditions, factors, speed, move by move."""
    n = len(moves)
    at = {k: np.tile(v, n) for k, v in condition_of(c.observation).items()}
    moved = c.factors[:, None, :] + moves.T[:, :, None] * UNIT[:, None, None]
    speed = np.tile(np.asarray(value(c.observation.speed), dtype=float), n)
    return at, moved.reshape(len(FACTORS), -1), speed


def _effects(c: Compared, found: object, rows: slice, moves: int) -> FloatArray:
    """Change of every output's residual for each move, shape (moves - 1, K P)."""
    p = c.observation.size
    out = []
    for name in c.outputs:
        y = np.asarray(getattr(found, OUTPUTS[name]), dtype=float)[rows].reshape(moves, p)
        with np.errstate(invalid="ignore", divide="ignore"):
            z = np.radians(y) if name in ADDITIVE else np.log(y)
        out.append(z[1:] - z[0])
    return np.stack(out, axis=1).reshape(moves - 1, -1)


def _parabolas(effects: FloatArray, sizes: FloatArray) -> list[tuple[FloatArray, FloatArray]]:
    out = []
    for i, (a, b) in enumerate(sizes):
        fa, fb = effects[2 * i] / a, effects[2 * i + 1] / b
        curvature = (fb - fa) / (b - a)
        out.append((fa - curvature * a, curvature))
    return out


def reading_signatures(c: Compared, scales: Sequence[ReadingScale]) -> list[Signature]:
    """Signatures of wrong readings at a run.

    Parameters
    ----------
    c : Compared
        The run [-].
    scales : sequence of ReadingScale
        Channels with what a size of 1 is [-].

    Returns
    -------
    list of Signature
        Straight lines [-].
    """
    names = c.observation.channels
    out = []
    for s in scales:
        slope = c.by_channel[names.index(s.channel)].ravel() * s.step
        out.append(Signature(slope, np.zeros_like(slope), np.zeros((0, slope.size))))
    return out
