"""Corrected power at rated MGT of simulated engines, against each engine's own standard-day truth.

The truth is the rig's: maps bent away from the model's, build scatter of every module, heat soak, fresh
systematic errors of every instrument and of the cell's correlation in every run. The model method learns its
shape from runs of other engines on other days and knows nothing of the engine it is asked about. How far the
result rests on the prior of the shape is shown by learning it again with that prior three times as wide.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from spoolwright.constants import ZERO_CELSIUS
from spoolwright.core.reduction.estimate import Estimate
from spoolwright.core.reduction.model_method import shape_run
from spoolwright.core.reduction.shape_learning import calibrate_shape
from spoolwright.crafts.testcell.performance.basis import ReductionBasis, inner, reduction_basis
from spoolwright.crafts.testcell.performance.block import BlockReduction, reduce_block
from spoolwright.crafts.testcell.performance.rated import approved_curves
from spoolwright.crafts.typefile.lookup import rating_named
from spoolwright.rig.bench import Ambient
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.rig.result import RigRun
from spoolwright.sources.typefile import load_type, shipped_type

sys.path.insert(0, str(Path(__file__).parent))
from _rig_points import HoldReader

LEARNT, ASKED, OUTSIDE = 1440, 2400, 240
"""Runs learnt from (four of each engine), asked about within -10 to 35 degC, and in each range outside."""
RATING, WIDE = "take_off", 3.0
INSIDE, COLD, HOT = (-10.0, 35.0), (-35.0, -10.0), (35.0, 45.0)
CLAIM = """
Power at rated MGT by the model method, its shape learnt from runs of other engines: bias under 0.1 %, and 94
to 96 % of the 95 % intervals hold the truth, from -10 to 35 degC; outside, the bias stays within the stated
uncertainty of the model's shape (k = 2), the statistical error of the trial allowed for.
"""
MGT_POWER = ("measured_gas_temperature", "power")
Report = Callable[[int, int], None]


@dataclass(frozen=True)
class Errors:
    """Relative errors of rated power over many runs, and what was stated about them."""

    error: np.ndarray
    half_width: np.ndarray
    model_uncertainty: np.ndarray

    @property
    def bias(self) -> float:
        """Mean relative error."""
        return float(self.error.mean())

    @property
    def standard_error(self) -> float:
        """Statistical uncertainty of the bias from the finite number of runs."""
        return float(self.error.std(ddof=1) / np.sqrt(self.error.size))

    @property
    def coverage(self) -> float:
        """Part of the runs whose 95 % interval holds the truth."""
        return float(np.mean(np.abs(self.error) <= self.half_width))

    @property
    def stated(self) -> float:
        """Stated standard uncertainty of the model's shape, root mean square."""
        return float(np.sqrt(np.mean(self.model_uncertainty**2)))


class Trial:
    """One type, its rig and its reduction."""

    def __init__(self, progress: Report, total: int) -> None:
        self.type = load_type(shipped_type())
        self.reader = HoldReader(self.type.type_file)
        self.basis = reduction_basis(self.type.type_file, self.type.engine)
        self.progress, self.total, self.done = progress, total, 0
        self.mgt = inner(rating_named(self.type.type_file, RATING).measured_gas_temperature)

    def reduced(
        self, count: int, seed: int, celsius: tuple[float, float], each: int, basis: ReductionBasis
    ) -> Iterator[tuple[RigRun, BlockReduction]]:
        """Fresh runs with their reduction, none dropped."""
        ends = (ZERO_CELSIUS + celsius[0], ZERO_CELSIUS + celsius[1])
        options = QuickOptions(ambient=Ambient(temperature_range=ends), runs_per_engine=each)
        for run in quick_runs(self.type.type_file, self.type.engine, count, seed, options):
            points = self.reader.points(run)
            yield run, reduce_block(0, points, {run.sheet.run: run.sheet}, basis)
            self.done += 1
            self.progress(self.done, self.total)

    def learn(self, count: int, seed: int) -> ReductionBasis:
        """The basis with a shape learnt inside the usual range; a wide prior's shape is kept beside it."""
        runs = []
        for run, block in self.reduced(count, seed, INSIDE, 4, self.basis):
            assert block.model is not None, block.model_untold
            runs.append(shape_run(run.sheet.engine.serial, block.model))
        self.wide = calibrate_shape(runs, WIDE)
        return replace(self.basis, baseline=calibrate_shape(runs))

    def errors(
        self, count: int, seed: int, celsius: tuple[float, float], basis: ReductionBasis
    ) -> tuple[Errors, Errors, Errors]:
        """Errors of the model method and, without a claim, with a wide prior and of the approved method."""
        rows: list[tuple[float, float, float]] = []
        wide: list[tuple[float, float, float]] = []
        approved: list[tuple[float, float, float]] = []
        for run, block in self.reduced(count, seed, celsius, 1, basis):
            truth = run.truth.standard_day[RATING]["power_at_rated_mgt"]
            assert block.model is not None, block.model_untold
            rows.append(_row(block.model.value_at("power", self.mgt), truth))
            every = np.ones(len(block.points), dtype=bool)
            other = replace(block.model, baseline=self.wide)
            wide.append(_row(other.value_at("power", self.mgt), truth))
            approved.append(_row(approved_curves(block, every).curves[MGT_POWER].at(self.mgt), truth))
        return tuple(Errors(*np.array(x).T) for x in (rows, wide, approved))  # type: ignore[return-value]


def _row(e: Estimate, truth: float) -> tuple[float, float, float]:
    return e.value / truth - 1.0, e.half_width() / truth, e.shares().get("model shape", 0.0) / truth


def _percent(x: float) -> str:
    return f"{100.0 * x:+.3f} %"


def _bias(e: Errors) -> str:
    return f"{_percent(e.bias)} (statistical {e.standard_error:.3%})"


def run(progress: Report) -> dict[str, Any]:
    """Learn, then ask about other engines inside and outside the range learnt from."""
    trial = Trial(progress, LEARNT + ASKED + 2 * OUTSIDE)
    basis = trial.learn(LEARNT, 7_000_000)
    inside, wide, approved = trial.errors(ASKED, 8_000_000, INSIDE, basis)
    cold, hot = (trial.errors(OUTSIDE, s, r, basis)[0] for s, r in ((9_000_000, COLD), (9_500_000, HOT)))
    return _told(inside, wide, approved, cold, hot)


def _told(inside: Errors, wide: Errors, approved: Errors, cold: Errors, hot: Errors) -> dict[str, Any]:
    measured = {
        "runs learnt from, four of each engine": str(LEARNT),
        "bias, model method, -10 to 35 degC": _bias(inside),
        "95 % intervals that hold the truth": f"{inside.coverage:.2%}",
        "standard deviation of the error": f"{inside.error.std():.3%}",
        "bias with the shape's prior three times as wide (no claim)": _percent(wide.bias),
        "95 % intervals with that prior (no claim)": f"{wide.coverage:.2%}",
        "bias, approved method, same runs (no claim)": _percent(approved.bias),
        "95 % intervals, approved method (no claim)": f"{approved.coverage:.2%}",
    }
    for name, e in (("-35 to -10 degC", cold), ("35 to 45 degC", hot)):
        measured[f"bias, model method, {name}"] = _bias(e)
        measured[f"stated uncertainty of the model's shape there (k = 2), {name}"] = f"{2.0 * e.stated:.3%}"
    return {
        "claim": " ".join(CLAIM.split()),
        "measured": measured,
        "cases": ASKED + 2 * OUTSIDE,
        "holds": abs(inside.bias) < 1e-3
        and 0.94 <= inside.coverage <= 0.96
        and _within(cold)
        and _within(hot),
    }


def _within(e: Errors) -> bool:
    return abs(e.bias) <= 2.0 * float(np.hypot(e.stated, e.standard_error))
