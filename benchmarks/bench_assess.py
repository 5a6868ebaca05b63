"""A long recording through the whole program: process start to written result, by the clock, and peak memory.

The recording: a run of the rig at 20 rows a second, repeated to two hours, with 52 columns beside the type's
channels so that there are 100 in all. Run it on a quiet machine:  python benchmarks/bench_assess.py
"""

from __future__ import annotations

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"  # before NumPy, as the program itself does

import shutil
import statistics
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table

from spoolwright.core.measurement.recording import Recording, Series
from spoolwright.rig.presets import preset_options
from spoolwright.rig.record import record_run
from spoolwright.rig.write import write_run
from spoolwright.sources.typefile import load_type, shipped_type

ROWS, RATE, COLUMNS, TIMES = 144_000, 20.0, 100, 5
WITHIN_S, WITHIN_BYTES, HELP_WITHIN_S = 4.0, 1.5 * 2**30, 0.3
PROGRAM = [sys.executable, "-c", "from spoolwright.cli.main import run; run()"]


def long_recording(short: Recording) -> Recording:
    """The recording again and again up to the rows wanted, and further columns that no type knows."""
    series = {c: replace(s, values=np.resize(s.values, ROWS)) for c, s in short.series.items()}
    noise = np.random.default_rng(1)
    for k in range(COLUMNS - 1 - len(series)):
        name = f"spare_{k + 1:02d}"
        series[name] = Series(name, noise.normal(5.0, 0.1, ROWS), name, "V", "V")
    return replace(short, time=np.arange(ROWS) / RATE, series=series)


def write_long_run(folder: Path) -> Path:
    """The recording as Parquet, its run sheet beside it; gives the recording's path."""
    loaded = load_type(shipped_type())
    options = preset_options("healthy", loaded.type_file, rate=RATE)
    run = record_run(loaded.type_file, loaded.engine, options)
    return write_run(
        replace(run, recording=long_recording(run.recording)), folder, "long", "parquet"
    ).recording


def surroundings(folder: Path) -> dict[str, str]:
    """Compiled modules are kept, as they are for anybody who runs the program a second time."""
    kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    return kept | {"PYTHONPYCACHEPREFIX": str(folder / "compiled")}


def measured(arguments: list[str], around: dict[str, str]) -> tuple[float, int, int]:
    """Seconds by the clock, peak resident bytes and exit code of one process."""
    silent = os.open(os.devnull, os.O_WRONLY)
    began = time.perf_counter()
    actions = [(os.POSIX_SPAWN_DUP2, silent, 1)]
    child = os.posix_spawn(sys.executable, [*PROGRAM, *arguments], around, file_actions=actions)
    _, status, used = os.wait4(child, 0)
    seconds = time.perf_counter() - began
    os.close(silent)
    return seconds, used.ru_maxrss * 1024, os.waitstatus_to_exitcode(status)


def main() -> int:
    folder = Path(tempfile.mkdtemp(prefix="bench-assess-"))
    try:
        path = write_long_run(folder)
        size = path.stat().st_size / 1e6
        arguments = ["assess", str(path), "--type", str(shipped_type()), "--json", str(folder / "out.json")]
        around = surroundings(folder)
        measured(arguments, around)
        runs = [measured(arguments, around) for _ in range(TIMES)]
        helps = [measured(["--help"], around)[0] for _ in range(2 * TIMES)]
    finally:
        shutil.rmtree(folder)
    seconds = statistics.median(r[0] for r in runs)
    peak = max(r[1] for r in runs)
    table = Table(title=f"{ROWS:,} rows, {COLUMNS} columns, {size:.0f} MB of Parquet", title_justify="left")
    for name in ("what", "measured", "target", "of"):
        table.add_column(name)
    spread = f"median of {TIMES}: {min(runs)[0]:.2f} to {max(runs)[0]:.2f} s"
    table.add_row("assess, start to end", f"{seconds:.2f} s", f"{WITHIN_S:g} s", spread)
    table.add_row(
        "assess, peak memory", f"{peak / 2**30:.2f} GiB", f"{WITHIN_BYTES / 2**30:g} GiB", "largest"
    )
    help_seconds = statistics.median(helps)
    table.add_row("--help", f"{help_seconds:.2f} s", f"{HELP_WITHIN_S:g} s", f"median of {2 * TIMES}")
    Console().print(table)
    codes = {r[2] for r in runs}
    if not codes <= {0, 10, 11}:
        print(f"assess ended with {codes}")
        return 1
    held = seconds <= WITHIN_S and peak <= WITHIN_BYTES and help_seconds <= HELP_WITHIN_S
    return 0 if held else 1


if __name__ == "__main__":
    sys.exit(main())
