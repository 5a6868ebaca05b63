"""The ceiling: Bayes' rule with everything that the rig alone knows. No method can name more causes from
the same residuals.

It knows the rig's own models (each of the numbered shapes, equally probable), its build scatter (the leak
exponential, integrated exactly), its instrument and cell errors with gas temperature profiles that turn with
load, the true noise of every channel, and the shares of causes, signs and sizes by which faults were planted.
Effects of causes are computed with the true models and the cause in them.

What is approximate: effects of causes are taken at an engine of average build and pass through their values
at three or four sizes; effects of two causes add; errors of instruments act in a straight line, and the few
of rectangular distribution count as normal; what is left of settling after the hold is its mean over healthy
runs; the fuel's hydrogen content is the average. Readings that ought to agree (air before and behind the
intake) are not compared, as the product does: it may name more wrong readings than the ceiling.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from _diagnosis_rig import BIASES, PAIR_SIZES, RIG, SIZES, Bench
from scipy.linalg import cholesky, solve_triangular
from scipy.special import log_ndtr, logsumexp

from spoolwright.core.cycle.condition import HEALTHY, Condition
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.solve import solve
from spoolwright.core.diagnosis.causes import Cause
from spoolwright.core.diagnosis.comparison import FACTORS, Compared, compared, condition_of, factor_record
from spoolwright.core.diagnosis.observation import ADDITIVE, OUTPUTS, Observation
from spoolwright.core.numerics import value
from spoolwright.rig.distortion import SHAPES
from spoolwright.rig.module_faults import LEAK_SCATTER, SCATTER, VANE_SCATTER, with_faults
from spoolwright.rig.truth import truth_model
from spoolwright.units import unit_of

FloatArray = np.ndarray
Ids = tuple[str, ...]
_HYDROGEN = 1.92
_LEAK = FACTORS.index("leak")
_TURN = math.pi / 3.0
"""How far the rig turns a gas temperature profile from no load to full load."""
_SPREAD = np.array(
    [
        0.0 if f == "leak" else math.radians(VANE_SCATTER) if f == "vane_offset" else SCATTER[f]
        for f in FACTORS
    ]
)
_STEPS, _PAIR_STEPS = 72, 15
_FAR = 14.0
"""Shapes whose likelihood is lower than the best by this are left out of the weighing of pairs [ln]."""
_CORRELATION_TIMES = np.linspace(1.0, 4.0, 31)


@dataclass(frozen=True)
class Shares:
    """By which runs were drawn: nothing wrong, one module cause, one wrong reading, two at once."""

    healthy: float
    module: float
    reading: float
    pair: float


@dataclass(frozen=True)
class Grid:
    """Signed sizes of one cause and the prior's share of each."""

    size: FloatArray
    share: FloatArray


def _uniform(low: float, high: float, signs: Sequence[int], n: int) -> Grid:
    middle = low + (high - low) * (np.arange(n) + 0.5) / n
    size = np.concatenate([s * middle for s in signs])
    return Grid(size, np.full(size.size, 1.0 / size.size))


class Ceiling:
    """The classifier that knows the rig."""

    def __init__(self, bench: Bench, shares: Shares, settling: FloatArray | None = None) -> None:
        self.bench, self.shares, self.settling = bench, shares, settling
        self.models = [truth_model(bench.engine, k, _HYDROGEN) for k in range(SHAPES)]
        self.noise = {
            c.id: _mean_variance(bench) * (c.noise * unit_of(c.unit, c.dimension).factor) ** 2
            for c in bench.type.channel
        }
        causes = bench.causes
        self.knots = [_knots(c) for c in causes]
        self.drawn = [_uniform(*c.sizes, c.signs, _STEPS) for c in causes]
        self.fixed = [
            Grid(np.outer(c.signs, SIZES).ravel(), np.full(len(c.signs) * 5, 0.2 / len(c.signs)))
            for c in causes
        ]
        self.paired = [_uniform(*PAIR_SIZES, c.signs, _PAIR_STEPS) for c in causes]
        self.bias = _uniform(*BIASES, (1, -1), 12)

    def mean_residual(self, shape: int, runs: Sequence[Observation]) -> FloatArray:
        """Sum of residuals of healthy runs against the model of their shape with the mean leak, (K, P)."""
        seen = compared(self.models[shape], runs)
        return np.sum([c.residual - LEAK_SCATTER * c.by_factor[_LEAK] for c in seen], axis=0)

    def weigh(self, runs: Sequence[Observation], lacking: Sequence[Sequence[str]]) -> list[list[Weighed]]:
        """Weigh runs of the full sensor set; for each run, its weighing by each set of outputs left out."""
        by_shape = [(compared(m, runs), self._effects(m, runs)) for m in self.models]
        return [
            [self._one([(c[i], e[i]) for c, e in by_shape], without) for without in lacking]
            for i in range(len(runs))
        ]

    def problem(self, run: Observation, shape: int, without: Sequence[str] = ()) -> Problem:
        """A run against one shape, in units of the scatter."""
        model = self.models[shape]
        return self._problem(compared(model, [run])[0], self._effects(model, [run])[0], without)

    def effects_in_scatter(
        self, run: Observation, shape: int, without: Sequence[str]
    ) -> dict[str, tuple[FloatArray, FloatArray]]:
        """Effects of each cause in units of the scatter, the leak's counted as normal.

        For each cause those at SIZES for each sign, and those at sizes drawn evenly.
        """
        p = self.problem(run, shape, without)
        # Along the leak's own direction the scatter is larger by its variance: shorten that component.
        length = float(p.leak @ p.leak)
        shrink = 1.0 / math.sqrt(1.0 + length * LEAK_SCATTER**2) - 1.0

        def shortened(e: FloatArray) -> FloatArray:
            return np.asarray(e + shrink * np.outer(e @ p.leak, p.leak) / length)

        return {
            c.id: (shortened(p.module(i, self.fixed[i])), shortened(p.module(i, self.drawn[i])))
            for i, c in enumerate(self.bench.causes)
        }

    def _effects(self, model: EngineModel, runs: Sequence[Observation]) -> list[FloatArray]:
        """Effects of every cause at its knots, by the true model: (knots, K, P) a run."""
        planted = [
            {RIG[c.id][0]: RIG[c.id][1] * s}
            for c, k in zip(self.bench.causes, self.knots, strict=True)
            for s in k
        ]
        records = [HEALTHY, *(with_faults(HEALTHY, f, model.data) for f in planted)]
        table = np.array([[getattr(r, f) for r in records] for f in FACTORS])
        n = len(records)
        at = [condition_of(o) for o in runs]
        size = [o.size for o in runs]
        speed = [np.broadcast_to(np.asarray(value(o.speed), dtype=float), (o.size,)) for o in runs]
        found = solve(
            model,
            Condition(**{k: np.concatenate([np.tile(a[k], n) for a in at]) for k in at[0]}),
            factor_record(np.concatenate([np.repeat(table, p, axis=1) for p in size], axis=1)),
            set_by="ng",
            target=np.concatenate([np.tile(s, n) for s in speed]),
        )
        out, start = [], 0
        for o in runs:
            rows = slice(start, start + n * o.size)
            start = rows.stop
            out.append(np.stack([_seen(found, name, rows, n) for name in o.observed], axis=1))
        return out

    def _one(self, shapes: Sequence[tuple[Compared, FloatArray]], without: Sequence[str]) -> Weighed:
        problems = [self._problem(c, e, without) for c, e in shapes]
        singles = [p.singles(self.drawn, self.fixed, self.bias) for p in problems]
        base = np.array([s[0] for s in singles])
        best = [max(s[0], s[1].max(), s[2].max(), s[3].max()) for s in singles]
        near = [i for i, b in enumerate(best) if b > max(best) - _FAR]
        pairs = logsumexp([problems[i].pairs(self.paired, self.bias) for i in near], axis=0)
        level = math.log(len(shapes))
        drawn, fixed, reading = (logsumexp([s[k] for s in singles], axis=0) - level for k in (1, 2, 3))
        return self._posterior(
            float(logsumexp(base)) - level, drawn, fixed, reading, pairs - level, problems[0].channels
        )

    def _posterior(
        self, healthy: float, drawn: FloatArray, fixed: FloatArray, reading: FloatArray, pairs: FloatArray,
        channels: Sequence[str],
    ) -> Weighed:  # fmt: skip
        shares, modules = self.shares, [c.id for c in self.bench.causes]
        readings = [f"reading:{c}" for c in channels]
        every = [*modules, *readings]
        allowed = [(i, j) for i in range(len(modules)) for j in range(i + 1, len(every))]
        two = [pairs[i, j] + math.log(shares.pair / len(allowed)) for i, j in allowed]
        rest = [
            healthy + math.log(shares.healthy),
            *(reading + math.log(shares.reading / len(readings))),
            *two,
        ]
        ids: list[Ids] = [
            (),
            *((r,) for r in readings),
            *(tuple(sorted((every[i], every[j]))) for i, j in allowed),
        ]
        ids += [(m,) for m in modules]
        own = math.log(shares.module / len(modules))
        return Weighed(*(_shares(ids, np.array([*rest, *(m + own)])) for m in (drawn, fixed)))

    def _problem(self, c: Compared, effects: FloatArray, without: Sequence[str]) -> Problem:
        o = c.observation
        keep = [i for i, name in enumerate(c.outputs) if name not in without]
        rows = np.array([i * o.size + p for i in keep for p in range(o.size)])
        residual = c.residual - (0.0 if self.settling is None else self.settling)
        by_channel = {n: c.by_channel[i].ravel() for i, n in enumerate(o.channels)}
        channels = [n for n in self.bench.units if np.any(by_channel[n][rows] != 0.0) or n in _ALWAYS]
        change = (effects[1:] - effects[0]).reshape(len(effects) - 1, -1)
        curves, start = [], 0
        for knots in self.knots:
            powers = np.power.outer(np.array(knots), np.arange(1, len(knots) + 1))
            curves.append(np.linalg.solve(powers, change[start : start + len(knots)])[:, rows])
            start += len(knots)
        reading = np.array([by_channel[n][rows] * self.bench.units[n] for n in channels])
        leak = c.by_factor[_LEAK].ravel()[rows]
        covariance = self._covariance(c)[np.ix_(rows, rows)]
        return Problem(residual.ravel()[rows], leak, curves, reading, covariance, channels)

    def _covariance(self, c: Compared) -> FloatArray:
        """Of everything that scatters but the leak."""
        o = c.observation
        k, p = c.residual.shape
        power = np.asarray(value(o.observed["dynamometer_power"]), dtype=float)
        angle = _TURN * power / self.bench.engine.reference.power
        turned = np.cos(angle[:, None] - angle)
        total = np.zeros((k, p, k, p))
        for e, s, random in zip(c.errors(), o.sources, o.random, strict=True):
            if random or not np.any(e):
                continue
            d = e.reshape(k, p)
            both = np.multiply.outer(d, d)
            lasting = "profile" in s.name and not s.name.startswith("inlet")
            total += both * turned[None, :, None, :] if lasting else both
        for n, by in zip(o.channels, c.by_channel, strict=True):
            i = np.arange(p)
            total[:, i, :, i] += self.noise.get(n, 0.0) * np.einsum("kp,lp->pkl", by, by)
        built = c.by_factor.reshape(len(FACTORS), -1) * _SPREAD[:, None]
        return total.reshape(k * p, k * p) + built.T @ built + 1e-10 * np.eye(k * p)


_ALWAYS = ("t_amb", "p_amb")
"""Channels that are weighed though they hardly move anything."""


@dataclass(frozen=True)
class Weighed:
    """Posterior probabilities by explanation: sizes taken as drawn evenly, and as known to be one of five."""

    drawn: dict[Ids, float]
    fixed: dict[Ids, float]


def _shares(ids: Sequence[Ids], logs: FloatArray) -> dict[Ids, float]:
    p = np.exp(logs - logs.max())
    return dict(zip(ids, (p / p.sum()).tolist(), strict=True))


class Problem:
    """One run against one shape, in units of the scatter."""

    def __init__(
        self, residual: FloatArray, leak: FloatArray, curves: Sequence[FloatArray], reading: FloatArray,
        covariance: FloatArray, channels: Sequence[str],
    ) -> None:  # fmt: skip
        self.channels = channels
        lower = cholesky(covariance, lower=True)
        sizes = [len(c) for c in curves]
        stack = np.concatenate([residual[None], leak[None], reading, *curves])
        white = solve_triangular(lower, stack.T, lower=True).T
        self.residual, self.leak = white[0], white[1]
        self.reading = white[2 : 2 + len(reading)]
        ends = np.cumsum([2 + len(reading), *sizes])
        self.curves = [white[a:b] for a, b in pairwise(ends)]
        self.level = -float(np.sum(np.log(np.diag(lower)))) - 0.5 * float(self.residual @ self.residual)

    def _likelihood(self, gain: FloatArray, pull: FloatArray) -> FloatArray:
        """ln likelihood with the leak integrated over its exponential prior.

        The leak x has the likelihood exp(a x - b x^2 / 2), a being `pull` less what the effect takes of it.
        """
        b = float(self.leak @ self.leak)
        m = (pull - 1.0 / LEAK_SCATTER) / math.sqrt(b)
        level = self.level - math.log(LEAK_SCATTER) + 0.5 * math.log(2.0 * math.pi / b)
        return np.asarray(gain + level + 0.5 * m * m + log_ndtr(m))

    def likelihood_of(self, effects: FloatArray) -> FloatArray:
        """ln likelihood of effects, one a row, up to a constant that all explanations share."""
        gain = effects @ self.residual - 0.5 * np.sum(effects**2, axis=1)
        return self._likelihood(gain, self.leak @ self.residual - effects @ self.leak)

    def module(self, i: int, grid: Grid) -> FloatArray:
        """Effects of a cause at the sizes of a grid."""
        powers = np.power.outer(grid.size, np.arange(1, len(self.curves[i]) + 1))
        return np.asarray(powers @ self.curves[i])

    def singles(
        self, drawn: Sequence[Grid], fixed: Sequence[Grid], bias: Grid
    ) -> tuple[float, FloatArray, FloatArray, FloatArray]:
        """ln evidence of nothing wrong, of module causes for two priors of size, of every reading."""
        healthy = float(self.likelihood_of(np.zeros((1, self.residual.size)))[0])
        modules = [
            self._evidence([self.module(i, g) for i, g in enumerate(grids)], [g.share for g in grids])
            for grids in (drawn, fixed)
        ]
        reading = [np.outer(bias.size, r) for r in self.reading]
        return healthy, modules[0], modules[1], self._evidence(reading, [bias.share] * len(reading))

    def _evidence(self, effects: Sequence[FloatArray], shares: Sequence[FloatArray]) -> FloatArray:
        """ln evidence of each of several causes, its size summed over its grid."""
        starts = np.cumsum([0, *(len(e) for e in effects[:-1])])
        log = self.likelihood_of(np.concatenate(effects))
        top = log.max()
        total = np.add.reduceat(np.exp(log - top) * np.concatenate(shares), starts)
        return np.asarray(top + np.log(total + 1e-300))

    def pairs(self, grids: Sequence[Grid], bias: Grid) -> FloatArray:
        """ln evidence of every pair, (modules, modules and readings)."""
        modules = [self.module(i, g) for i, g in enumerate(grids)]
        every = np.concatenate([*modules, *(np.outer(bias.size, r) for r in self.reading)])
        ends = np.cumsum([0, *(len(m) for m in modules), *([bias.size.size] * len(self.reading))])
        shares = [*(g.share for g in grids), *([bias.share] * len(self.reading))]
        gain = every @ self.residual - 0.5 * np.sum(every**2, axis=1)
        pull = every @ self.leak
        cross = every[: ends[len(modules)]] @ every.T
        base = float(self.leak @ self.residual)
        out = np.full((len(modules), len(shares)), -np.inf)
        for i in range(len(modules)):
            a = slice(ends[i], ends[i + 1])
            b = slice(ends[i + 1], None)
            log = (
                self._likelihood(gain[a, None] + gain[b] - cross[a, b], base - pull[a, None] - pull[b])
                + np.log(shares[i])[:, None]
            )
            top = log.max()
            total = np.exp(log - top).sum(axis=0)
            starts = ends[i + 1 : -1] - ends[i + 1]
            weight = np.concatenate(shares[i + 1 :])
            out[i, i + 1 :] = top + np.log(np.add.reduceat(total * weight, starts) + 1e-300)
        return out


def _knots(cause: Cause) -> tuple[float, ...]:
    """Sizes at which the true model is run: the cause's effect is the polynomial through them and nothing."""
    high = cause.sizes[1]
    if len(cause.signs) == 2:
        return (-high, -0.5 * high, 0.5 * high, high)
    return (high / 3.0, 2.0 * high / 3.0, high)


def _seen(found: object, name: str, rows: slice, n: int) -> FloatArray:
    y = np.asarray(getattr(found, OUTPUTS[name]), dtype=float)[rows].reshape(n, -1)
    return np.radians(y) if name in ADDITIVE else np.log(y)


def _mean_variance(bench: Bench) -> float:
    """Variance of a hold's mean over that of a sample: the rig's noise, averaged over what it draws of it."""
    assert bench.type.steady is not None
    n = int(bench.type.steady.window_s) + 1
    keep = np.exp(-1.0 / _CORRELATION_TIMES)
    lags = np.arange(1, n)
    coloured = (n + 2.0 * ((n - lags) * keep[:, None] ** lags).sum(axis=1)) / n**2
    return float(0.4 * coloured.mean() + 0.6 / n)


def modules_of(weighed: Mapping[Ids, float]) -> Ids:
    """The most probable explanation."""
    return max(weighed, key=lambda k: weighed[k])
