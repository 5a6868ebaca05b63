"""What recorded runs teach of a type: each run read once, by the same rules for everything learnt from it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

from spoolwright.core.diagnosis.observation import Observation
from spoolwright.core.reduction.baseline import ModelBaseline
from spoolwright.core.reduction.model_method import shape_run
from spoolwright.core.reduction.point import PointData
from spoolwright.core.reduction.shape_learning import ShapeRun, calibrate_shape
from spoolwright.crafts.testcell.acceptance.contents import read_run
from spoolwright.crafts.testcell.diagnosis.observe import observation
from spoolwright.crafts.testcell.diagnosis.other_readings import other_readings
from spoolwright.crafts.testcell.performance.basis import ReductionBasis
from spoolwright.crafts.testcell.performance.block import reduce_block
from spoolwright.crafts.testcell.performance.usable import why_not_usable
from spoolwright.crafts.testcell.rules.gates import bars, gate_states
from spoolwright.crafts.testcell.service import Doubts, VisitRun, no_doubts
from spoolwright.errors import InputError


@dataclass(frozen=True)
class Lesson:
    """What a run teaches; `why_not` tells why it teaches nothing.

    `shapes` go into the shape of the reduction's model, `observations` (with the block of each) into the
    calibration of the diagnosis, `others` are readings beside the gas path by name.
    """

    file: str
    sha256: str
    engine: str
    visit: str
    run: str
    shapes: tuple[ShapeRun, ...] = ()
    observations: tuple[tuple[int, Observation], ...] = ()
    others: Mapping[str, float] = field(default_factory=dict)
    why_not: str = ""
    last_block: int = 0

    @property
    def teaches(self) -> bool:
        """Whether anything is learnt from the run."""
        return bool(self.shapes or self.observations)


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


def lesson(run: VisitRun, basis: ReductionBasis, doubts: Doubts = no_doubts, first_block: int = 0) -> Lesson:
    """What one run teaches. `first_block` is the last block of the run before it in the visit."""
    sheet, type_file = run.sheet, basis.type_file
    findings = list(doubts(run.recording, sheet, type_file))
    contents = read_run(run.recording, sheet, type_file, findings=findings, first_block=first_block)
    points = contents.points
    reasons = {p.id: why_not_usable(p, points, basis) for p in points}
    usable = [p for p in points if not reasons[p.id]]
    blank = Lesson(
        file=run.recording.source_name,
        sha256=run.recording.source_sha256,
        engine=sheet.engine.serial,
        visit=sheet.engine.visit,
        run=sheet.run,
        last_block=contents.last_block,
    )
    if not usable:
        told = list(dict.fromkeys(r for p in points for r in reasons[p.id])) or ["it holds no point"]
        return replace(blank, why_not=f"no usable point: {'; '.join(told[:3])}")
    why = [g.text for g in gate_states(type_file, sheet, usable) if bars(g)]
    if why:
        return replace(blank, why_not="; ".join(why))
    others = other_readings(contents, usable, type_file)
    return _taught(replace(blank, others=others), run, usable, basis)


def _taught(blank: Lesson, run: VisitRun, usable: Sequence[PointData], basis: ReductionBasis) -> Lesson:
    """A shape and an observation for each block that the model can be compared with, or why not."""
    sheet = run.sheet
    shapes, observations, why = [], [], []
    for block in sorted({p.block for p in usable}):
        own = [p for p in usable if p.block == block]
        reduction = reduce_block(block, own, {sheet.run: sheet}, basis)
        if reduction.model is None:
            why.append(reduction.model_untold)
        else:
            shapes.append(shape_run(f"{sheet.engine.serial} {sheet.engine.visit} {block}", reduction.model))
        try:
            observations.append((block, observation(own, sheet, basis)))
        except InputError as error:
            why.append(error.what)
    out = replace(blank, shapes=tuple(shapes), observations=tuple(observations))
    return out if out.teaches else replace(out, why_not="; ".join(dict.fromkeys(why)))
