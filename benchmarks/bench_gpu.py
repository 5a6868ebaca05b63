"""The engine model under JAX on a GPU: solves per second over cases per batch, beside two processor cores.

Needs only NumPy and JAX with GPU support (the package need not be installed: PYTHONPATH=src). Skips where
there is no GPU.  python benchmarks/bench_gpu.py [--cpu]   (--cpu: a short rehearsal on the processor)
"""

from __future__ import annotations

import os

os.environ["OMP_NUM_THREADS"] = "1"  # before NumPy: workers shall not fight over the cores

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "src"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "reference"))
from cycle_cases import engine, model, random_cases

from spoolwright.core.cycle.cases import subset
from spoolwright.core.cycle.jax_batch import compiled, iterate, pack
from spoolwright.core.cycle.line import operating_line
from spoolwright.core.cycle.model import Inlet
from spoolwright.core.cycle.parallel import SolverPool
from spoolwright.core.cycle.setting import referred
from spoolwright.core.cycle.solve import solve

BATCHES = (1_000, 4_000, 16_000, 64_000, 256_000, 1_000_000)
SKIPPED = 3  # exit status that tells tools/bench.py to leave the page as it is
CHECKED = 20_000  # cases compared with NumPy


def device(jax: Any) -> Any:
    """The GPU, or the processor if asked for; None to skip."""
    if "--cpu" in sys.argv:
        return jax.devices("cpu")[0]
    try:
        return jax.devices("gpu")[0]
    except RuntimeError:
        return None


def shortest(work: Callable[[], Any], times: int = 5) -> float:
    out = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        out.append(time.perf_counter() - began)
    return min(out)


def peak_flops(jax: Any) -> float:
    """Float64 multiply-adds per second that this card reaches outside matrix units, times two."""
    from jax import numpy as jnp

    rounds, lanes = 512, 8

    @jax.jit
    def chain(x: Any) -> Any:
        def body(_: int, rows: Any) -> Any:
            for _ in range(16):
                rows = tuple(r * 0.999999 + 1e-6 for r in rows)
            return rows

        return sum(jax.lax.fori_loop(0, rounds, body, tuple(x + k for k in range(lanes))))

    x = jnp.ones(1 << (14 if "--cpu" in sys.argv else 21))
    jax.block_until_ready(chain(x))
    return 2.0 * x.size * rounds * 16 * lanes / shortest(lambda: jax.block_until_ready(chain(x)))


def two_cores(condition: Any, factors: Any, power: Any) -> float:
    """Solves per second of the NumPy solver in two processes on this machine."""
    with SolverPool(engine(), 2) as pool:
        pool.solve(condition, factors, set_by="power", target=power)
        return len(power) / shortest(
            lambda: pool.solve(condition, factors, set_by="power", target=power), times=3
        )


def prepared(count: int) -> tuple[Any, Any, Any, Any, Any]:
    condition, factors, power = random_cases(count, seed=1)
    line = operating_line(model())
    start = line.start("power", referred(model(), Inlet(model(), condition), condition, "power", power))
    return condition, factors, power, start, pack(condition, factors, power, count)


def sweep(jax: Any, gpu: Any, count: int, numpy_rate: float, peak: float) -> None:
    step, finish = compiled(model(), "power")
    _, _, _, start, packed = prepared(count)
    began = time.perf_counter()
    x, p = jax.device_put(start, gpu), jax.device_put(packed, gpu)
    result = jax.block_until_ready(iterate(step, finish, x, p))
    first = time.perf_counter() - began
    seconds = shortest(lambda: jax.block_until_ready(iterate(step, finish, x, p)))
    one_step = shortest(lambda: jax.block_until_ready(step(x, p)))
    cost = step.lower(x, p).compile().cost_analysis()
    cost = cost[0] if isinstance(cost, list) else cost
    flops = float(cost.get("flops", 0.0)) if cost else 0.0
    good = float(np.mean(np.asarray(result["residual"]) < 1e-9))
    print(
        f"{count:>9,}  {count / seconds:>12,.0f}  {count / seconds / numpy_rate:>7.1f}  {first:>8.1f}"
        f"  {good:>8.3%}  {flops / one_step / 1e12:>7.3f}  {flops / one_step / peak:>7.1%}",
        flush=True,
    )


def agreement() -> float:
    """Largest relative difference from NumPy over fuel flow, MGT and speed."""
    condition, factors, power, start, packed = prepared(CHECKED if "--cpu" not in sys.argv else 1000)
    ours = solve(model(), condition, factors, set_by="power", target=power)
    theirs = iterate(*compiled(model(), "power"), start, packed)
    names = ("fuel_flow", "measured_gas_temperature", "gas_generator_speed")
    return max(float(np.max(np.abs(np.asarray(theirs[n]) / ours.values[n] - 1.0))) for n in names)


def main() -> None:
    try:
        import jax
    except ImportError:
        print("skipped: JAX is not installed")
        sys.exit(SKIPPED)
    gpu = device(jax)
    if gpu is None:
        print("skipped: JAX sees no GPU")
        sys.exit(SKIPPED)
    jax.config.update("jax_enable_x64", True)
    jax.config.update("jax_default_device", gpu)
    condition, factors, power = random_cases(40_000, seed=1)
    numpy_rate = two_cores(condition, factors, power)
    small = slice(0, 8)
    assert np.all(
        solve(
            model(), subset(condition, small), subset(factors, small), set_by="power", target=power[small]
        ).solved
    )
    peak = peak_flops(jax)
    print(
        f"{gpu.device_kind}; JAX {jax.__version__}, NumPy {np.__version__}, Python {sys.version.split()[0]}"
    )
    print(f"two processor cores, NumPy: {numpy_rate:,.0f} solves/s")
    print(f"float64 limit of the card, measured by multiply-add chains: {peak / 1e12:.2f} Tflop/s")
    print(f"largest relative difference from NumPy: {agreement():.1e}")
    print("    cases      solves/s  x NumPy  first, s    solved  Tflop/s  of limit")
    for count in BATCHES[: 1 if "--cpu" in sys.argv else None]:
        sweep(jax, gpu, count, numpy_rate, peak)


if __name__ == "__main__":
    main()
