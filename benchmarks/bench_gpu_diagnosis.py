"""Runs diagnosed on a GPU: runs per second over runs per batch, beside two processor cores.

Needs only NumPy, SciPy, Pydantic and JAX with GPU support (the package need not be installed:
PYTHONPATH=src). Skips where there is no GPU. Runs come from the rig, with a fault in most; larger batches
repeat them with the scatter of their readings drawn anew. Both sides start from the observations of runs and
use double precision; the model of the type is the data sheet's.
python benchmarks/bench_gpu_diagnosis.py [--cpu]   (--cpu: a short rehearsal on the processor)
"""

from __future__ import annotations

import os

os.environ["OMP_NUM_THREADS"] = "1"  # before NumPy: workers shall not fight over the cores
os.environ["OPENBLAS_NUM_THREADS"] = "1"
# One program did not finish compiling within five minutes with fusions tuned by priority.
os.environ.setdefault("XLA_FLAGS", "--xla_gpu_autotune_level=0 --xla_disable_hlo_passes=priority-fusion")

import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from functools import lru_cache
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "src"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "prove"))
from _rig_points import HoldReader

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.diagnosis.calibrated import data_sheet_only
from spoolwright.core.diagnosis.diagnosing import EngineCase, Weigher
from spoolwright.core.diagnosis.jax_batch import CHUNK, BatchWeigher, WeighedRuns
from spoolwright.core.diagnosis.jax_packing import packed, scatter_points
from spoolwright.core.diagnosis.observation import Observation
from spoolwright.core.diagnosis.weighing import Explanation
from spoolwright.core.numerics import Dual
from spoolwright.crafts.testcell.diagnosis.observe import SEEN_ROLES, observation
from spoolwright.crafts.testcell.performance.basis import REDUCTION_ROLES, reduction_basis
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.sources.typefile import load_type, shipped_type

SKIPPED = 3  # exit status that tells tools/bench.py to leave the page as it is
REHEARSAL = "--cpu" in sys.argv
BATCHES = (16,) if REHEARSAL else (64, CHUNK, 4 * CHUNK)
EACH, MAKERS = (8, 2) if REHEARSAL else (16, 8)  # rig runs that a process makes, and processes
CHECKED = BATCHES[0]  # runs that both sides weigh; a size that is compiled anyway
TOGETHER = 8 if REHEARSAL else 16  # runs that a processor core weighs at once
FAULTS = (
    {}, {"compressor_fouling": 2.0}, {"compressor_erosion": 3.0}, {"turbine_tip_clearance": 1.5},
    {"turbine_erosion": 2.0}, {"gas_generator_nozzle_area": -2.0}, {"power_turbine_area": 2.0},
    {"bleed_leak": 2.0}, {"combustor_efficiency": 1.0}, {"exhaust_back_pressure": 2.0}, {"gear_loss": 2.0},
    {"accessory_loss": 1.0}, {"vane_rigging": 2.0}, {"compressor_fouling": 2.0, "gear_loss": 2.0},
)  # fmt: skip


@lru_cache
def weigher() -> Weigher:
    loaded = load_type(shipped_type())
    names = {c.id: c.name for c in loaded.type_file.channel}
    return Weigher(EngineModel(loaded.engine), data_sheet_only(loaded.type_file.type.id), names)


def made(seed: int) -> list[Observation]:
    """Rig runs of engines of their own."""
    loaded = load_type(shipped_type())
    known, basis = loaded.type_file, reduction_basis(loaded.type_file, loaded.engine)
    reader = HoldReader(known, (*REDUCTION_ROLES, *SEEN_ROLES))
    options = QuickOptions(faults=lambda i: FAULTS[(seed + i) % len(FAULTS)])
    return [
        observation(reader.points(run), run.sheet, basis)
        for run in quick_runs(known, loaded.engine, EACH, 1000 + seed, options)
    ]


def repeated(runs: Sequence[Observation], count: int) -> list[Observation]:
    """So many runs: those given, then again with the scatter of their readings drawn anew."""
    generator, rounds = np.random.default_rng(7), -(-count // len(runs))
    again = []
    for o in runs:
        scatter = o.errors[o.random]
        drawn = generator.standard_normal((rounds - 1, len(scatter)))
        moved = np.tensordot(drawn, scatter, 1)
        again.append([o, *(moved_by(o, m) for m in moved)])
    return [again[i % len(runs)][i // len(runs)] for i in range(count)]


def moved_by(o: Observation, moved: Any) -> Observation:
    """The run as it is with its readings moved a little."""

    def shifted(x: Any) -> Any:
        return Dual(x.v + np.sum(x.d * moved, axis=0), x.d) if isinstance(x, Dual) else x

    return replace(
        o,
        observed={k: shifted(x) for k, x in o.observed.items()},
        conditions={k: shifted(x) for k, x in o.conditions.items()},
        speed=shifted(o.speed),
        readings=o.readings + moved,
    )


def weighed(runs: Sequence[Observation]) -> list[tuple[Explanation, ...]]:
    """What one processor core says of some runs."""
    return [w.explanations for w in weigher().weigh([EngineCase((o,)) for o in runs])]


def two_cores(runs: Sequence[Observation]) -> tuple[float, list[tuple[Explanation, ...]]]:
    """Runs per second of the NumPy path in two processes, and what it says."""
    parts = [runs[i : i + TOGETHER] for i in range(0, len(runs), TOGETHER)]
    with ProcessPoolExecutor(2, get_context("spawn")) as pool:
        list(pool.map(weighed, parts[:2]))  # imports, and the nominal line of each worker
        seconds, found = [], []
        for _ in range(2):
            began = time.perf_counter()
            found = [e for part in pool.map(weighed, parts) for e in part]
            seconds.append(time.perf_counter() - began)
    return len(runs) / min(seconds), found


def agreement(theirs: WeighedRuns, ours: Sequence[Sequence[Explanation]]) -> tuple[float, int]:
    """Largest difference of a probability, and how many runs have the same most probable explanation."""
    worst, same = 0.0, 0
    for i, explanations in enumerate(ours):
        found = theirs.explanations(i)
        same += found[0].ids == explanations[0].ids
        by_ids = {e.ids: e.probability for e in found}
        worst = max(worst, *(abs(by_ids.get(e.ids, 0.0) - e.probability) for e in explanations))
    return worst, same


def stage(what: str) -> None:
    """Tell on the side how far it is: compiling takes minutes."""
    print(f"{time.perf_counter():.0f} s: {what}", file=sys.stderr, flush=True)


def shortest(work: Callable[[], Any], times: int = 2) -> float:
    out = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        out.append(time.perf_counter() - began)
    return min(out)


def ready(batch: BatchWeigher, runs: Sequence[Observation]) -> float:
    """Compile for every size of batch, all at once; seconds."""
    began = time.perf_counter()
    with ThreadPoolExecutor(len(BATCHES)) as pool:
        list(pool.map(lambda n: batch.arrays(runs[:n]), sorted({min(n, CHUNK) for n in BATCHES})))
    return time.perf_counter() - began


def sweep(batch: BatchWeigher, runs: Sequence[Observation], cores: float) -> None:
    """A line of the table for each size of batch."""
    model, calibrated = batch.weigher.model, batch.weigher.calibrated
    at = scatter_points(runs[0])
    print("     runs     runs/s  x two cores  side by side, runs/s  solved", flush=True)
    for n in BATCHES:
        some = runs[:n]
        found = batch.arrays(some)
        seconds = shortest(lambda some=some: batch.arrays(some))  # type: ignore[misc]
        part = some[:CHUNK]
        pack = shortest(lambda part=part: packed(model, calibrated, part, at))  # type: ignore[misc]
        solved = float(np.mean(found.solved)) if found is not None else 0.0
        rate = n / seconds
        print(
            f"{n:>9,}  {rate:>9,.0f}  {rate / cores:>11.1f}  {len(part) / pack:>20,.0f}  {solved:>6.1%}",
            flush=True,
        )


def main() -> None:
    try:
        import jax

        device = jax.devices("cpu" if REHEARSAL else "gpu")[0]
    except ImportError:
        print("skipped: JAX is not installed")
        sys.exit(SKIPPED)
    except RuntimeError:
        print("skipped: JAX sees no GPU")
        sys.exit(SKIPPED)
    jax.config.update("jax_enable_x64", True)
    jax.config.update("jax_default_device", device)
    with ProcessPoolExecutor(MAKERS, get_context("spawn")) as pool:
        rig = [o for part in pool.map(made, range(0, MAKERS * EACH, EACH)) for o in part]
    stage("runs made")
    cores, ours = two_cores(rig[:CHECKED])
    stage(f"two cores: {cores:.1f} runs/s")
    runs = repeated(rig, max(BATCHES))
    stage("runs repeated")
    batch = BatchWeigher(weigher())
    first = ready(batch, runs)
    stage("compiled")
    theirs = batch.arrays(rig[:CHECKED])
    assert theirs is not None
    worst, same = agreement(theirs, ours)
    o, python = rig[0], sys.version.split()[0]
    print(f"{device.device_kind}; JAX {jax.__version__}, NumPy {np.__version__}, Python {python}")
    print(
        f"{len(rig)} rig runs of {o.size} points, {len(o.observed)} outputs, {len(theirs.causes)} causes each"
    )
    print(f"two processor cores, NumPy: {cores:.1f} runs/s")
    print(
        f"{CHECKED} runs on both: probabilities differ by {worst:.1e} at most, most probable alike in {same}"
    )
    print(f"compiling, all sizes at once: {first:.0f} s")
    sweep(batch, runs, cores)


if __name__ == "__main__":
    main()
