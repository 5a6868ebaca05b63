"""Forecast of power and MGT margins from what was found and built, against what the bench then read.

The truth is the rig's: maps bent away from the model's, each shop with its own coefficients of the physical
rules, build scatter of every module, findings measured with errors or not at all, and fresh systematic errors
of instruments and cell in every run. The forecast knows the build sheet, the published rules with their
stated uncertainty, the data sheet's engine, and what 200 accepted runs of other engines, without build
sheets, say of build scatter and of the model's level; nothing of the shop or the engine. Then each of
several shops compares 100 of its builds with their runs, and forecasts others with what it learnt.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from spoolwright.core.cycle.condition import ConditionFactors
from spoolwright.core.diagnosis.forecast.build import Build
from spoolwright.core.diagnosis.forecast.learning import Learnt, PastBuild, learn
from spoolwright.core.diagnosis.forecast.outlook import Forecaster, RunToCome
from spoolwright.core.diagnosis.forecast.published import published_rules
from spoolwright.core.diagnosis.forecast.rules import RuleBook
from spoolwright.core.reduction.doubt.priors import BUILD
from spoolwright.core.reduction.estimate import Estimate
from spoolwright.crafts.testcell.forecast.run_to_come import LimitAsked, covariance, limits_asked, run_to_come
from spoolwright.crafts.testcell.performance.basis import reduction_basis
from spoolwright.crafts.testcell.performance.block import reduce_block
from spoolwright.crafts.testcell.performance.rated import approved_curves, rated_estimates
from spoolwright.rig.bench import Ambient
from spoolwright.rig.builds import RigBuild, Shop, drawn_build, drawn_shop
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.rig.result import RigRun
from spoolwright.sources.typefile import load_type, shipped_type

sys.path.insert(0, str(Path(__file__).parent))
from _rig_points import HoldReader

ACCEPTED = 200
"""Accepted runs of engines of good build, without build sheets, that the type's baseline rests on."""
ASKED = 2000
"""Builds forecast with the published rules, each of a shop of its own."""
SHOPS, LEARNT, AFTER = 20, 100, 100
"""Shops that learn, builds each learns from, builds each forecasts before and after."""
RATING, LIMITS, CELL = "take_off", "overhauled", "cell_1"
QUANTITIES = ("power_at_rated_mgt", "mgt_at_rated_power")
READ = (*QUANTITIES, "ng_at_rated_power", "sfc_at_rated_power")
DRAWS = 512
INSIDE = (263.15, 308.15)
CLAIM = """
Over 2,000 rig builds with findings drawn at random, each of a shop with its own truth, 88 to 92 % of the 90 %
intervals of the power margin and of the MGT margin hold what the bench then reads. After a shop has learnt
from 100 of its builds the intervals of others are narrower, and again 88 to 92 % hold.
"""
Report = Callable[[int, int], None]


@dataclass(frozen=True)
class Run:
    """A build of the rig, and what the bench read of it."""

    build: RigBuild
    measured: np.ndarray
    covariance: np.ndarray


@dataclass(frozen=True)
class Held:
    """Forecast margins of many builds against what was read: (builds, quantities), as parts of the limit."""

    inside: np.ndarray
    width: np.ndarray
    error: np.ndarray

    @property
    def coverage(self) -> np.ndarray:
        """Part of the builds whose 90 % interval holds the reading."""
        return np.asarray(self.inside.mean(axis=0))


class Trial:
    """One type, its rig, its bench."""

    def __init__(self, progress: Report, total: int) -> None:
        self.type = load_type(shipped_type())
        self.basis = reduction_basis(self.type.type_file, self.type.engine)
        self.reader = HoldReader(self.type.type_file)
        self.rules = published_rules()
        wanted = {(RATING, q): i for i, q in enumerate(READ)}
        limits = [
            x for x in limits_asked(self.type.type_file, LIMITS) if (x.rating.id, x.limit.quantity) in wanted
        ]
        self.limits: list[LimitAsked] = sorted(limits, key=lambda x: wanted[RATING, x.limit.quantity])
        self.test: RunToCome = run_to_come(self.basis, self.basis.model, self.limits, CELL, 0.0)
        self.progress, self.total, self.done = progress, total, 0

    def calibrate(self, count: int, seed: int) -> Learnt:
        """Learn build scatter and the model's level from accepted runs without build sheets."""
        nothing = RigBuild((), {}, ConditionFactors())
        learnt = self.learn([self._read(run, nothing) for run in self._made(count, seed, None)])
        self.rules = learnt.after
        return learnt

    def runs(self, shops: Sequence[Shop], seed: int) -> Iterator[Run]:
        """A build of each shop in the list, run on the bench; none is dropped."""
        builds = [drawn_build(self.rules, shop, seed + i) for i, shop in enumerate(shops)]
        for build, run in zip(builds, self._made(len(builds), seed, builds), strict=True):
            yield self._read(run, build)

    def _made(self, count: int, seed: int, builds: Sequence[RigBuild] | None) -> Iterator[RigRun]:
        def built(i: int, good: ConditionFactors) -> ConditionFactors:
            return good if builds is None else builds[i].factors

        options = QuickOptions(ambient=Ambient(temperature_range=INSIDE), cell=CELL, built=built)
        return quick_runs(self.type.type_file, self.type.engine, count, seed, options)

    def _read(self, run: RigRun, build: RigBuild) -> Run:
        points = self.reader.points(run)
        block = reduce_block(0, points, {run.sheet.run: run.sheet}, self.basis)
        curves = approved_curves(block, np.ones(len(points), dtype=bool))
        estimates = rated_estimates(block, curves, self.basis)
        found: dict[str, Estimate | None] = {
            e.quantity: e.approved for e in estimates if e.rating.id == RATING
        }
        read = [e for q in READ if (e := found[q]) is not None]
        assert len(read) == len(READ)
        self.done += 1
        self.progress(self.done, self.total)
        return Run(build, np.array([e.value for e in read]), covariance(read))

    def held(self, runs: Sequence[Run], rules: RuleBook, seed: int = 1) -> Held:
        """Forecasts against readings."""
        rows = []
        few = len(QUANTITIES)
        test = replace(
            self.test,
            requirements=self.test.requirements[:few],
            measurement=self.test.measurement[:few, :few],
        )
        limit = np.array([r.limit for r in test.requirements])
        sign = np.array([r.sign for r in test.requirements])
        for i, run in enumerate(runs):
            forecaster = Forecaster(self.basis.model, rules, test, DRAWS, seed + i)
            outlook = forecaster.outlook(told(run))
            low, high = outlook.interval(0.90)
            margin = sign * (run.measured[:few] - limit)
            middle = np.mean(outlook.measured, axis=1)
            rows.append(((low <= margin) & (margin <= high), (high - low) / limit, (margin - middle) / limit))
        return Held(*(np.array(x) for x in zip(*rows, strict=True)))

    def learn(self, runs: Sequence[Run]) -> Learnt:
        """What a shop learns from its builds."""
        rated = tuple(r.rated for r in self.test.requirements)
        past = [PastBuild(str(i), told(r), rated, r.measured, r.covariance) for i, r in enumerate(runs)]
        return learn(self.basis.model, self.rules, past)


def told(run: Run) -> Build:
    """The build as the shop knows it."""
    return Build(run.build.findings, BUILD)


def joined(parts: Sequence[Held]) -> Held:
    """Several groups of builds as one."""
    return Held(*(np.concatenate([getattr(p, n) for p in parts]) for n in ("inside", "width", "error")))


def run(progress: Report) -> dict[str, Any]:
    """Forecast, then learn and forecast again."""
    trial = Trial(progress, ACCEPTED + ASKED + SHOPS * (LEARNT + AFTER))
    trial.calibrate(ACCEPTED, 19_000_000)
    alone = [drawn_shop(trial.rules, 100_000 + i) for i in range(ASKED)]
    first = trial.held(list(trial.runs(alone, 20_000_000)), trial.rules)
    before, after = [], []
    for s in range(SHOPS):
        shop = drawn_shop(trial.rules, 200_000 + s)
        seed = 21_000_000 + 10_000 * s
        learnt = trial.learn(list(trial.runs([shop] * LEARNT, seed)))
        others = list(trial.runs([shop] * AFTER, seed + LEARNT))
        before.append(trial.held(others, trial.rules, seed))
        after.append(trial.held(others, learnt.after, seed))
    return _told(first, joined(before), joined(after))


def _told(first: Held, before: Held, after: Held) -> dict[str, Any]:
    measured: dict[str, str] = {}
    for q, name in enumerate(("power margin", "MGT margin")):
        measured |= {
            f"90 % intervals that hold, {name}, {ASKED} builds": f"{first.coverage[q]:.2%}",
            f"mean error, {name} (no claim)": f"{first.error[:, q].mean():+.2%} of the limit",
            f"mean width, {name}, {SHOPS} shops before learning": f"{before.width[:, q].mean():.2%}",
            f"mean width, {name}, after learning": f"{after.width[:, q].mean():.2%}",
            f"90 % intervals that hold, {name}, same builds, before (no claim)": f"{before.coverage[q]:.2%}",
            f"90 % intervals that hold, {name}, after learning from {LEARNT}": f"{after.coverage[q]:.2%}",
            f"spread of the error, {name}, before and after (no claim)": (
                f"{before.error[:, q].std():.2%}, {after.error[:, q].std():.2%}"
            ),
        }
    held = np.concatenate([first.coverage, after.coverage])
    narrower = np.all(after.width.mean(axis=0) < before.width.mean(axis=0))
    return {
        "claim": " ".join(CLAIM.split()),
        "measured": measured,
        "cases": len(first.inside) + len(after.inside),
        "holds": bool(np.all((held >= 0.88) & (held <= 0.92)) and narrower),
    }
