"""The exact sentences that a person sees and signs in the test cell."""

from __future__ import annotations

from spoolwright.crafts.testcell.visit.model import (
    AdjustmentMade,
    Exceeded,
    ModuleReopened,
    RunDisposed,
    RunsAssessed,
)
from spoolwright.crafts.testcell.visit.rules import words
from spoolwright.crafts.typefile.base import Amount


def adjustment_shown(made: AdjustmentMade) -> str:
    """What is signed for an adjustment."""
    parts = [f"Adjusted in run {made.run}" if made.at_s is not None else f"Adjusted after run {made.run}"]
    if made.at_s is not None:
        parts[0] += f" at {made.at_s:.0f} s"
    parts[0] += f": {words(made.what)}"
    if made.before and made.after:
        parts.append(f"from {_amount(made.before)} to {_amount(made.after)}")
    if made.plate_after:
        parts.append(f"data plate from '{made.plate_before}' to '{made.plate_after}'")
    document = f" To {made.document}." if made.document else ""
    return f"{', '.join(parts)}. Reason: {made.reason.rstrip('.')}.{document}"


def disposition_shown(made: RunDisposed, assessed: RunsAssessed) -> str:
    """What is signed for an acceptance or a rejection: the decision and the proposal it was made on."""
    runs = ", ".join(made.runs)
    cause = f" Cause: {made.cause.rstrip('.')}." if made.cause else ""
    remark = f" Remark: {made.remark.rstrip('.')}." if made.remark else ""
    return f"Run {runs} {made.decision}.{cause}{remark} Proposal it was decided on: {assessed.sentence}"


def acknowledgement_shown(exceeded: Exceeded) -> str:
    """What is signed for an exceedance."""
    return (
        f"Seen: {exceeded.sentence} {exceeded.source}. To be done: {exceeded.action} "
        "This clears nothing; the work owed from it stays open until it is done."
    )


def reopening_shown(made: ModuleReopened) -> str:
    """What is signed for a module to be opened again."""
    return (
        f"Module {words(made.module)} is opened again; the engine goes back to {made.back_to}. "
        f"Reason: {made.reason.rstrip('.')}."
    )


def _amount(amount: Amount) -> str:
    return f"{amount.value:g} {amount.unit}"
