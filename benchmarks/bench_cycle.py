"""The full engine model, every effect on, beside other ways to solve the same physics, in one run.

Rates on one core and the transient are of processor time, so that other work on the machine matters little;
all else is by the clock. Run it on a quiet machine:  python benchmarks/bench_cycle.py
"""

from __future__ import annotations

import os

os.environ["OMP_NUM_THREADS"] = "1"  # before NumPy: workers shall not fight over the cores

import multiprocessing
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "reference"))
from cycle_cases import engine, model, random_cases

from spoolwright.core.cycle.cases import subset
from spoolwright.core.cycle.condition import HEALTHY
from spoolwright.core.cycle.line import operating_line
from spoolwright.core.cycle.model import Inlet
from spoolwright.core.cycle.parallel import SolverPool
from spoolwright.core.cycle.sensitivity import PARAMETERS, sensitivities
from spoolwright.core.cycle.setting import referred, setting_residual
from spoolwright.core.cycle.solve import solve
from spoolwright.core.cycle.transient import Schedule, transient

COUNT = 40_000
ALONE = 150  # cases solved one by one
TRIALS = 100_000
Row = tuple[str, str, str]


def floats(record: Any, i: int) -> Any:
    return type(record)(**{k: float(v) for k, v in vars(subset(record, i)).items()})


def spent(work: Callable[[], Any], clock: Callable[[], float] = time.perf_counter, times: int = 3) -> float:
    """Shortest time of several runs: what the work itself needs."""
    out = []
    for _ in range(times):
        began = clock()
        work()
        out.append(clock() - began)
    return min(out)


def rate_row(name: str, rate: float, base: float, note: str) -> Row:
    return name, f"{rate:,.0f} solves/s", f"{note}; the batch is {base / rate:.1f} x"


def batch_rows(condition: Any, factors: Any, power: Any) -> tuple[float, float, list[Row]]:
    solution = solve(model(), condition, factors, set_by="power", target=power)
    one = COUNT / spent(
        lambda: solve(model(), condition, factors, set_by="power", target=power), time.process_time
    )
    with SolverPool(engine(), 2) as pool:
        pool.solve(condition, factors, set_by="power", target=power)
        two = COUNT / spent(lambda: pool.solve(condition, factors, set_by="power", target=power))
    some = 4000
    part = solve(
        model(),
        subset(condition, slice(some)),
        subset(factors, slice(some)),
        set_by="power",
        target=power[:some],
    )
    matrices = some / spent(lambda: sensitivities(part, PARAMETERS), time.process_time)
    note = f"{np.mean(solution.solved):.2%} solved, {solution.iterations.mean():.2f} Jacobians each"
    return (
        one,
        two,
        [
            ("batch, NumPy, one core", f"{one:,.0f} solves/s", note),
            ("batch, NumPy, two processes", f"{two:,.0f} solves/s", f"{COUNT:,} cases, by the clock"),
            (
                "sensitivities, one core",
                f"{matrices:,.0f} matrices/s",
                f"34 outputs by {len(PARAMETERS)} parameters",
            ),
        ],
    )


def root_rate(
    engine_model: Any, count: int, condition: Any, factors: Any, power: Any, start_model: Any
) -> float:
    """scipy.optimize.root per case on plain floats, from the same start as the batch."""
    from scipy.optimize import root

    from spoolwright.core.cycle.gaspath import GasPath

    line = operating_line(start_model)
    cases = [(floats(condition, i), floats(factors, i), float(power[i])) for i in range(count)]
    began, good = time.process_time(), 0
    for c, f, target in cases:
        inlet = Inlet(engine_model, c)
        start, _ = line.start_one("power", referred(engine_model, inlet, c, "power", target))

        def equations(x: Any, c: Any = c, f: Any = f, t: float = target, inlet: Any = inlet) -> list[float]:
            path = GasPath(engine_model, inlet, x.tolist(), c, f)
            return [*path.residuals, setting_residual(engine_model, path, c, f, "power", t)]

        good += root(equations, np.array(start), tol=1e-10).success
    return good / (time.process_time() - began)


def peer_rows(one: float, condition: Any, factors: Any, power: Any) -> list[Row]:
    plain = root_rate(model(), ALONE, condition, factors, power, model())
    rows = [rate_row("scipy.optimize.root per case, plain floats", plain, one, "one core")]
    try:
        import nasa_glenn
        from cantera_gas import CanteraGas, with_gas
    except ImportError:
        return [*rows, ("root with Cantera properties", "-", "Cantera is not installed")]
    object.__setattr__(condition, "fuel_temperature", 298.15)
    other = with_gas(model(), CanteraGas(nasa_glenn.solution(nasa_glenn.COMPLETE)))
    cantera = root_rate(other, ALONE // 5, condition, factors, power, model())
    return [*rows, rate_row("root with Cantera properties", cantera, one, "one core")]


def jax_rows(two: float, condition: Any, factors: Any, power: Any) -> list[Row]:
    try:
        import jax

        from spoolwright.core.cycle.jax_batch import jax_solve
    except ImportError:
        return [("JAX, the same source", "-", "JAX is not installed")]
    count = 8000
    c, f, target = subset(condition, slice(count)), subset(factors, slice(count)), power[:count]

    def work() -> Any:
        return jax.block_until_ready(jax_solve(model(), c, f, set_by="power", target=target))

    began = time.perf_counter()
    work()
    first = time.perf_counter() - began
    rate = count / spent(work)
    cores = multiprocessing.cpu_count()
    return [
        rate_row(f"JAX, the same source, {cores} cores", rate, two, f"first call {first:.0f} s to compile")
    ]


def single_rows() -> list[Row]:
    condition = engine().condition(temperature=295.0, pressure=98e3, water_air_ratio=0.008)
    powers = np.random.default_rng(0).uniform(200e3, 900e3, 200)
    times = []
    for p in powers:
        began = time.perf_counter()
        solve(model(), condition, HEALTHY, set_by="power", target=float(p))
        times.append(time.perf_counter() - began)
    schedule = Schedule(
        [0.0, 5.0, 6.0, 25.0, 26.0, 40.0, 42.0, 60.0],
        [60e3, 60e3, 900e3, 900e3, 80e3, 80e3, 700e3, 700e3],
        [6000.0] * 8,
        [1.2] * 8,
    )
    run = spent(lambda: transient(model(), engine().condition(), schedule), time.process_time)
    return [
        ("one warm solve on floats", f"{statistics.median(times) * 1e3:.2f} ms", "median of 200 powers"),
        ("transient, 60 s at 50 Hz", f"{run:.2f} s", "one core, two accelerations and a deceleration"),
    ]


def monte_carlo_row() -> Row:
    """One rating point with scattered inputs, set by MGT."""
    r = np.random.default_rng(1)
    condition = engine().condition(
        temperature=288.15 + 0.3 * r.normal(size=TRIALS),
        pressure=101325.0 * (1 + 5e-4 * r.normal(size=TRIALS)),
    )
    target = 1080.0 + 3.0 * r.normal(size=TRIALS)
    seconds = spent(lambda: solve(model(), condition, set_by="mgt", target=target), times=1)
    return "100,000 trials of one rating point", f"{seconds:.1f} s", "one core, full solve each"


def main() -> None:
    condition, factors, power = random_cases(COUNT, seed=1)
    one, two, rows = batch_rows(condition, factors, power)
    rows += [*peer_rows(one, condition, factors, power), *jax_rows(two, condition, factors, power)]
    rows += [*single_rows(), monte_carlo_row()]
    width = max(len(r[0]) for r in rows)
    load = os.getloadavg()[0]
    print(f"{multiprocessing.cpu_count()} cores, load {load:.1f}, NumPy {np.__version__}")
    for name, figure, note in rows:
        print(f"{name:<{width}}  {figure:>18}  {note}")


if __name__ == "__main__":
    main()
