"""Bad input never breaks the program

Recordings, run sheets, type files, channel maps and baselines are made wrong in a seeded way and assessed, in
processes of bounded memory; the same code as in tests/properties/test_hostile_cli.py, with many more cases.
SPOOLWRIGHT_FUZZ sets how many.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor, as_completed
from pathlib import Path
from typing import Any

FUZZER = Path(__file__).resolve().parent.parent / "properties" / "hostile_fuzzer.py"
CASES = int(os.environ.get("SPOOLWRIGHT_FUZZ", "4000"))
PART, FIRST = 100, 1_000_000
SECONDS, BYTES = 60.0, 2**30


def recorded(folder: Path) -> Path:
    """A sound run with its run sheet beside it."""
    from spoolwright.rig.presets import preset_options
    from spoolwright.rig.record import record_run
    from spoolwright.rig.write import write_run
    from spoolwright.sources.typefile import load_type, shipped_type

    known = load_type(shipped_type())
    run = record_run(known.type_file, known.engine, preset_options("hot-section", known.type_file, 5.0))
    return write_run(run, folder, "run", "parquet").recording


def part(sound: Path, first: int, count: int) -> dict[str, Any]:
    """So many visits in a process of their own; one that dies counts as a failure of them all."""
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, str(FUZZER), str(sound), str(first), str(count), folder]
        around = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
        done = subprocess.run(command, capture_output=True, text=True, env=around, check=False)
    if done.returncode:
        return {"ends": {}, "slowest": 0.0, "memory": 0, "failed": count, "problems": [done.stderr[-1000:]]}
    return dict(json.loads(done.stdout))


def parts(sound: Path) -> Iterator[dict[str, Any]]:
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        starts = range(0, CASES, PART)
        waiting = [pool.submit(part, sound, FIRST + s, min(PART, CASES - s)) for s in starts]
        for one in as_completed(waiting):
            yield one.result()


def run(progress: Callable[[int, int], None]) -> dict[str, Any]:
    ends: Counter[str] = Counter()
    slowest, memory, failed, problems = 0.0, 0, 0, []
    with tempfile.TemporaryDirectory() as folder:
        for told in parts(recorded(Path(folder))):
            ends.update(told["ends"])
            slowest, memory = max(slowest, told["slowest"]), max(memory, told["memory"])
            failed += told["failed"]
            problems += told["problems"]
            progress(sum(ends.values()) + failed, CASES)
    told_as = dict(ends.most_common()) | {
        "ended otherwise": failed,
        "slowest visit": f"{slowest:.0f} s",
        "largest memory": f"{memory / 2**20:.0f} MiB",
    }
    if problems:
        told_as["first problem"] = problems[0].strip().splitlines()[-1]
    return {
        "claim": "Whatever is wrong with the files handed over, an assessment ends in a result that "
        "holds together or in an error that says what to mend; "
        f"within {SECONDS:.0f} s and {BYTES / 2**30:.0f} GiB.",
        "measured": told_as,
        "cases": sum(ends.values()) + failed,
        "holds": failed == 0 and sum(ends.values()) == CASES and slowest < SECONDS and memory < BYTES,
    }
