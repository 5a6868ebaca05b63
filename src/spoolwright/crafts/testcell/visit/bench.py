"""The newest block of an engine's runs, reduced: what the engine is carried from the bench with."""

from __future__ import annotations

from collections.abc import Sequence

from spoolwright.crafts.testcell.acceptance.contents import read_run
from spoolwright.crafts.testcell.performance.block import BlockReduction, reduce_block
from spoolwright.crafts.testcell.performance.usable import why_not_usable
from spoolwright.crafts.testcell.service import Doubts, TypeInForce, VisitRun, no_doubts, one_engine
from spoolwright.errors import InputError


def bench_reduction(
    runs: Sequence[VisitRun], kind: TypeInForce, doubts: Doubts = no_doubts
) -> BlockReduction:
    """The usable points of the last run, after its last adjustment, against the model.

    Raises
    ------
    InputError
        The run holds no usable point, or cannot be compared with the model; the text tells why.
    """
    last = one_engine(runs)[-1]
    found = list(doubts(last.recording, last.sheet, kind.type_file))
    contents = read_run(last.recording, last.sheet, kind.type_file, findings=found, first_block=0)
    points = [p for p in contents.points if p.block == contents.last_block]
    reasons = {p.id: why_not_usable(p, points, kind.basis) for p in points}
    usable = [p for p in points if not reasons[p.id]]
    mend = "Use a run with steady performance points, its doubts settled."
    if not usable:
        told = "; ".join(dict.fromkeys(r for rs in reasons.values() for r in rs)) or "there is none"
        raise InputError(f"run {last.sheet.run} has no usable performance point: {told}.", mend=mend)
    reduction = reduce_block(contents.last_block, usable, {last.sheet.run: last.sheet}, kind.basis)
    if reduction.model is None:
        told = reduction.model_untold
        raise InputError(f"run {last.sheet.run} cannot be compared with the model: {told}.", mend=mend)
    return reduction
