"""The matrix of owed work: what was done to the engine, and which tests, inspections, checks follow."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from spoolwright.crafts.typefile.base import Identifier, Record, Source
from spoolwright.crafts.typefile.shop.routes import SignerRole

What = Literal[
    "removed", "installed", "repaired", "replaced", "blended", "adjusted", "exceedance", "dropped", "reopened"
]  # fmt: skip


class OwedAfter(Record):
    """Events that owe something. 'removed' holds for what was removed only for access too: it was disturbed.

    `item` names module ids, part kinds, adjustments or limits; empty: everything of that kind of event.
    """

    what: tuple[What, ...] = Field(min_length=1)
    item: tuple[str, ...] = ()


class ClosedBy(Record):
    """What may stand as evidence: a signed (or checked) card step, an accepted run, a recorded look."""

    step: tuple[str, ...] = Field(default=(), description="CARD/STEP, signed, and checked where it is marked")
    run: tuple[Identifier, ...] = Field(default=(), description="limit sets whose accepted run is evidence")
    look: bool = Field(default=False, description="an inspection recorded for this very item")

    @model_validator(mode="after")
    def _something_closes_it(self) -> ClosedBy:
        if not (self.step or self.run or self.look):
            raise ValueError("nothing can close this: give `step`, `run` or `look`")
        return self


class OwedRule(Record):
    """One line of the matrix."""

    id: Identifier
    kind: Literal["test", "inspection", "check"]
    text: str
    after: tuple[OwedAfter, ...] = Field(min_length=1)
    closed_by: ClosedBy
    signed_by: SignerRole = "inspector"
    source: Source
