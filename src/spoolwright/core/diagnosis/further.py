"""Further data of an engine that was weighed: what each cause would do to them, and their covariance.

Build, the type's model and the engine's own line are the same in a further run as in the run that was seen;
so are the lasting errors of the instruments, as long as the engine stays on the same bench. Scatter and all
that a run or a point draws for itself are new.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from spoolwright.core.cycle.condition import Condition
from spoolwright.core.cycle.sensitivity import sensitivities
from spoolwright.core.cycle.solve import solve
from spoolwright.core.diagnosis import spreads
from spoolwright.core.diagnosis.comparison import FACTORS, UNIT, Compared, condition_of, factor_record
from spoolwright.core.diagnosis.diagnosing import WEAR, Weigher, Weighing
from spoolwright.core.diagnosis.expected import compared_calibrated
from spoolwright.core.diagnosis.observation import CONDITIONS, OUTPUTS, Observation
from spoolwright.core.diagnosis.sampling import Cloud, Effects, left_of, seen_effects
from spoolwright.core.diagnosis.signatures import module_signatures
from spoolwright.core.diagnosis.terms import (
    COMMON,
    LINE,
    NAMES,
    SHAPES,
    SPREADS,
    build_scatter,
    common_columns,
    line_columns,
    line_features,
    reading_scatter,
    run_scatter,
)
from spoolwright.core.numerics import Dual, FloatArray, value

_INSTRUMENTS = SPREADS.index("instruments")
_PHYSICAL = len(FACTORS) * len(SHAPES)


@dataclass(frozen=True)
class Probe:
    """An output of the engine model that was not recorded and could be.

    Parameters
    ----------
    output : str
        Name of the output, see `cycle.solution.OUTPUTS` [-].
    level : float
        How far the place of the probe leaves its reading open, relative standard deviation [-].
    scatter : float
        Of its reading from point to point, relative standard deviation [-].
    """

    output: str
    level: float
    scatter: float


@dataclass(frozen=True)
class Further:
    """Further data: M numbers.

    Parameters
    ----------
    effects : Effects
        What every cause does to them [-].
    with_seen : array, shape (M, N)
        Covariance with the stacked residuals that were seen [-].
    own : array, shape (M, M)
        Covariance among themselves [-].
    """

    effects: Effects
    with_seen: FloatArray
    own: FloatArray


class Planner:
    """Plans further data of one engine that was weighed.

    Parameters
    ----------
    weigher : Weigher
        What weighed it [-].
    weighing : Weighing
        The engine's runs, weighed [-].

    Notes
    -----
    A further run is like the last run of the visit: its surroundings, instruments and, unless other settings
    are given, its points.
    """

    def __init__(self, weigher: Weigher, weighing: Weighing) -> None:
        from scipy.linalg import cho_factor

        self.weigher, self.weighing = weigher, weighing
        self.now = len(weighing.case.now)
        self.last = weighing.seen[self.now - 1]
        sizes = [c.vector.size for c in weighing.seen]
        start = sum(sizes[: self.now - 1])
        self.rows = slice(start, start + sizes[self.now - 1])
        self._seen = [_shared(weigher, c) for c in weighing.seen]
        self.before = seen_effects(weighing)
        self._factor = cho_factor(weighing.covariance, lower=True)
        self._steps = self._reading_steps()

    @property
    def recorded(self) -> frozenset[str]:
        """Outputs of the engine model that the last run shows [-]."""
        return frozenset(OUTPUTS[o] for o in self.last.outputs)

    def repeated(self) -> Further:
        """The last run made again, all points.

        Returns
        -------
        Further
            Its residuals, output by output, shape (K P,) [-].
        """
        return self._run(self.last, seen_effects(self.weighing, self.rows))

    def at_settings(self, speeds: Sequence[float]) -> Further | None:
        """A short run at other settings.

        Parameters
        ----------
        speeds : sequence of float
            Relative corrected gas generator speeds [-].

        Returns
        -------
        Further or None
            Its residuals; None where the model does not run at one of them [-].
        """
        asked = _at_settings(self.last, np.asarray(speeds, dtype=float))
        c = compared_calibrated(self.weigher.model, [asked], self.weigher.calibrated)[0]
        if c.lost:
            return None
        found = module_signatures(self.weigher.model, [c], self.weigher.modules)[0]
        readings = self._reading_slopes(c.by_channel)
        slopes = np.concatenate([[s.slope for s in found], readings])
        curvatures = np.concatenate([[s.curvature for s in found], np.zeros_like(readings)])
        errors = np.concatenate([*(s.errors for s in found), np.zeros_like(slopes)])
        return self._run(c, Effects(slopes, curvatures, errors))

    def with_probes(self, probes: Sequence[Probe]) -> dict[Probe, Further]:
        """The last run made again with one probe more, for each of some probes.

        Parameters
        ----------
        probes : sequence of Probe
            Probes that could be added [-].

        Returns
        -------
        dict
            Probe to the residuals of the repeated run followed by those of the probe [-].

        Notes
        -----
        An added probe's residual is taken as a straight line in the sizes, and no shop history of it is used.
        """
        if not probes:
            return {}
        repeated = self.repeated()
        modelled = self._modelled(list(dict.fromkeys(p.output for p in probes)))
        return {p: self._added(repeated, p, *modelled[p.output]) for p in probes}

    def calibration(self, channel: str, remaining: float) -> Further:
        """An instrument calibrated as it was found: its error in the last run becomes known.

        Parameters
        ----------
        channel : str
            Which; one whose reading may be wrong [-].
        remaining : float
            Part of its lasting standard uncertainty that the calibration leaves, 0 to below 1 [-].

        Returns
        -------
        Further
            One number: the error in steps of the cause "reads wrong" [-].
        """
        o, calibrated = self.last.observation, self.weigher.calibrated
        step = self._steps[channel]
        scale = calibrated.multipliers[_INSTRUMENTS] * float(np.sqrt(calibrated.caution))
        error = scale * o.errors[~o.random, o.channels.index(channel)].mean(axis=1) / step
        variance = float(error @ error)
        with_seen = np.zeros((1, len(self.weighing.surprise)))
        with_seen[0, self.rows] = error @ (scale * self.last.errors()[~o.random])
        noise = max(variance * remaining**2 / (1.0 - remaining**2), 1e-6)
        slopes = np.array(
            [[float(c.module == channel and c.kind == "reading")] for c in self.weighing.causes]
        )
        errors = np.zeros((len(self.before.errors), 1))
        effects = Effects(slopes, np.zeros_like(slopes), errors)
        return Further(effects, with_seen, np.array([[variance + noise]]))

    def means(self, cloud: Cloud, further: Further, kept: Mapping[str, float] | None = None) -> FloatArray:
        """What every point of the posterior leads to expect of further data, over their scatter.

        Parameters
        ----------
        cloud : Cloud
            Posterior [-].
        further : Further
            The data [-].
        kept : mapping of str to float, or None
            Part of the size of some causes that is still there when the data are taken [-].

        Returns
        -------
        array, shape (N, M)
            Means of data with independent errors of unit variance, up to a constant [-].
        """
        from scipy.linalg import cho_solve, cholesky, solve_triangular

        before = self.before.of(cloud)
        after = further.effects.of(cloud, left_of(self.weighing, kept or {}))
        weights = cho_solve(self._factor, further.with_seen.T)
        own = further.own - further.with_seen @ weights
        lower = cholesky(own + 1e-12 * np.diag(np.diag(further.own)), lower=True)
        return np.asarray(solve_triangular(lower, (after - before @ weights).T, lower=True).T)

    def _run(self, c: Compared, effects: Effects) -> Further:
        new, calibrated = _shared(self.weigher, c), self.weigher.calibrated
        fresh = run_scatter(c)
        columns = fresh.columns * calibrated.multipliers[fresh.spread]
        caution = calibrated.caution
        own = self._covariance(new, new, self.now - 1) + columns @ columns.T + reading_scatter(c)
        return Further(effects, caution * self._with_seen(new), caution * own)

    def _with_seen(self, new: _Shared) -> FloatArray:
        blocks = [self._covariance(new, old, i) for i, old in enumerate(self._seen)]
        blocks[self.now - 1] = blocks[self.now - 1] + new.lasting @ self._seen[self.now - 1].lasting.T
        return np.concatenate(blocks, axis=1)

    def _covariance(self, a: _Shared, b: _Shared, run: int) -> FloatArray:
        """Of what is the same in a further run and in a run that was seen, instruments aside."""
        calibrated, earlier = self.weigher.calibrated, len(self._seen) > self.now
        wear = WEAR**2 if earlier and run < self.now else 0.0
        line = calibrated.line if calibrated.families is None else calibrated.families.within
        return np.asarray(
            (1.0 + wear) * a.build @ b.build.T
            + a.common @ calibrated.covariance @ b.common.T
            + a.line @ line @ b.line.T
        )

    def _reading_steps(self) -> dict[str, float]:
        """What a size of 1 of each wrong reading is, from its straight effect on the last run."""
        o, out = self.last.observation, {}
        for cause, s in zip(self.weighing.causes, self.weighing.signatures, strict=True):
            if cause.kind == "reading":
                by = self.last.by_channel[o.channels.index(cause.module)].ravel()
                out[cause.module] = float(s.slope[self.rows] @ by / max(float(by @ by), 1e-300))
        return out

    def _reading_slopes(self, by_channel: FloatArray) -> FloatArray:
        names = self.last.observation.channels
        rows = [by_channel[names.index(c)].ravel() * step for c, step in self._steps.items()]
        return np.array(rows).reshape(len(self._steps), -1)

    def _modelled(self, outputs: Sequence[str]) -> dict[str, tuple[FloatArray, FloatArray]]:
        """Slopes of the logarithm of unrecorded outputs with each factor (F, P) and each reading (n, P)."""
        o, at = self.last.observation, condition_of(self.last.observation)
        speed = np.asarray(value(o.speed), dtype=float)
        solution = solve(
            self.weigher.model, Condition(**at), factor_record(self.last.factors), set_by="ng", target=speed
        )
        found = sensitivities(solution, ("target", *CONDITIONS, *FACTORS), outputs)
        inputs = [o.speed, *(o.conditions[c] for c in CONDITIONS)]
        first, out = 1 + len(CONDITIONS), {}
        for name, slopes in zip(outputs, found.relative(), strict=True):
            by_channel = np.zeros((len(o.channels), o.size))
            for slope, x in zip(slopes, inputs, strict=False):
                if isinstance(x, Dual):
                    by_channel -= slope * x.d
            out[name] = (slopes[first:] * UNIT[:, None], by_channel)
        return out

    def _added(self, repeated: Further, p: Probe, by_factor: FloatArray, by_channel: FloatArray) -> Further:
        c = self.last
        new = _probe_shared(self.weigher, c, by_factor, by_channel)
        old, caution = self._seen[self.now - 1], self.weigher.calibrated.caution
        unit = np.array([[m.factors.get(f, 0.0) for f in FACTORS] for m in self.weigher.modules])
        slopes = np.concatenate([unit @ by_factor, self._reading_slopes(by_channel)])
        across = self._covariance(new, old, self.now - 1) + new.lasting @ old.lasting.T
        own = (
            self._covariance(new, new, self.now - 1)
            + new.lasting @ new.lasting.T
            + _probe_scatter(c, p, by_factor)
        )
        errors = np.zeros((len(self.before.errors), c.observation.size))
        errors[-len(slopes) :] = spreads.EFFECT * slopes
        of = repeated.effects
        return Further(
            Effects(
                np.concatenate([of.slopes, slopes], axis=1),
                np.concatenate([of.curvatures, np.zeros_like(slopes)], axis=1),
                np.concatenate([of.errors, errors], axis=1),
            ),
            np.concatenate([repeated.with_seen, caution * self._with_seen(new)]),
            np.block([[repeated.own, caution * across.T], [caution * across, caution * own]]),
        )


@dataclass(frozen=True)
class _Shared:
    """Columns of what lasts from one run to a further one: build, model, own line, instruments."""

    build: FloatArray
    common: FloatArray
    line: FloatArray
    lasting: FloatArray


def _shared(weigher: Weigher, c: Compared) -> _Shared:
    calibrated, reference = weigher.calibrated, weigher.model.data.reference
    build = build_scatter(c)
    return _Shared(
        build.columns * calibrated.multipliers[build.spread],
        common_columns(c, reference.temperature, reference.pressure),
        line_columns(c),
        c.errors()[~c.observation.random].T * calibrated.multipliers[_INSTRUMENTS],
    )


def _probe_shared(weigher: Weigher, c: Compared, by_factor: FloatArray, by_channel: FloatArray) -> _Shared:
    calibrated, o = weigher.calibrated, c.observation
    p = o.size
    common = np.zeros((p, COMMON))
    common[:, :_PHYSICAL] = np.einsum("fp,jp->pfj", by_factor, line_features(c)).reshape(p, -1)
    lasting = np.einsum("enp,np->pe", o.errors[~o.random], by_channel)
    build = by_factor.T * spreads.BUILD * calibrated.multipliers[: len(FACTORS)]
    build = np.concatenate([build, np.zeros((p, len(NAMES)))], axis=1)
    return _Shared(build, common, np.zeros((p, LINE)), lasting * calibrated.multipliers[_INSTRUMENTS])


def _probe_scatter(c: Compared, probe: Probe, by_factor: FloatArray) -> FloatArray:
    """Covariance of a probe's residual beyond what it shares: place, the engine's line, scatter."""
    p = c.observation.size
    line = np.einsum("fp,jp,fj->pfj", by_factor, line_features(c)[1:], spreads.ENGINE_LINE * spreads.LINE)
    line = line.reshape(p, -1)
    slope = spreads.RUN_SLOPE * c.speed
    alone = probe.scatter**2 + spreads.POINT**2
    return np.asarray(probe.level**2 + np.outer(slope, slope) + line @ line.T + alone * np.eye(p))


def _at_settings(c: Compared, speeds: FloatArray) -> Observation:
    """A run like one that was seen, each point taken to another speed from the point nearest to it."""
    o = c.observation
    wanted = np.log(speeds)
    near = np.argmin(np.abs(c.speed[:, None] - wanted), axis=0)
    ratio = np.exp(wanted - c.speed[near])
    return replace(
        o,
        run=f"{o.run} further",
        points=tuple(f"{s:.4g} of reference speed" for s in speeds),
        observed={k: _taken(v, near, o.size) for k, v in o.observed.items()},
        conditions={k: _taken(v, near, o.size) for k, v in o.conditions.items()},
        speed=_taken(o.speed, near, o.size) * ratio,
        readings=o.readings[:, near],
        errors=o.errors[:, :, near],
        bars=(),
    )


def _taken(x: Any, index: Any, size: int) -> Any:
    v = np.broadcast_to(np.asarray(value(x), dtype=float), (size,))[index]
    if not isinstance(x, Dual):
        return v
    d = np.broadcast_to(x.d, (x.d.shape[0], size))[:, index]
    return Dual(np.array(v), np.array(d))
