"""Diagnosis: one run warm, and a thousand recordings on one and two processes

Recordings are rig runs written as Parquet, a fifth with a planted fault; the baseline is from rig runs of
good engines. Processor seconds stand beside the clock: where they differ, the machine had other work.
"""

from __future__ import annotations

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"  # before NumPy, as the program itself does

import resource
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from spoolwright.bootstrap import DiagnosisFiles, calibrate
from spoolwright.bootstrap.batch import diagnose_all
from spoolwright.bootstrap.batch.ready import Ready, ready
from spoolwright.core.cycle.engine import EngineData
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.rig.write import write_run
from spoolwright.sources.typefile import load_type, shipped_type

MADE, COPIES, SCALING, LEARNT, WARM = 100, 10, 200, 20, 7
WITHIN_S, ALL_WITHIN_S, SCALES = 2.0, 300.0, 1.8
FAULT = {"compressor_fouling": 3.0}


@dataclass(frozen=True)
class Took:
    """Seconds by the clock and of the processors, children included."""

    wall: float
    cpu: float


def took(work: Callable[[], Any]) -> Took:
    """Time some work."""
    before, began = _cpu(), time.perf_counter()
    work()
    return Took(time.perf_counter() - began, _cpu() - before)


def _cpu() -> float:
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in used)


def recordings(
    folder: Path, known: TypeFile, data: EngineData, count: int, rate: float, seed: int
) -> list[Path]:
    """Rig runs as Parquet with their run sheets."""
    options = QuickOptions(rate=rate, faults=lambda i: FAULT if i % 5 == 4 else {})
    runs = enumerate(quick_runs(known, data, count, seed, options))
    return [write_run(run, folder, f"run-{i:03d}", "parquet").recording for i, run in runs]


def copied(made: Path, folder: Path, times: int) -> Path:
    """The recordings of a folder, several times over under other names."""
    for i in range(times):
        shutil.copytree(made, folder / f"{i:02d}", ignore=shutil.ignore_patterns("*.json"))
    return folder


def main() -> int:
    loaded = load_type(shipped_type())
    with tempfile.TemporaryDirectory() as name:
        work = Path(name)
        good = work / "good"
        for i, run in enumerate(quick_runs(loaded.type_file, loaded.engine, LEARNT, 9000)):
            write_run(run, good, f"run-{i}", "parquet")
        baseline = work / "baseline.json"
        calibrate([good], shipped_type(), baseline)
        slow = recordings(work / "made", loaded.type_file, loaded.engine, MADE, 1.0, 100)
        fast = recordings(work / "fast", loaded.type_file, loaded.engine, WARM, 20.0, 700)
        files = DiagnosisFiles(baseline)
        rows = [*alone(ready(shipped_type(), None, files), slow, fast), *many(work, files)]
    table = Table(title=f"Diagnosis of {loaded.type_file.type.name}", title_justify="left")
    for head in ("what", "by the clock", "processor", "target"):
        table.add_column(head, justify="left" if head == "what" else "right")
    for row in rows:
        table.add_row(*row[:4])
    Console(width=110).print(table)
    return 0 if all(row[4] for row in rows) else 1


Line = tuple[str, str, str, str, bool]


def alone(by: Ready, slow: list[Path], fast: list[Path]) -> list[Line]:
    """One recording after the other in a warm process."""
    by.diagnosis(slow[0])
    out = []
    for what, paths in (("1 row a second", slow[:WARM]), ("20 rows a second", fast)):
        times = [took(lambda p=p: by.diagnosis(p)) for p in paths]  # type: ignore[misc]
        wall = statistics.median(t.wall for t in times)
        cpu = statistics.median(t.cpu for t in times)
        size = paths[0].stat().st_size / 1e6
        out.append(
            (f"one diagnosis, {what}, {size:.1f} MB, median of {WARM}", f"{wall:.2f} s", f"{cpu:.2f} s",
             f"{WITHIN_S:g} s", wall <= WITHIN_S)
        )  # fmt: skip
    return out


def many(work: Path, files: DiagnosisFiles) -> list[Line]:
    """A batch on one process and on two, then a thousand recordings on two."""

    def batch(where: Path, out: str, processes: int) -> Took:
        return took(
            lambda: diagnose_all(str(where), shipped_type(), work / out, files=files, processes=processes)
        )

    some = copied(work / "made", work / "some", SCALING // MADE)
    every = copied(work / "made", work / "every", COPIES)
    one, two = batch(some, "one", 1), batch(some, "two", 2)
    whole = batch(every, "whole", 2)
    count, ratio = MADE * COPIES, one.wall / two.wall
    scaled = (f"{ratio:.2f} x", f"{one.cpu / two.cpu:.2f} x", f"{SCALES:g} x", ratio >= SCALES)
    return [
        _line(f"{SCALING} recordings, one process", one, SCALING, "", True),
        _line(f"{SCALING} recordings, two processes", two, SCALING, "", True),
        ("one process over two", *scaled),
        _line(
            f"{count:,} recordings, two processes",
            whole,
            count,
            f"{ALL_WITHIN_S:g} s",
            whole.wall <= ALL_WITHIN_S,
        ),
    ]


def _line(what: str, t: Took, count: int, target: str, good: bool) -> Line:
    return what, f"{t.wall:.1f} s, {count / t.wall:.1f}/s", f"{t.cpu / count:.2f} s each", target, good


if __name__ == "__main__":
    sys.exit(main())
