"""What should come with an engine: documents and accessories the receiving inspector looks for."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from spoolwright.crafts.typefile.base import Identifier, Record, Source


class ExpectedDocument(Record):
    """A document that should travel with an engine, or with each of its modules."""

    id: Identifier
    name: str
    per: Literal["engine", "module"] = "engine"
    needed_for_release: bool = Field(default=True, description="nothing can be released while it is absent")
    source: Source


class Accessory(Record):
    """What hangs on the engine and is often kept by the operator."""

    id: Identifier
    name: str
    part_number: str = ""
    source: Source
