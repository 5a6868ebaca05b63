"""Which module is at fault: blind runs of the rig, beside least squares and the best that could be done.

The rig's engines differ from the type's model in every law; the product knows the data sheet's model and
what 90 healthy engines, three runs each, taught. The ceiling knows the rig. The same runs are weighed once
with all sensors and once without the compressor discharge temperature. With counts, processes and output of
one's own: `python tests/prove/diagnosis.py --processes 16 --result result.json`.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path
from typing import Any

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent))

import pickle

import numpy as np
from _diagnosis_ceiling import Ceiling, Shares
from _diagnosis_contest import LACKING, Known, Row, contest, learn, prepare, settled
from _diagnosis_rig import SENSOR_SETS, SIZES, bench
from _diagnosis_score import Scores, inseparable, scores
from _diagnosis_told import holds, table, verdicts

COUNTS = {
    "healthy": 3000,
    **{f"size {s:g}": 1000 for s in SIZES},
    "drawn": 3000,
    "sensor": 1000,
    "pair": 1000,
}
"""Blind runs by set; `drawn` has sizes drawn evenly over all that the product takes as possible."""
HISTORY, SOAK = 3, 480
"""Chunks of engines in the history; healthy runs that tell the ceiling what holds leave unsettled."""
CHUNK = 48
CLAIM = """
At every fault size from 0.7 to 4 % the product names the right cause within 3 points of the ceiling, the
Bayes-optimal classifier that knows the rig's true models, scatter and priors, on the same runs; at most
0.7 % of healthy runs raise an alarm; expected calibration error is at most 0.02; 89 to 91 % of the 90 %
intervals of size hold. With all sensors, and without the compressor discharge temperature.
"""
Report = Callable[[int, int], None]


@dataclass(frozen=True)
class Plan:
    """How much is done.

    Parameters
    ----------
    scale : part of COUNTS
    processes : worker processes
    ceiling : whether the ceiling is computed
    kept : file that keeps what is learnt before the blind runs; learnt anew when empty or absent
    rows : file for every answer to every run; none when empty
    """

    scale: float = 1.0
    processes: int = os.cpu_count() or 1
    ceiling: bool = True
    kept: str = ""
    rows: str = ""

    def counts(self) -> dict[str, int]:
        """Runs by set."""
        return {name: max(round(n * self.scale), 1) for name, n in COUNTS.items()}

    def tasks(self) -> list[tuple[str, int, int]]:
        """Chunks of runs."""
        return [
            (name, first, min(CHUNK, n - first))
            for name, n in self.counts().items()
            for first in range(0, n, CHUNK)
        ]


def known_before(plan: Plan, pool: Executor) -> Known:
    """Calibrate with either sensor set and let the ceiling learn."""
    if plan.kept and Path(plan.kept).exists():
        return pickle.loads(Path(plan.kept).read_bytes())
    calibrations = {s: pool.submit(learn, HISTORY, s) for s in SENSOR_SETS}
    sums = [pool.submit(settled, first, CHUNK) for first in range(0, SOAK, CHUNK)] if plan.ceiling else []
    settling = sum(s.result() for s in sums) / SOAK if sums else None
    done = {s: f.result() for s, f in calibrations.items()}
    known = Known(
        _shares(), {s: c for s, (c, _) in done.items()}, {s: w for s, (_, w) in done.items()}, settling
    )
    if plan.kept:
        Path(plan.kept).write_bytes(pickle.dumps(known))
    return known


def _shares() -> Shares:
    """Shares of the runs that probabilities are checked against."""
    n = [COUNTS[k] for k in ("healthy", "drawn", "sensor", "pair")]
    return Shares(*(x / sum(n) for x in n))


def blind_rows(plan: Plan, progress: Report) -> tuple[list[Row], Known]:
    """All contestants on all runs."""
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(plan.processes, mp_context=context) as pool:
        known = known_before(plan, pool)
    tasks = plan.tasks()
    total, done, rows = sum(n for _, _, n in tasks), 0, []
    with ProcessPoolExecutor(
        plan.processes, mp_context=context, initializer=prepare, initargs=(known,)
    ) as pool:
        waiting = {pool.submit(contest, t): t for t in tasks}
        for future in as_completed(waiting):
            rows += future.result()
            done += waiting[future][2]
            progress(done, total)
    return rows, known


def scored(rows: Sequence[Row], known: Known) -> dict[str, Scores]:
    """Scores by sensor set."""
    out = {}
    for sensors in known.calibrated:
        groups = inseparable(reference_effects(known, sensors))
        out[sensors] = scores([r for r in rows if r.sensors == sensors], groups)
    return out


def reference_effects(known: Known, sensors: str) -> Mapping[str, Sequence[np.ndarray]]:
    """Effects of the causes by the rig's first shape at a healthy run, in units of the scatter."""
    run = next(r for r in bench().runs("soak", 0, 6) if r.shape == 0)
    ceiling = Ceiling(bench(), known.shares)
    return ceiling.effects_in_scatter(run.seen["full"], 0, LACKING[sensors])


def run(progress: Report, plan: Plan | None = None) -> dict[str, Any]:
    """The whole contest."""
    plan = plan or Plan()
    rows, known = blind_rows(plan, progress)
    if plan.rows:
        Path(plan.rows).write_bytes(pickle.dumps(rows))
    found = scored(rows, known)
    causes = bench().causes
    scatter = ", ".join(f"{c.id} {bench().in_build_scatter(c):.1f}" for c in causes)
    return {
        "claim": " ".join(CLAIM.split()),
        "measured": verdicts(found) | {"size 1 in units of build scatter": scatter} | table(found),
        "figures": {s: f.figures for s, f in found.items()},
        "cases": sum(plan.counts().values()),
        "holds": plan.ceiling and holds(found),
        "confusions": {s: f.confusions for s, f in found.items()},
        "by cause": {s: f.by_cause for s, f in found.items()},
    }


def _options(given: Sequence[str] | None) -> argparse.Namespace:
    p = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    p.add_argument("--processes", type=int, default=os.cpu_count() or 1, help="worker processes")
    p.add_argument("--scale", type=float, default=1.0, help="part of the runs that is made")
    p.add_argument("--without-ceiling", action="store_true", help="leave the ceiling out")
    p.add_argument("--kept", default="", help="file that keeps what is learnt before the blind runs")
    p.add_argument("--rows", default="", help="file for every answer to every run")
    p.add_argument("--result", default="", help="JSON file for the result")
    return p.parse_args(given)


def main(given: Sequence[str] | None = None) -> int:
    """Run in parts, tell how far it is, write the result."""
    o = _options(given)
    started, said = time.perf_counter(), [0.0]

    def progress(done: int, total: int) -> None:
        now = time.perf_counter() - started
        if now - said[0] > 10.0 or done == total:
            said[0] = now
            print(f"{done} of {total} runs, {now:.0f} s", file=sys.stderr, flush=True)

    result = run(progress, Plan(o.scale, o.processes, not o.without_ceiling, o.kept, o.rows))
    text = json.dumps(
        result | {"seconds": round(time.perf_counter() - started, 1)}, indent=1, ensure_ascii=False
    )
    if o.result:
        Path(o.result).write_text(text + "\n", encoding="utf-8")
    print(text)
    return 0 if result["holds"] else 1


if __name__ == "__main__":
    sys.exit(main())
