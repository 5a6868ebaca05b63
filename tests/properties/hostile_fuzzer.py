"""Assesses hostile visits in a process of its own: `hostile_fuzzer.py RECORDING FIRST COUNT FOLDER`.

RECORDING is a sound run with its run sheet beside it. Whatever is made of it must be an assessment that holds
together, or one of the project's errors. Tells as JSON how it went.
"""

from __future__ import annotations

import json
import math
import resource
import signal
import sys
import time
import traceback
import warnings
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

from hostile_cases import Workshop
from peak_memory import peak_bytes

from spoolwright import bootstrap
from spoolwright.core.measurement.recording import Recording
from spoolwright.crafts.testcell.model import Assessment
from spoolwright.errors import SpoolwrightError
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.sources.reading import read_recording
from spoolwright.sources.runsheet import read_run_sheet, sheet_beside
from spoolwright.sources.typefile import load_type, shipped_type

SECONDS = 120
MEMORY = 4 * 2**30
EVERY = {"html": 4, "pdf": 16}
"""One visit in so many is also written as a page, as a print."""


class OutOfTime(BaseException):
    """A visit took too long."""


def thinned(recording: Recording, by: int) -> Recording:
    series = {k: replace(s, values=s.values[::by]) for k, s in recording.series.items()}
    return replace(recording, time=recording.time[::by], series=series)


def workshop(sound: Path, folder: Path) -> Workshop:
    loaded = load_type(shipped_type())
    known = loaded.type_file
    quick = next(quick_runs(known, loaded.engine, 1, seed=3, options=QuickOptions(rate=0.5)))
    whole = thinned(read_recording(sound, known.channel), 5), read_run_sheet(sheet_beside(sound), known)
    text = shipped_type().read_text(encoding="utf-8")
    return Workshop(folder, [(quick.recording, quick.sheet), whole], known, text)


def hold_together(a: Assessment) -> None:
    """A verdict is one only with numbers behind it, and what cannot be told says why."""
    for v in a.verdicts:
        assert v.sentence
        if v.outcome == "cannot_tell":
            assert v.why or v.next_step, v.id
            continue
        assert v.reading is not None and v.limit_value is not None, v.id
        assert math.isfinite(v.reading.value) and math.isfinite(v.limit_value.value), v.id
        assert v.probability_conforming is None or 0.0 <= v.probability_conforming <= 1.0, v.id
    told = {v.outcome for v in a.verdicts if v.id not in a.disposition.superseded}
    if a.disposition.outcome == "all_meet":
        assert told == {"meets"}


def one(number: int, shop: Workshop) -> str:
    """What one visit comes to: an outcome or the name of an error."""
    handed = shop.hostile(number)
    try:
        result = bootstrap.assess(**handed.arguments())
        hold_together(result.assessment)
        paths: dict[str, Any] = {k: shop.folder / f"out.{k}" for k, n in EVERY.items() if number % n == 0}
        bootstrap.write_reports(result, json=shop.folder / "out.json", **paths)
    except SpoolwrightError as error:
        assert 3 <= error.exit_code <= 6, error
        assert len(str(error)) < 300_000
        return type(error).__name__
    again = Assessment.model_validate_json((shop.folder / "out.json").read_bytes())
    assert again == result.assessment
    return again.disposition.outcome


def many(first: int, count: int, shop: Workshop) -> dict[str, Any]:
    """So many visits: how each ended, the slowest, the memory taken, and what went wrong."""
    ends: Counter[str] = Counter()
    slowest, problems = 0.0, []
    for number in range(first, first + count):
        began = time.perf_counter()
        signal.alarm(SECONDS)
        try:
            ends[one(number, shop)] += 1
        except BaseException:
            problems.append(f"number {number}: {traceback.format_exc()}")
        signal.alarm(0)
        slowest = max(slowest, time.perf_counter() - began)
    memory = peak_bytes()
    return {
        "ends": ends,
        "slowest": slowest,
        "memory": memory,
        "failed": len(problems),
        "problems": problems[:5],
    }


def _out_of_time(*_: object) -> None:
    raise OutOfTime


if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    signal.signal(signal.SIGALRM, _out_of_time)
    warnings.simplefilter("ignore")  # as the program itself does
    sound, start, size, place = sys.argv[1:]
    print(json.dumps(many(int(start), int(size), workshop(Path(sound), Path(place)))))
