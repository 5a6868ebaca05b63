"""A rig run with a planted fault, weighed with the data sheet's model: further checks are planned from it."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "prove"))
from _rig_points import HoldReader

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.diagnosis.calibrated import data_sheet_only
from spoolwright.core.diagnosis.diagnosing import EngineCase, Weigher, Weighing
from spoolwright.core.diagnosis.observation import Observation
from spoolwright.crafts.testcell.diagnosis.observe import SEEN_ROLES, observation
from spoolwright.crafts.testcell.performance.basis import REDUCTION_ROLES, reduction_basis
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.sources.typefile import LoadedType, load_type, shipped_type


@dataclass(frozen=True)
class WeighedRun:
    """A run, and the same weighed."""

    weigher: Weigher
    weighing: Weighing


@cache
def corrie() -> LoadedType:
    return load_type(shipped_type())


@cache
def weigher() -> Weigher:
    loaded = corrie()
    names = {c.id: c.name for c in loaded.type_file.channel}
    return Weigher(EngineModel(loaded.engine), data_sheet_only(loaded.type_file.type.id), names)


@cache
def rig_run(fault: str, size: float, seed: int = 5) -> Observation:
    """Steady points of one quick rig run; no fault when the size is 0."""
    loaded = corrie()
    basis = reduction_basis(loaded.type_file, loaded.engine)
    reader = HoldReader(loaded.type_file, (*REDUCTION_ROLES, *SEEN_ROLES))
    options = QuickOptions(faults=lambda i: {fault: size} if size else {})
    run = next(iter(quick_runs(loaded.type_file, loaded.engine, 1, seed, options)))
    return observation(reader.points(run), run.sheet, basis)


@cache
def weighed_run(fault: str, size: float, seed: int = 5) -> WeighedRun:
    case = EngineCase((rig_run(fault, size, seed),))
    return WeighedRun(weigher(), weigher().weigh([case])[0])
