"""Use case: learn the shape of a type's model from earlier runs of any engines of the type."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from spoolwright.core.reduction.baseline import ModelBaseline
from spoolwright.core.reduction.model_method import shape_run
from spoolwright.core.reduction.point import PointData
from spoolwright.core.reduction.shape_learning import ShapeRun, calibrate_shape
from spoolwright.crafts.testcell.acceptance.contents import read_run
from spoolwright.crafts.testcell.performance.basis import ReductionBasis
from spoolwright.crafts.testcell.performance.block import reduce_block
from spoolwright.crafts.testcell.performance.usable import why_not_usable
from spoolwright.crafts.testcell.rules.gates import bars, gate_states
from spoolwright.crafts.testcell.service import Doubts, VisitRun, no_doubts
from spoolwright.errors import InputError


@dataclass(frozen=True)
class Lesson:
    """What a run teaches; `why_not` tells why it teaches nothing."""

    file: str
    sha256: str
    engine: str
    run: str
    shapes: tuple[ShapeRun, ...]
    why_not: str = ""


def learn_shape(runs: Iterable[VisitRun], basis: ReductionBasis, doubts: Doubts = no_doubts) -> ModelBaseline:
    """A baseline from earlier runs. Runs in which a gate fails and points in doubt teach nothing.

    Runs of one engine in one visit and one block count as one engine; work on it makes it another.

    Raises
    ------
    InputError
        Fewer than two runs are fit to learn from.
    """
    return shape_learnt([lesson(run, basis, doubts) for run in runs], basis)


def shape_learnt(lessons: Iterable[Lesson], basis: ReductionBasis) -> ModelBaseline:
    """The baseline that lessons make together.

    Raises
    ------
    InputError
        Fewer than two runs are fit to learn from, or one recording is named twice.
    """
    taught = list(lessons)
    for first, second in combinations(taught, 2):
        if first.sha256 and first.sha256 == second.sha256:
            raise InputError(
                f"'{first.file}' and '{second.file}' are the same recording.",
                mend="Name every recording once.",
            )
    learnt = calibrate_shape([shape for one in taught for shape in one.shapes])
    return replace(learnt, type_id=basis.type_file.type.id)


def lesson(run: VisitRun, basis: ReductionBasis, doubts: Doubts = no_doubts) -> Lesson:
    """What one run teaches."""
    sheet, type_file = run.sheet, basis.type_file
    findings = list(doubts(run.recording, sheet, type_file))
    points = read_run(run.recording, sheet, type_file, findings=findings).points
    reasons = {p.id: why_not_usable(p, points, basis) for p in points}
    usable = [p for p in points if not reasons[p.id]]
    shapes: list[ShapeRun] = []
    if not usable:
        told = list(dict.fromkeys(r for p in points for r in reasons[p.id])) or ["it holds no point"]
        why = [f"no usable point: {'; '.join(told[:3])}"]
    else:
        why = [g.text for g in gate_states(type_file, sheet, usable) if bars(g)]
    if not why:
        shapes, why = _shapes(run, usable, basis)
    return Lesson(
        file=run.recording.source_name,
        sha256=run.recording.source_sha256,
        engine=sheet.engine.serial,
        run=sheet.run,
        shapes=tuple(shapes),
        why_not="" if shapes else "; ".join(why),
    )


def _shapes(
    run: VisitRun, usable: Sequence[PointData], basis: ReductionBasis
) -> tuple[list[ShapeRun], list[str]]:
    """A shape for each block that the model can be compared with, and why others give none."""
    sheet = run.sheet
    shapes, why = [], []
    for block in sorted({p.block for p in usable}):
        own = [p for p in usable if p.block == block]
        reduction = reduce_block(block, own, {sheet.run: sheet}, basis)
        if reduction.model is None:
            why.append(reduction.model_untold)
        else:
            shapes.append(shape_run(f"{sheet.engine.serial} {sheet.engine.visit} {block}", reduction.model))
    return shapes, why
