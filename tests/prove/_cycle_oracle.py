"""Where an engine can run, found another way than the solver finds it: by following its operating line.

Other unknowns (raw pressures, temperatures and ratios), other residuals (kg/s, W, Pa), Jacobians by
differences, and no starting guess for the target: from the reference point the conditions and module
factors are led over in small steps, then the line is followed in corrected speed, up and down, to the ends
of the map; a target between two neighbouring points is closed in by false position. A case is feasible if
such a point lies within every bound.
"""

from __future__ import annotations

from dataclasses import fields
from itertools import pairwise
from typing import Any

import numpy as np

from spoolwright.core.cycle.cases import subset
from spoolwright.core.cycle.condition import HEALTHY, Condition, ConditionFactors
from spoolwright.core.cycle.gaspath import GasPath
from spoolwright.core.cycle.model import EngineModel, Inlet

LEADING = 12  # steps from the reference condition to the case's own
STEP = 0.01  # of relative corrected speed along the line
CLOSING = 14  # steps of false position
MOVES = (1e-5, 1e-6, 1e-5, 1e-5)  # of loading [-], T4, both expansions [relative]; for the differences


class Line:
    """The operating lines of many cases of one engine, at one corrected speed each."""

    def __init__(
        self, model: EngineModel, condition: Condition, factors: ConditionFactors, count: int
    ) -> None:
        self.model, self.count = model, count
        self.condition, self.factors = condition, factors
        self.inlet = Inlet(model, condition)

    def take(self, index: Any) -> Line:
        """The lines of some of the cases."""
        return Line(self.model, subset(self.condition, index), subset(self.factors, index), len(index))

    def path(self, speed: Any, raw: Any) -> GasPath:
        """Gas path at raw unknowns: loading, T4 [K], sqrt of ln of both turbines' pressure ratios."""
        d = self.model.data
        own = (d.gas_generator_turbine.pressure_ratio, d.power_turbine.pressure_ratio)
        expansions = [
            np.log(np.maximum(r, 1e-3) / np.sqrt(np.log(o))) for r, o in zip(raw[2:], own, strict=True)
        ]
        T4 = np.log(np.maximum(raw[1], 300.0) / d.reference.turbine_inlet_temperature)
        x = (np.log(speed), raw[0], T4, *expansions)
        return GasPath(self.model, self.inlet, x, self.condition, self.factors)

    def mismatch(self, speed: Any, raw: Any) -> Any:
        """Flow through both turbines [kg/s], spool power [W], exhaust pressure [Pa]; each as a difference."""
        p = self.path(speed, raw)
        out = (
            p.W41 * -np.expm1(-p.capacity_41),
            p.spool_surplus,
            p.W45 * -np.expm1(-p.capacity_46),
            p.p5 * -np.expm1(-p.exhaust),
        )
        return np.array([np.broadcast_to(v, (self.count,)) for v in out])

    def corrected(self, speed: Any, raw: Any, most: int = 12) -> tuple[Any, Any]:
        """Newton's method with differences; the unknowns and whether each case closed."""
        scale = np.array([1.0, 1e6, 1.0, 1e5])[:, None]
        ok = np.zeros(self.count, dtype=bool)
        with np.errstate(all="ignore"):
            for _ in range(most):
                r = self.mismatch(speed, raw)
                ok = np.max(np.abs(r / scale), axis=0) < 1e-8
                if np.all(ok | ~np.isfinite(r[0])):
                    break
                slopes = np.empty((4, 4, self.count))
                for k, h in enumerate(MOVES):
                    moved = raw.copy()
                    step = h * np.maximum(1.0, np.abs(raw[k]))
                    moved[k] += step
                    slopes[:, k] = (self.mismatch(speed, moved) - r) / step
                raw = raw + np.where(ok, 0.0, _bounded(_solved(slopes, -r), raw))
        return raw, ok


def _solved(a: Any, b: Any) -> Any:
    """NumPy's solve, case by case if one of them is singular."""
    m, v = a.transpose(2, 0, 1), b.T[..., None]
    good = np.all(np.isfinite(m), axis=(1, 2)) & np.all(np.isfinite(v), axis=(1, 2))
    out = np.full(b.T.shape, np.nan)
    try:
        out[good] = np.linalg.solve(m[good], v[good])[..., 0]
    except np.linalg.LinAlgError:
        for i in np.flatnonzero(good):
            out[i] = np.linalg.lstsq(m[i], v[i, :, 0], rcond=None)[0]
    return out.T


def _bounded(step: Any, raw: Any) -> Any:
    most = np.array([0.3, 150.0, 0.1, 0.1])[:, None]
    return step * np.minimum(1.0, np.min(most / np.maximum(np.abs(step), 1e-300), axis=0))


def _between(a: Any, b: Any, share: float, kind: type) -> Any:
    return kind(
        **{f.name: getattr(a, f.name) * (1.0 - share) + getattr(b, f.name) * share for f in fields(kind)}
    )


def start(model: EngineModel, condition: Condition, factors: ConditionFactors, count: int) -> tuple[Any, Any]:
    """Raw unknowns of every case at 90 % corrected speed, led over from the reference engine."""
    d = model.data
    reference = d.condition()
    expansions = [np.sqrt(np.log(t.pressure_ratio)) for t in (d.gas_generator_turbine, d.power_turbine)]
    raw = np.repeat(
        np.array([[0.0], [d.reference.turbine_inlet_temperature], *[[e] for e in expansions]]), count, 1
    )
    ok = np.ones(count, dtype=bool)
    for speed in (1.0, 0.96, 0.93, 0.90):
        raw, ok = Line(model, reference, HEALTHY, count).corrected(np.full(count, speed), raw)
    for k in range(1, LEADING + 1):
        share = k / LEADING
        line = Line(
            model,
            _between(reference, condition, share, Condition),
            _between(HEALTHY, factors, share, ConditionFactors),
            count,
        )
        raw, ok = line.corrected(np.full(count, 0.9), raw)
    return raw, ok


def within(model: EngineModel, speed: Any, path: GasPath) -> Any:
    """Whether a point lies within every bound of the model (by its definition, written again)."""
    m, c = model.data.compressor.map, model.data.compressor
    surge = 1.0 + (c.pressure_ratio - 1.0) * model.surge_line(path.map_flow)[0]
    return (
        (path.pressure_ratio <= surge)
        & (path.loading >= m.loading[0])
        & (path.loading <= m.loading[-1])
        & (speed >= m.speed[0])
        & (speed <= m.speed[-1])
        & (path.T4 <= 2200.0)
        & (path.fuel_air_ratio >= 0.0)
        & (path.fuel_air_ratio <= model.gas.stoichiometric)
    )


def feasible(
    model: EngineModel, condition: Condition, factors: ConditionFactors, power: Any
) -> tuple[Any, Any]:
    """Whether each case can give its power, and whether its line could be followed as far as that needs."""
    line = Line(model, condition, factors, len(power))
    raw, ok = start(model, condition, factors, len(power))
    found, decided = np.zeros(len(power), dtype=bool), np.zeros(len(power), dtype=bool)
    for end in (model.data.compressor.map.speed[-1], model.data.compressor.map.speed[0]):
        inside, closed, past_end = _followed(line, power, raw, ok, end)
        found |= inside
        decided |= closed | past_end
    return found, decided


def _followed(line: Line, power: Any, raw: Any, ok: Any, end: float) -> tuple[Any, Any, Any]:
    """Follow the lines from 90 % speed to one end of the map.

    Tells where the power was met within bounds, where it was met at all, and where the line went on to the
    end, or for good out of bounds, without meeting it on the side on which it lies.
    """
    count, up = line.count, end > 0.9
    grid = np.linspace(0.9, end, int(np.ceil(abs(end - 0.9) / STEP)) + 1)
    here, last, alive = raw, raw, ok.copy()
    gap = _gap(line, power, 0.9, here)
    found, closed = np.zeros(count, dtype=bool), np.zeros(count, dtype=bool)
    for before, n in pairwise(grid):
        new, good = line.corrected(np.full(count, n), 2.0 * here - last)
        now = _gap(line, power, n, new)
        crossed = np.flatnonzero(alive & good & (np.sign(now) != np.sign(gap)))
        if len(crossed):
            ends = (here[:, crossed], new[:, crossed], gap[crossed], now[crossed])
            met, inside = _closed_in(line.take(crossed), power[crossed], before, n, *ends)
            closed[crossed] |= met
            found[crossed] |= met & inside
        alive &= good
        last, here, gap = here, np.where(alive, new, here), np.where(alive, now, gap)
    with np.errstate(all="ignore"):
        out = ~np.asarray(within(line.model, np.full(count, end), line.path(np.full(count, end), here)))
    return found, closed, (alive | out) & (np.sign(gap) == (-1.0 if up else 1.0))


def _gap(line: Line, power: Any, speed: float, raw: Any) -> Any:
    with np.errstate(all="ignore"):
        return np.asarray(line.path(np.full(line.count, speed), raw).power - power)


def _closed_in(
    line: Line, power: Any, low: float, high: float, left: Any, right: Any, at_left: Any, at_right: Any
) -> tuple[Any, Any]:
    """The point between two neighbours at which the power is met: whether it closed, and within bounds."""
    a, b, fa, fb, xa, xb = np.full(line.count, low), np.full(line.count, high), at_left, at_right, left, right
    x, n, good = xb, b, np.zeros(line.count, dtype=bool)
    with np.errstate(all="ignore"):
        for _ in range(CLOSING):
            share = np.clip(np.nan_to_num(fa / (fa - fb), nan=0.5), 0.02, 0.98)
            n = a + share * (b - a)
            x, good = line.corrected(n, xa + share * (xb - xa))
            f = np.asarray(line.path(n, x).power - power)
            same = np.sign(f) == np.sign(fa)
            a, fa, xa = np.where(same, n, a), np.where(same, f, fa), np.where(same, x, xa)
            b, fb, xb = np.where(same, b, n), np.where(same, fb, f), np.where(same, xb, x)
        path = line.path(n, x)
        near = np.abs(np.asarray(path.power) - power) < 1e-4 * line.model.data.reference.power
        return good & near, np.asarray(within(line.model, n, path))
