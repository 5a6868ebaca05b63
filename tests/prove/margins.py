"""Margins with a cause put right, against the same simulated engine without the fault.

Blind engines of the rig with one fault in a module, 0.7 to 4 units in size, run once. The diagnosis tells
each margin at a rating as it is and as it would be with that cause put right. The truth is the rig's own
standard-day performance of the engine with the fault, and of the same engine without it.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from spoolwright.core.diagnosis.calibrated import Calibrated
from spoolwright.core.diagnosis.diagnosing import EngineCase, Weigher
from spoolwright.core.numerics import FloatArray
from spoolwright.crafts.testcell.diagnosis.margins_after import MarginTeller
from spoolwright.crafts.testcell.diagnosis.observe import observation
from spoolwright.crafts.testcell.diagnosis.speaking import sized
from spoolwright.crafts.testcell.forecast.run_to_come import limits_asked
from spoolwright.crafts.testcell.ledger import Ledger
from spoolwright.crafts.testcell.model import Figure
from spoolwright.rig.draws import stream
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.rig.result import RigRun
from spoolwright.rig.truth import standard_day, truth_engine

sys.path.insert(0, str(Path(__file__).parent))
from _diagnosis_contest import learn
from _diagnosis_rig import PAIR_SIZES, RIG, Bench, bench

ENGINES, HISTORY, CHUNK = 300, 3, 20
SEED = 51_000_000
LIMITS = "overhauled"
HOLD = 1.6448536270
"""Half a normal 90 % interval in standard deviations."""
NEAR = 0.04
"""A little more than two standard errors of a share of 300."""
WHEN = ("as it is", "put right")
CLAIM = """
Of the 90 % intervals of every margin at a rating as many hold the truth, within 4 points, as would hold were
all but the calibration's caution exact: as the engine is, and as it would be with the cause put right. (On a
finite number of engines a calibration is cautious, which makes the intervals a little wider.)
"""
Report = Callable[[int, int], None]


@dataclass(frozen=True)
class Told:
    """Margins of one engine less the truth, over their stated uncertainty: by limit and `WHEN`."""

    limits: tuple[tuple[str, str], ...]
    out: FloatArray
    error: FloatArray


def planted(b: Bench, number: int) -> tuple[str, float]:
    """Cause and signed size of engine number so and so."""
    g = stream(SEED + number, "planted")
    cause = b.causes[g.integers(len(b.causes))]
    return cause.id, float(g.uniform(*PAIR_SIZES) * g.choice(cause.signs))


def told(calibrated: Calibrated, first: int, count: int) -> Iterator[Told]:
    """Engines number first and after; none is dropped."""
    b = bench()
    weigher = Weigher(b.basis.model, calibrated, b.names)
    teller = MarginTeller(b.basis, calibrated, limits_asked(b.type, LIMITS))
    causes = [planted(b, first + i) for i in range(count)]

    def faults(i: int) -> Mapping[str, float]:
        fault, scale = RIG[causes[i][0]]
        return {fault: scale * causes[i][1]}

    runs = list(quick_runs(b.type, b.engine, count, SEED + first, QuickOptions(faults=faults)))
    seen = [EngineCase((observation(b.reader.points(r), r.sheet, b.basis),)) for r in runs]
    for (cause, _), run, weighing in zip(causes, runs, weigher.weigh(seen), strict=True):
        margins = teller.margins(weighing, [sized(weighing, cause)], Ledger())[cause]
        truth = run.truth.standard_day, _without_fault(b, run)
        limits = {x.limit.id: (x.value, 1.0 if x.limit.bound == "min" else -1.0) for x in teller.limits}
        assert len(margins) == len(limits)
        rows = []
        for m in margins:
            limit, sign = limits[m.limit]
            true = [sign * (float(np.squeeze(t[m.rating][m.quantity])) - limit) for t in truth]
            rows.append([_off(f, t, limit) for f, t in zip((m.now, m.after), true, strict=True)])
        out = np.array(rows)
        yield Told(tuple((m.rating, m.quantity) for m in margins), out[..., 0], out[..., 1])


def _without_fault(b: Bench, run: RigRun) -> Mapping[str, Mapping[str, FloatArray]]:
    engine = run.truth.day.engine
    return standard_day(b.type, engine.model, truth_engine(b.type, b.engine, engine.seed, {}).factors)


def _off(f: Figure, truth: float, limit: float) -> tuple[float, float]:
    assert f.standard_uncertainty is not None
    return (f.value - truth) / f.standard_uncertainty, (f.value - truth) / limit


def run(progress: Report) -> dict[str, Any]:
    """Calibrate on sound engines, then tell the margins of others."""
    calibrated, _ = learn(HISTORY, "full")
    engines: list[Told] = []
    for first in range(0, ENGINES, CHUNK):
        engines += told(calibrated, first, CHUNK)
        progress(len(engines), ENGINES)
    out, error = np.array([e.out for e in engines]), np.array([e.error for e in engines])
    held = np.mean(np.abs(out) <= HOLD, axis=0)
    exact = math.erf(HOLD * math.sqrt(calibrated.caution / 2.0))
    measured = {"90 % intervals that would hold, were all but the caution exact (no claim)": f"{exact:.1%}"}
    for i, (rating, quantity) in enumerate(engines[0].limits):
        for j, when in enumerate(WHEN):
            spread = float(np.sqrt(np.mean(error[:, i, j] ** 2)))
            measured[f"{rating}, {quantity}, {when}: 90 % intervals that hold; error (no claim)"] = (
                f"{held[i, j]:.1%}; {spread:.2%} of the limit"
            )
    return {
        "claim": " ".join(CLAIM.split()),
        "measured": measured,
        "cases": len(engines),
        "holds": bool(np.all(np.abs(held - exact) <= NEAR)),
    }
