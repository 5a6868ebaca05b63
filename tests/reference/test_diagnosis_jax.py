"""Runs weighed in one batch by JAX against the NumPy path, run by run: two implementations of one sum."""

from __future__ import annotations

import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent.parent / "prove"))
from _rig_points import HoldReader

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.diagnosis.calibrated import Calibrated, data_sheet_only
from spoolwright.core.diagnosis.diagnosing import EngineCase, Weigher
from spoolwright.core.diagnosis.families import Families
from spoolwright.core.diagnosis.observation import Observation
from spoolwright.crafts.testcell.diagnosis.observe import SEEN_ROLES, observation
from spoolwright.crafts.testcell.performance.basis import REDUCTION_ROLES, reduction_basis
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.sources.typefile import load_type, shipped_type

pytest.importorskip("jax")

RUNS = 20
FAULTS = (
    {}, {"compressor_fouling": 3.0}, {"vane_rigging": -3.0}, {"turbine_erosion": 3.0}, {"bleed_leak": 2.0},
    {"power_turbine_area": -2.0}, {"combustor_loss": 40.0}, {"gear_loss": 2.0},
    {"compressor_tip_clearance": 2.0, "exhaust_back_pressure": 3.0},
)  # fmt: skip


@cache
def loaded_runs() -> tuple[Weigher, list[Observation]]:
    """The type as its data sheet has it, and runs of the rig."""
    loaded = load_type(shipped_type())
    known = loaded.type_file
    basis, reader = (
        reduction_basis(known, loaded.engine),
        HoldReader(known, (*REDUCTION_ROLES, *SEEN_ROLES)),
    )
    options = QuickOptions(faults=lambda i: FAULTS[i % len(FAULTS)])
    runs = quick_runs(known, loaded.engine, RUNS, 311, options)
    weigher = Weigher(
        EngineModel(loaded.engine),
        data_sheet_only(known.type.id),
        {c.id: c.name for c in known.channel},
    )
    return weigher, [observation(reader.points(run), run.sheet, basis) for run in runs]


def with_families(c: Calibrated) -> Calibrated:
    """Two families of engines whose lines lie one standard deviation either way."""
    away = np.sqrt(np.diag(c.line)) * np.where(np.arange(len(c.line)) % 2, 1.0, -1.0)
    return replace(c, families=Families(np.array([0.7, 0.3]), np.stack([away, -away]), 0.3 * c.line))


@pytest.mark.parametrize("families", [False, True])
def test_same_explanations(families: bool) -> None:
    """1e-7 of probability: both solve to round-off; small axes of errors are dropped in one alone."""
    from spoolwright.core.diagnosis.jax_batch import BatchWeigher

    weigher, runs = loaded_runs()
    if families:
        weigher = Weigher(weigher.model, with_families(weigher.calibrated), weigher.names)
    theirs = BatchWeigher(weigher).arrays(runs)
    assert theirs is not None
    assert theirs.solved.all()
    ours = weigher.weigh([EngineCase((o,)) for o in runs])
    for i, weighing in enumerate(ours):
        found = {e.ids: e for e in theirs.explanations(i)}
        assert set(found) == {e.ids for e in weighing.explanations}
        assert theirs.explanations(i)[0].ids == weighing.explanations[0].ids
        for e in weighing.explanations:
            assert found[e.ids].probability == pytest.approx(e.probability, abs=1e-7)
            assert found[e.ids].log_evidence == pytest.approx(e.log_evidence, abs=2e-5)
            for a, b in zip(found[e.ids].causes, e.causes, strict=True):
                assert a.cause == b.cause
                np.testing.assert_allclose([a.mean, a.low, a.high], [b.mean, b.low, b.high], atol=1e-6)


def test_runs_that_fit_no_batch_are_weighed_alone() -> None:
    """One scatter that reaches two points: the same answer comes from the NumPy path."""
    from spoolwright.core.diagnosis.jax_batch import BatchWeigher

    weigher, runs = loaded_runs()
    errors = runs[0].errors.copy()
    errors[np.flatnonzero(runs[0].random)[0], 0, :2] = 0.1
    odd = replace(runs[0], errors=errors)
    found = BatchWeigher(weigher).weigh([odd])
    assert found[0] == list(weigher.weigh([EngineCase((odd,))])[0].explanations)
