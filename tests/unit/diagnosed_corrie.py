"""Rig engines of the invented type, a baseline learnt from some, diagnoses of others."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache

import numpy as np

from spoolwright.core.measurement.recording import Recording, Series
from spoolwright.crafts.testcell.diagnosis.baseline import Baseline
from spoolwright.crafts.testcell.diagnosis.calibrate import calibrate
from spoolwright.crafts.testcell.diagnosis.prepared import Prepared
from spoolwright.crafts.testcell.performance.basis import reduction_basis
from spoolwright.crafts.testcell.service import TypeInForce, VisitRun
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.rig.result import RigRun
from spoolwright.sources.typefile import LoadedType, load_type, shipped_type

SET = "repaired"
LEARNT = 12


@cache
def corrie() -> LoadedType:
    return load_type(shipped_type())


@cache
def kind() -> TypeInForce:
    loaded = corrie()
    return TypeInForce(reduction_basis(loaded.type_file, loaded.engine), loaded.sha256)


def rig_runs(
    count: int, seed: int, faults: Mapping[str, float] | None = None, **options: object
) -> list[RigRun]:
    """Quick runs, all with the same faults."""
    asked = QuickOptions(limit_set=SET, faults=lambda _: faults or {}, **options)  # type: ignore[arg-type]
    return list(quick_runs(corrie().type_file, corrie().engine, count, seed, asked))


def visit_run(run: RigRun) -> VisitRun:
    return VisitRun(run.recording, run.sheet)


@cache
def baseline() -> Baseline:
    """What runs of sound engines taught."""
    return calibrate([visit_run(r) for r in rig_runs(LEARNT, 61_000)], kind())


@cache
def prepared() -> Prepared:
    return Prepared(kind(), baseline())


def without(run: VisitRun, *channels: str) -> VisitRun:
    """A run in which channels were not recorded."""
    r = run.recording
    return replace(run, recording=replace(r, series={k: s for k, s in r.series.items() if k not in channels}))


def changed(run: VisitRun, channel: str, by: Callable[[np.ndarray], np.ndarray]) -> VisitRun:
    """A run in which a channel reads something else."""
    r: Recording = run.recording
    s: Series = r.series[channel]
    return replace(run, recording=replace(r, series={**r.series, channel: replace(s, values=by(s.values))}))
