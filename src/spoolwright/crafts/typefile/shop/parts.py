"""The bill of material: which parts a type is built from, by part number, and what may stand in for each."""

from __future__ import annotations

from pydantic import Field

from spoolwright.crafts.typefile.base import Identifier, Record, Source


class PartKind(Record):
    """A part of the bill of material."""

    id: Identifier
    name: str
    part_number: str
    alternates: tuple[str, ...] = Field(default=(), description="part numbers the document allows instead")
    alternate_source: Source | None = Field(default=None, description="where the alternates are allowed")
    module: Identifier
    quantity: int = Field(default=1, ge=1)
    unit: str = Field(default="each", description="what is counted: each, m, ml")
    serialised: bool = True
    life_limited: bool = Field(default=False, description="its limit stands in lives.toml by part number")
    renewed_when_opened: bool = Field(default=False, description="new each time its module is opened")
    shelf_life_days: int | None = Field(default=None, gt=0, description="from the cure or filling date")
    source: Source
