"""The shop part of a type file: tables beside the test limits, in the folder NAME.shop, a file per craft.

Every figure names document, revision (through [[document]] of the type file) and paragraph.
"""

from __future__ import annotations

from pydantic import Field

from spoolwright.crafts.typefile.base import Identifier, Record, Source


class PartKind(Record):
    """A part of the bill of material."""

    id: Identifier
    name: str
    part_number: str
    alternates: tuple[str, ...] = Field(default=(), description="part numbers the document allows instead")
    module: Identifier
    quantity: int = Field(default=1, ge=1)
    serialised: bool = True
    shelf_life_days: int | None = Field(default=None, gt=0)
    source: Source


class ShopPart(Record):
    """Everything in the folder NAME.shop of a type."""

    part: tuple[PartKind, ...] = ()
