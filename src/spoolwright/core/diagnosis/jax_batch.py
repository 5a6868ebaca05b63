"""Many single runs weighed together by JAX on its default device: what `Weigher` does, batch by batch.

An optional extra. Runs of one layout (channels, outputs, number of points, errors) go through five compiled
programs: Newton steps at the calibrated factors, derivatives by the implicit function theorem, Newton steps
for every cause at two sizes, outputs there, and the weighing itself. A run that does not fit (the model does
not run at one of its points) is weighed by `Weigher`, one at a time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from threading import Lock
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.cycle.condition import Condition, ConditionFactors
from spoolwright.core.cycle.jax_batch import compiled, compiled_outputs, compiled_slopes, pack, unknowns
from spoolwright.core.cycle.line import operating_line
from spoolwright.core.cycle.solution import Status, status_of
from spoolwright.core.diagnosis.causes import Cause, ReadingScale, reading_causes
from spoolwright.core.diagnosis.comparison import FACTORS, UNIT, factor_record
from spoolwright.core.diagnosis.diagnosing import _LEAST_STEP, EngineCase, Weigher
from spoolwright.core.diagnosis.families import one_family
from spoolwright.core.diagnosis.jax_packing import Layout, Packed, layout_of, packed, scatter_points
from spoolwright.core.diagnosis.jax_terms import (
    GIVEN,
    Agreement,
    Effects,
    Scales,
    residuals,
    signatures,
    surprise,
)
from spoolwright.core.diagnosis.jax_weighing import Odds, weighed
from spoolwright.core.diagnosis.observation import CONDITIONS, OUTPUTS, Observation
from spoolwright.core.diagnosis.signatures import _moves
from spoolwright.core.diagnosis.terms import LINE_TERMS
from spoolwright.core.diagnosis.weighing import Explanation, Sized
from spoolwright.core.numerics import FloatArray

CHUNK = 2048
"""Most runs on the device at once: a few megabytes each [-]."""
_SOLVED = 1e-9
_SMALL = 1 << 16
_MODELLED = tuple(dict.fromkeys(OUTPUTS.values()))
_BOUNDS = ("T4", "fuel_air_ratio", "loading", "surge_margin", "corrected_speed")
_ROWS = tuple(f.name for r in (Condition, ConditionFactors) for f in fields(r))
_BY = (len(_ROWS), *(_ROWS.index(name) for name in (*CONDITIONS, *FACTORS)))
"""Rows of packed cases by which residuals are differentiated: speed, conditions, factors."""


@dataclass(frozen=True)
class WeighedRuns:
    """R runs of one layout, weighed; X explanations each.

    Parameters
    ----------
    causes : tuple of Cause
        Causes weighed [-].
    members : array of int, shape (R, X, 2)
        Causes of each explanation, -1 for none [-].
    evidence, probability : array, shape (R, X)
        ln of the marginal likelihood over that of nothing wrong; posterior probability [-].
    sizes : array, shape (R, X, 2, 3)
        Mean and ends of the 90 % interval of each cause's signed size, NaN for none [unit of the cause].
    solved : array of bool, shape (R,)
        Whether the model ran at all points; the rest of a run's rows means nothing if not [-].
    """

    causes: tuple[Cause, ...]
    members: NDArray[np.intp]
    evidence: FloatArray
    probability: FloatArray
    sizes: FloatArray
    solved: NDArray[np.bool_]

    def explanations(self, run: int) -> list[Explanation]:
        """Explanations of a run as `Weigher` gives them.

        Parameters
        ----------
        run : int
            Which run [-].

        Returns
        -------
        list of Explanation
            Most probable first [-].
        """
        out = []
        for k in np.argsort(-self.probability[run], kind="stable").tolist():
            parts = zip(self.members[run, k].tolist(), self.sizes[run, k].tolist(), strict=True)
            sized = tuple(Sized(self.causes[c], *size) for c, size in parts if c >= 0)
            out.append(Explanation(sized, float(self.probability[run, k]), float(self.evidence[run, k])))
        return out


class BatchWeigher:
    """Weighs many runs of different engines, each by itself, on JAX's default device.

    Parameters
    ----------
    weigher : Weigher
        What is known of the type; it weighs what does not fit a batch [-].
    chunk : int
        Most runs on the device at once [-].

    Raises
    ------
    MissingExtra
        JAX is not installed (told by the first call).
    """

    def __init__(self, weigher: Weigher, chunk: int = CHUNK) -> None:
        self.weigher, self.chunk = weigher, chunk
        self._programs: dict[tuple[Layout, bytes], _Programs] = {}
        self._lock = Lock()

    def weigh(self, runs: Sequence[Observation]) -> list[list[Explanation]]:
        """Weigh runs, those of one layout together.

        Parameters
        ----------
        runs : sequence of Observation
            Runs, each of an engine of which nothing else is known [-].

        Returns
        -------
        list of list of Explanation
            One list a run, most probable explanation first [-].
        """
        groups: dict[Layout, list[int]] = {}
        for i, o in enumerate(runs):
            groups.setdefault(layout_of(o), []).append(i)
        out: list[list[Explanation]] = [[]] * len(runs)
        for members in groups.values():
            for first in range(0, len(members), self.chunk):
                part = members[first : first + self.chunk]
                found = self.arrays([runs[i] for i in part])
                for n, i in enumerate(part):
                    fits = found is not None and found.solved[n]
                    out[i] = found.explanations(n) if found is not None and fits else self._alone(runs[i])
        return out

    def arrays(self, runs: Sequence[Observation]) -> WeighedRuns | None:
        """Weigh runs of one layout, as plain arrays.

        Parameters
        ----------
        runs : sequence of Observation
            Runs of one layout, see `layout_of` [-].

        Returns
        -------
        WeighedRuns or None
            None where one scatter of readings reaches several points: such runs fit no batch [-].
        """
        at = scatter_points(runs[0])
        if at is None:
            return None
        key = (layout_of(runs[0]), at.tobytes())
        with self._lock:
            if key not in self._programs:
                self._programs[key] = _Programs(self.weigher, key[0], at)
        programs = self._programs[key]
        found = [programs.run(given) for given in self._packed_ahead(runs, programs)]
        joined = (np.concatenate([np.asarray(p[name]) for p in found])[: len(runs)] for name in _RESULTS)
        return WeighedRuns(programs.causes, *joined)

    def _packed_ahead(self, runs: Sequence[Observation], programs: _Programs) -> Iterator[Packed]:
        """Runs chunk by chunk, the next put side by side while the device works."""
        parts = [runs[i : i + self.chunk] for i in range(0, len(runs), self.chunk)]
        with ThreadPoolExecutor(1) as worker:
            coming = worker.submit(self._packed, parts[0], programs)
            for part in parts[1:]:
                given = coming.result()
                coming = worker.submit(self._packed, part, programs)
                yield given
            yield coming.result()

    def _packed(self, part: Sequence[Observation], programs: _Programs) -> Packed:
        """A chunk, filled up with its first run so that few sizes are ever compiled."""
        size = min(self.chunk, 1 << (len(part) - 1).bit_length())
        filled = [*part, *[part[0]] * (size - len(part))]
        return packed(self.weigher.model, self.weigher.calibrated, filled, programs.scatter_at)

    def _alone(self, run: Observation) -> list[Explanation]:
        return list(self.weigher.weigh([EngineCase((run,))])[0].explanations)


_RESULTS = ("members", "evidence", "probability", "sizes", "solved")


class _Programs:
    """Compiled programs for the runs of one layout."""

    def __init__(self, weigher: Weigher, layout: Layout, scatter_at: FloatArray) -> None:
        self.model, self.layout, self.scatter_at = weigher.model, layout, scatter_at
        shown = [c for c in layout.channels if c in weigher.names]
        named = reading_causes([ReadingScale(c, weigher.names[c], 1.0) for c in shown])
        self.causes = (*weigher.modules, *named)
        self.readings = np.array([layout.channels.index(c) for c in shown], dtype=int)
        moves, sizes = _moves(weigher.modules)
        self.moves = moves[1:] * UNIT
        families = weigher.calibrated.families or one_family(weigher.calibrated.line)
        self.scales = Scales(weigher.calibrated, families, layout.outputs)
        self.effects = Effects(weigher.modules, sizes, layout.outputs)
        self.agreement = Agreement(layout.twins, weigher.calibrated.twins, self.readings)
        self.odds = Odds(self.causes, weigher.shares, families.shares)
        self.step, _ = compiled(self.model, "ng")
        self.slopes = compiled_slopes(self.model, "ng", (*_MODELLED, *_BOUNDS), _BY)
        self.outputs = compiled_outputs(self.model, "ng", _MODELLED)
        self.move, self.weigh = _jitted(self._moved), _jitted(self._weighed)

    def run(self, given: Packed) -> dict[str, Any]:
        """Explanations of packed runs as arrays, and whether the model ran."""
        import jax

        runs, _, p = given.given.shape
        cases = jax.numpy.asarray(self._cases(given))
        start = operating_line(self.model).start("ng", given.referred.ravel())
        x = self._healthy(start, cases)
        values, slopes, shift, left = self.slopes(x, cases)
        begin, moved = self.move(x, shift, cases)
        after, moved_left = self.outputs(unknowns(self.step, begin, moved), moved)
        rows = {k: v for k, v in vars(given).items() if k not in ("factors", "referred", "whole", "given")}
        found = self.weigh(rows, values, slopes, x, after)
        bounds = dict(zip(_BOUNDS, np.asarray(values[len(_MODELLED) :]), strict=True))
        sound = (status_of(self.model, bounds) == Status.SOLVED) & (np.asarray(left) < _SOLVED)
        solved = sound.reshape(runs, p).all(axis=1) & given.whole
        solved &= (np.asarray(moved_left) < _SOLVED).reshape(-1, runs, p).all(axis=(0, 2))
        return {**found, "solved": solved}

    def _healthy(self, start: FloatArray, cases: Any) -> Any:
        """Unknowns at the calibrated factors.

        A small batch is repeated to the size that causes need later, so that one program serves both:
        compiling takes longer than solving.
        """
        import jax

        times = len(self.moves) if start.shape[1] * len(self.moves) <= _SMALL else 1
        tiled = [jax.numpy.tile(a, (1, times)) for a in (start, cases)]
        return unknowns(self.step, *tiled)[:, : start.shape[1]]

    def _cases(self, given: Packed) -> FloatArray:
        """Points of all runs as packed cases, run by run."""
        flat = given.given.transpose(1, 0, 2).reshape(GIVEN, -1)
        condition = Condition(**dict(zip(CONDITIONS, flat[1:], strict=True)))
        factors = given.factors.transpose(1, 0, 2).reshape(len(FACTORS), -1)
        return np.asarray(pack(condition, factor_record(factors), flat[0], flat.shape[1]))

    def _moved(self, x: Any, shift: Any, cases: Any) -> tuple[Any, Any]:
        """Cases with every cause at its two sizes, cause by cause, and where to start."""
        from jax import numpy as jnp

        begin = x[:, None] + jnp.einsum("xfn,mf->xmn", shift[:, GIVEN:], self.moves)
        rows = np.array(_BY[GIVEN:])
        departure = jnp.zeros((len(cases), len(self.moves))).at[rows].set(self.moves.T)
        moved = cases[:, None] + departure[:, :, None]
        return begin.reshape(len(x), -1), moved.reshape(len(cases), -1)

    def _weighed(self, given: dict[str, Any], values: Any, slopes: Any, x: Any, after: Any) -> Any:
        import jax

        runs, p = len(given["seen"]), self.layout.points
        n, m = len(_MODELLED), len(self.moves)
        y, d = values[:n].reshape(n, runs, p), slopes[:n].reshape(n, len(_BY), runs, p)
        moved = after.reshape(n, m, runs, p)
        return jax.vmap(self._one, (0, 1, 2, 0, 2))(given, y, d, x[0].reshape(runs, p), moved)

    def _one(self, given: dict[str, Any], values: Any, slopes: Any, speed: Any, moved: Any) -> Any:
        from jax import numpy as jnp

        c = residuals(self.scales, given, values, slopes, speed)
        r, covariance = surprise(self.scales, given, self.scatter_at, c)
        slope, curvature, errors = signatures(self.effects, self.scales, c, values, moved)
        lasting = jnp.sqrt(jnp.mean(jnp.sum(given["lasting"][:, self.readings] ** 2, axis=0), axis=1))
        levels = given["levels"][self.readings]
        step = jnp.maximum(lasting, _LEAST_STEP * jnp.abs(levels))
        wrong = c.by_channel[:, self.readings].transpose(1, 0, 2).reshape(len(self.readings), -1)
        slope = jnp.concatenate([slope, wrong * step[:, None]])
        twins = self.agreement.rows(given["ratios"], levels, step)
        along = c.own[1 : 1 + len(LINE_TERMS)]
        shifts = jnp.einsum("gkj,jp->gkp", self.scales.families, along).reshape(-1, r.size)
        return weighed(self.odds, r - shifts, covariance, slope, curvature, errors, twins)


def _jitted(work: Callable[..., Any]) -> Callable[..., Any]:
    import jax

    done: Callable[..., Any] = jax.jit(work)
    return done
