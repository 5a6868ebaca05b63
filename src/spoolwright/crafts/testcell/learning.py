"""Use case: learn the shape of a type's model from earlier runs of any engines of the type."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from spoolwright.core.reduction.baseline import ModelBaseline, ShapeRun, calibrate_shape
from spoolwright.core.reduction.model_method import shape_run
from spoolwright.crafts.testcell.acceptance import read_run
from spoolwright.crafts.testcell.basis import ReductionBasis
from spoolwright.crafts.testcell.block import reduce_block
from spoolwright.crafts.testcell.gates import bars, gate_states
from spoolwright.crafts.testcell.service import Doubts, VisitRun, no_doubts
from spoolwright.crafts.testcell.usable import why_not_usable


def learn_shape(runs: Sequence[VisitRun], basis: ReductionBasis, doubts: Doubts = no_doubts) -> ModelBaseline:
    """A baseline from earlier runs. Runs in which a gate fails and points in doubt teach nothing.

    Runs of one engine in one visit and one block count as one engine; work on it makes it another.

    Raises
    ------
    InputError
        Fewer than two runs are fit to learn from.
    """
    learnt = calibrate_shape([s for run in runs for s in _lessons(run, basis, doubts)])
    return replace(learnt, type_id=basis.type_file.type.id)


def _lessons(run: VisitRun, basis: ReductionBasis, doubts: Doubts) -> list[ShapeRun]:
    sheet, type_file = run.sheet, basis.type_file
    findings = list(doubts(run.recording, sheet, type_file))
    points = read_run(run.recording, sheet, type_file, findings=findings).points
    usable = [p for p in points if not why_not_usable(p, points, basis)]
    if not usable or any(bars(g) for g in gate_states(type_file, sheet, usable)):
        return []
    out = []
    for block in sorted({p.block for p in usable}):
        own = [p for p in usable if p.block == block]
        model = reduce_block(block, own, {sheet.run: sheet}, basis).model
        if model is not None:
            out.append(shape_run(f"{sheet.engine.serial} {sheet.engine.visit} {block}", model))
    return out
