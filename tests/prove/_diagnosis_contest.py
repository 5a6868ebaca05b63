"""The contest: the product, least squares and the ceiling on the same blind runs, chunk by chunk."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from _diagnosis_ceiling import Ceiling, Shares, Weighed
from _diagnosis_rig import SENSOR_SETS, BlindRun, bench
from _diagnosis_rivals import LeastSquares

from spoolwright.core.diagnosis.calibrated import Calibrated
from spoolwright.core.diagnosis.calibrating import calibration
from spoolwright.core.diagnosis.diagnosing import EngineCase, Weigher, Weighing
from spoolwright.core.diagnosis.weighing import PriorShares
from spoolwright.crafts.testcell.diagnosis.telling import ALARM
from spoolwright.rig.distortion import SHAPES

FOUND_BELOW = ALARM
"""A cause counts as found when the probability that nothing is wrong is below this."""
LACKING = {"full": (), "without T3": ("T3",)}
"""Outputs that a sensor set lacks."""


@dataclass(frozen=True)
class Answer:
    """What one contestant says of a run.

    Parameters
    ----------
    top : ids of the most probable explanation
    top_probability : its probability
    healthy : probability that nothing is wrong
    truth : probability given to what is true
    brier : sum over explanations of (probability less 1 if true)^2
    interval : 90 % interval of the size of the true cause, if it is one module cause
    """

    top: tuple[str, ...]
    top_probability: float = 1.0
    healthy: float = 0.0
    truth: float = 0.0
    brier: float = 0.0
    interval: tuple[float, float] | None = None


@dataclass(frozen=True)
class Row:
    """One run with one sensor set: what was planted, what each contestant said."""

    set: str
    sensors: str
    ids: tuple[str, ...]
    sizes: tuple[float, ...]
    answers: Mapping[str, Answer]


@dataclass(frozen=True)
class Known:
    """What contestants know before the blind runs: calibrations, means of healthy runs, shares."""

    shares: Shares
    calibrated: Mapping[str, Calibrated]
    least_squares: Mapping[str, LeastSquares]
    settling: np.ndarray | None


def learn(chunks: int, sensors: str) -> tuple[Calibrated, LeastSquares]:
    """Calibrate with one sensor set from healthy accepted runs."""
    return learn_from([runs for c in range(chunks) for runs in bench().history(c)], sensors)


def learn_from(engines: Sequence[Sequence[BlindRun]], sensors: str) -> tuple[Calibrated, LeastSquares]:
    """Calibrate from given runs, by engine."""
    b = bench()
    groups = [[r.seen[sensors] for r in runs] for runs in engines]
    flat = [o for g in groups for o in g]
    calibrated, _ = calibration(b.basis.model, groups, b.type.type.id)
    return calibrated, LeastSquares(b, flat)


def settled(first: int, count: int) -> np.ndarray:
    """Sum over healthy runs of what the ceiling's own model of each leaves over."""
    ceiling = Ceiling(bench(), Shares(1.0, 0.0, 0.0, 0.0))
    runs = list(bench().runs("soak", first, count))
    by_shape = {k: [r.seen["full"] for r in runs if r.shape == k] for k in range(SHAPES)}
    return np.sum([ceiling.mean_residual(k, o) for k, o in by_shape.items() if o], axis=0)


class Contest:
    """Contestants made ready; one a process."""

    def __init__(self, known: Known) -> None:
        b, s = bench(), known.shares
        shares = PriorShares(s.healthy, s.module, s.reading, s.pair)
        self.weighers = {
            name: Weigher(b.basis.model, c, b.names, shares) for name, c in known.calibrated.items()
        }
        self.least_squares = known.least_squares
        self.ceiling = None if known.settling is None else Ceiling(b, s, known.settling)

    def rows(self, name: str, first: int, count: int) -> list[Row]:
        """Every contestant on runs of a set."""
        runs = list(bench().runs(name, first, count))
        ceiling = self._ceiling(runs)
        out = []
        for n, sensors in enumerate(SENSOR_SETS):
            if sensors not in self.weighers:
                continue
            seen = [r.seen[sensors] for r in runs]
            product = self.weighers[sensors].weigh([EngineCase((o,)) for o in seen])
            plain = self.least_squares[sensors].named(seen)
            for run, p, named, c in zip(runs, product, plain, ceiling, strict=True):
                answers = {"product": _of_product(p, run)} | {
                    way: Answer(ids, healthy=float(ids == ())) for way, ids in named.items()
                }
                if c:
                    answers |= {
                        "ceiling": _of_ceiling(c[n].drawn, run),
                        "ceiling that knows the five sizes": _of_ceiling(c[n].fixed, run),
                    }
                sizes = tuple(run.planted.sizes[k] for k in run.planted.ids)
                out.append(Row(name, sensors, run.planted.ids, sizes, answers))
        return out

    def _ceiling(self, runs: Sequence[BlindRun]) -> Sequence[list[Weighed]]:
        if self.ceiling is None:
            return [[]] * len(runs)
        return self.ceiling.weigh([r.seen["full"] for r in runs], [LACKING[s] for s in SENSOR_SETS])


def _of_product(w: Weighing, run: BlindRun) -> Answer:
    found = {tuple(sorted(e.ids)): e for e in w.explanations}
    top = w.explanations[0]
    true = found.get(run.planted.ids)
    truth = true.probability if true else 0.0
    square = sum(e.probability**2 for e in w.explanations)
    single = true is not None and len(true.causes) == 1
    interval = (true.causes[0].low, true.causes[0].high) if true and single else None
    return Answer(
        tuple(sorted(top.ids)), top.probability, w.healthy, truth, square - 2.0 * truth + 1.0, interval
    )


def _of_ceiling(found: Mapping[tuple[str, ...], float], run: BlindRun) -> Answer:
    top = max(found, key=lambda k: found[k])
    truth = found.get(run.planted.ids, 0.0)
    square = sum(p * p for p in found.values())
    return Answer(top, found[top], found[()], truth, square - 2.0 * truth + 1.0)


_contest: list[Contest] = []


def prepare(known: Known) -> None:
    """Make this process ready."""
    _contest[:] = [Contest(known)]


def contest(task: tuple[str, int, int]) -> list[Row]:
    """Every contestant on a chunk of runs, in a process made ready."""
    return _contest[0].rows(*task)
