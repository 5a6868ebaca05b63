"""Reduction of performance points: Monte Carlo of a rating point, one block, one whole visit, learning the
shape.

The rating point's Monte Carlo draws every error of its budget and solves the full cycle model in every trial
(JCGM 101). Run it on a quiet machine:  python benchmarks/bench_reduction.py
"""

from __future__ import annotations

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"  # before NumPy, as the program itself does

import statistics
import sys
import time
from collections.abc import Callable
from typing import Any

from rich.console import Console
from rich.table import Table

from spoolwright.core.measurement.montecarlo import coverage_interval
from spoolwright.crafts.testcell.acceptance.contents import read_run
from spoolwright.crafts.testcell.diagnosis.lessons import learn_shape
from spoolwright.crafts.testcell.performance.basis import inner, reduction_basis
from spoolwright.crafts.testcell.performance.block import reduce_block
from spoolwright.crafts.testcell.performance.trials import PointTrials, corrected_trials, modelled_trials
from spoolwright.crafts.testcell.service import TypeInForce, VisitRun, assess_runs
from spoolwright.crafts.typefile.lookup import rating_named
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.sources.typefile import load_type, shipped_type

TRIALS, TIMES, LEARNT = 100_000, 3, 60
RATING = "take_off"
WITHIN_S = 6.0


def seconds(work: Callable[[], Any], times: int = TIMES) -> tuple[float, float, float]:
    """Median, least and most wall-clock seconds."""
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return statistics.median(taken), min(taken), max(taken)


def main() -> int:
    loaded = load_type(shipped_type())
    known = loaded.type_file
    basis = reduction_basis(known, loaded.engine)
    runs = list(quick_runs(known, loaded.engine, LEARNT, 100, QuickOptions(runs_per_engine=4)))
    visits = [VisitRun(r.recording, r.sheet) for r in runs]
    sheets = {visits[0].sheet.run: visits[0].sheet}
    points = read_run(visits[0].recording, visits[0].sheet, known).points
    block = reduce_block(0, points, sheets, basis)
    at = next(i for i, p in enumerate(points) if p.rating == RATING)
    mgt = inner(rating_named(known, RATING).measured_gas_temperature)

    def by_model() -> PointTrials:
        return modelled_trials(block, basis, at, mgt, TRIALS, seed=1)

    rows: list[tuple[str, Callable[[], Any], str]] = [
        (f"{TRIALS:,} trials of one rating point, full cycle model in each", by_model, f"{WITHIN_S:g} s"),
        (
            f"{TRIALS:,} trials of one rating point, approved correction",
            lambda: corrected_trials(block, basis, at, "power", TRIALS, seed=1),
            "",
        ),
        (f"block of {len(points)} points, both methods", lambda: reduce_block(0, points, sheets, basis), ""),
        ("visit of one run, to the proposal", lambda: assess_runs(visits[:1], TypeInForce(basis, "")), ""),
        (f"shape learnt from {LEARNT} recorded runs", lambda: learn_shape(visits, basis), ""),
    ]
    console = Console()
    first = told(console, f"Reduction of {known.type.name}", rows)
    agreement(console, by_model())
    return 0 if first <= WITHIN_S else 1


def told(console: Console, title: str, rows: list[tuple[str, Callable[[], Any], str]]) -> float:
    """Measure and print; gives the median of the first row."""
    table = Table(title=title, title_justify="left")
    for name in ("what", "median", "least to most", "target"):
        table.add_column(name)
    medians = []
    for name, work, target in rows:
        middle, least, most = seconds(work)
        medians.append(middle)
        table.add_row(name, f"{middle:.3f} s", f"{least:.3f} to {most:.3f} s", target)
    console.print(table)
    return medians[0]


def agreement(console: Console, found: PointTrials) -> None:
    """Interval by trials beside the propagated one."""
    low, high = coverage_interval(found.samples, 0.95, "symmetric")
    e = found.propagated
    console.print(
        f"Power by trials: [{low / 1e3:.2f}, {high / 1e3:.2f}] kW; propagated: "
        f"[{(e.value - e.half_width()) / 1e3:.2f}, {(e.value + e.half_width()) / 1e3:.2f}] kW (95 %)."
    )


if __name__ == "__main__":
    sys.exit(main())
