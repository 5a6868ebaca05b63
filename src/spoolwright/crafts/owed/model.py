"""What people record about owed work."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field

from spoolwright.crafts.visit.entry import Attachment, Body


class OwedClosed(Body):
    """A person closed an owed item and named the evidence. Subject `visit/NUMBER/owed/KEY`.

    `done_seq` is the place in the chain where the evidence's work was first recorded: a later correction of
    the evidence does not make it younger.
    """

    kind: ClassVar[str] = "owed_closed"

    key: str
    evidence: str = Field(description="subject of the record that closes it")
    evidence_revision: int
    done_seq: int
    told: str = Field(description="the evidence in words, as it stood")
    remark: str = ""


class OwedLook(Body):
    """A look at what is owed, by an inspector. Subject `visit/NUMBER/owed/KEY/look/N`."""

    kind: ClassVar[str] = "owed_look"

    key: str
    found: str = Field(min_length=10)
    satisfactory: bool
    document: str = Field(min_length=3, description="document, revision and paragraph it was done to")
    files: tuple[Attachment, ...] = ()

    def proves(self) -> frozenset[str]:
        return frozenset({f"look:{self.key}"}) if self.satisfactory else frozenset()
