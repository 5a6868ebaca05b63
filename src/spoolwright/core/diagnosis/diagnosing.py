"""Runs of engines weighed against every cause: the way from observations to probabilities."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.diagnosis.calibrated import Calibrated
from spoolwright.core.diagnosis.causes import Cause, ReadingScale, module_causes, reading_causes
from spoolwright.core.diagnosis.comparison import Compared
from spoolwright.core.diagnosis.expected import compared_calibrated, surprise
from spoolwright.core.diagnosis.families import one_family
from spoolwright.core.diagnosis.observation import Observation
from spoolwright.core.diagnosis.problem import engine_runs
from spoolwright.core.diagnosis.redundancy import effect, surprises
from spoolwright.core.diagnosis.signatures import Signature, module_signatures, reading_signatures
from spoolwright.core.diagnosis.weighing import (
    Explanation,
    PriorShares,
    Whitened,
    family_weights,
    weighed,
    whitened,
)
from spoolwright.core.numerics import FloatArray

WEAR = 0.7
"""A module departs from what it was at an earlier visit by this part of build scatter [-]."""
_LEAST_STEP = 0.00005
"""A wrong reading is weighed in steps of no less than this part of the reading [-]."""


@dataclass(frozen=True)
class EngineCase:
    """What is to be diagnosed.

    Parameters
    ----------
    now : tuple of Observation
        Runs of the visit: all show what is wrong [-].
    earlier : tuple of Observation
        Accepted runs of the same engine from earlier visits: taken as sound [-].
    """

    now: tuple[Observation, ...]
    earlier: tuple[Observation, ...] = ()


@dataclass(frozen=True)
class Weighing:
    """An engine's runs, weighed.

    Parameters
    ----------
    case : EngineCase
        What was weighed [-].
    seen : tuple of Compared
        Runs of the visit against the average engine, earlier ones after them [-].
    causes : tuple of C Cause
        Causes weighed [-].
    signatures : tuple of C Signature
        Their effects on the stacked residuals [-].
    surprise : array, shape (N,)
        Stacked residuals less what is expected of the average engine of its family [-].
    covariance : array, shape (N, N)
        Of the surprise when nothing is wrong [-].
    white : Whitened
        The same over the root of the covariance [-].
    explanations : tuple of Explanation
        Most probable first [-].
    """

    case: EngineCase
    seen: tuple[Compared, ...]
    causes: tuple[Cause, ...]
    signatures: tuple[Signature, ...]
    surprise: FloatArray
    covariance: FloatArray
    white: Whitened
    explanations: tuple[Explanation, ...]

    @property
    def healthy(self) -> float:
        """Probability that nothing is wrong [-]."""
        return next(e.probability for e in self.explanations if not e.causes)

    def present(self, cause: str) -> float:
        """Probability that a cause is present, alone or with another.

        Parameters
        ----------
        cause : str
            Its id [-].

        Returns
        -------
        float
            Probability [-].
        """
        return sum(e.probability for e in self.explanations if cause in e.ids)


class Weigher:
    """Weighs engines of one type.

    Parameters
    ----------
    model : EngineModel
        Model of the type as the data sheet has it [-].
    calibrated : Calibrated
        What the shop's runs taught [-].
    names : mapping of str to str
        Channel id to its name, for every channel whose reading may be wrong [-].
    shares : PriorShares
        Prior [-].
    """

    def __init__(
        self,
        model: EngineModel,
        calibrated: Calibrated,
        names: dict[str, str],
        shares: PriorShares | None = None,
    ) -> None:
        self.model, self.calibrated, self.names = model, calibrated, names
        self.shares = shares or PriorShares()
        self.modules = module_causes(model.data)

    def weigh(self, cases: Sequence[EngineCase]) -> list[Weighing]:
        """Weigh engines, all points of all runs in one batch.

        Parameters
        ----------
        cases : sequence of EngineCase
            Engines [-].

        Returns
        -------
        list of Weighing
            One an engine; same result whichever engines are weighed together [-].
        """
        runs = [o for c in cases for o in (*c.now, *c.earlier)]
        seen = compared_calibrated(self.model, runs, self.calibrated)
        effects = module_signatures(self.model, seen, self.modules)
        out, start = [], 0
        for case in cases:
            rows = slice(start, start + len(case.now) + len(case.earlier))
            start = rows.stop
            out.append(self._weighed(case, seen[rows], effects[rows]))
        return out

    def _weighed(self, case: EngineCase, seen: list[Compared], effects: list[list[Signature]]) -> Weighing:
        problem = engine_runs(self.model, seen)
        r, covariance = surprise(problem, self.calibrated)
        sizes = [c.vector.size for c in seen]
        now = sum(sizes[: len(case.now)])
        if case.earlier:
            covariance = np.add(covariance, self._change(problem.columns, problem.spread, now))
        scales = self._scales(case.now)
        causes = (*self.modules, *reading_causes(scales))
        parts = [
            [*effects[i], *reading_signatures(seen[i], scales)] if i < len(case.now) else None
            for i in range(len(seen))
        ]
        signatures = tuple(_stacked(parts, sizes, k) for k in range(len(causes)))
        families = self.calibrated.families or one_family(self.calibrated.line)
        shifts = families.lines @ problem.line.T
        white = whitened(r, covariance, signatures, shifts, families.shares)
        found = weighed(self._with_twins(white, case.now, causes, scales), causes, self.shares)
        weights = family_weights(white, _effect(white, causes, found[0]))
        own = replace(
            white,
            residual=white.residual - weights @ white.families,
            families=np.zeros((1, r.size)),
            shares=np.ones(1),
        )
        r = r - weights @ shifts
        return Weighing(case, tuple(seen), causes, signatures, r, covariance, own, tuple(found))

    def _with_twins(
        self,
        white: Whitened,
        runs: Sequence[Observation],
        causes: Sequence[Cause],
        scales: Sequence[ReadingScale],
    ) -> Whitened:
        """The same with a row for every pair of readings that ought to agree."""
        twins = self.calibrated.twins
        extra, places = surprises(runs, twins)
        if not places:
            return white
        step = {f"reading:{s.channel}": s for s in scales}
        moved = np.zeros((len(causes), len(places)))
        for k, cause in enumerate(causes):
            if cause.id in step:
                s = step[cause.id]
                moved[k] = [effect(runs[i], name, twins[name], s.channel, s.step) for i, name in places]
        return Whitened(
            np.concatenate([white.residual, extra]),
            np.concatenate([white.slopes, moved], axis=1),
            np.concatenate([white.curvatures, np.zeros_like(moved)], axis=1),
            tuple(np.concatenate([e, np.zeros((len(e), extra.size))], axis=1) for e in white.errors),
            np.concatenate([white.families, np.zeros((len(white.families), extra.size))], axis=1),
            white.shares,
        )

    def _change(self, columns: FloatArray, spread: NDArray[np.intp], now: int) -> FloatArray:
        """What wear and work between visits add to the runs of this visit."""
        build = spread < len(self.calibrated.build)
        moved = columns[:, build] * self.calibrated.multipliers[spread[build]] * WEAR
        moved[now:] = 0.0
        return np.asarray(moved @ moved.T)

    def _scales(self, runs: Sequence[Observation]) -> list[ReadingScale]:
        """Channels that every run of the visit has, with the size of one step."""
        shared = [c for c in runs[0].channels if all(c in o.channels for o in runs) and c in self.names]
        return [ReadingScale(c, self.names[c], _step(runs[0], c)) for c in shared]


def _effect(white: Whitened, causes: Sequence[Cause], explanation: Explanation) -> FloatArray:
    """What an explanation does, over the root of the covariance."""
    effect = np.zeros_like(white.residual)
    for x in explanation.causes:
        i = causes.index(x.cause)
        effect = effect + white.slopes[i] * x.mean + white.curvatures[i] * x.mean**2
    return effect


def _step(o: Observation, channel: str) -> float:
    i = o.channels.index(channel)
    lasting = float(np.sqrt(np.mean(np.sum(o.errors[~o.random, i] ** 2, axis=0))))
    return max(lasting, _LEAST_STEP * abs(o.level(channel)))


def _stacked(parts: Sequence[list[Signature] | None], sizes: Sequence[int], k: int) -> Signature:
    """A cause's effect over all runs: none in earlier ones."""
    shown = next(p[k] for p in parts if p is not None)
    none = Signature(np.zeros(0), np.zeros(0), np.zeros((len(shown.errors), 0)))
    rows = [
        p[k] if p is not None else Signature(np.zeros(n), np.zeros(n), np.zeros((len(none.errors), n)))
        for p, n in zip(parts, sizes, strict=True)
    ]
    return Signature(
        np.concatenate([s.slope for s in rows]),
        np.concatenate([s.curvature for s in rows]),
        np.concatenate([s.errors for s in rows], axis=1),
    )
