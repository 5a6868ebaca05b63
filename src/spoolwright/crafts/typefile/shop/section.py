"""The engine's longitudinal section: what is drawn, module by module; the drawing is the way in."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from spoolwright.crafts.typefile.base import Identifier, Record, Source

Point = tuple[float, Annotated[float, Field(ge=0)]]
"""Axial place from the front of the engine and radius from its centre line, both in mm."""
Half = Literal["both", "upper", "lower"]


class SectionPart(Record):
    """A part in the drawing."""

    name: str
    kind: Literal["casing", "disc", "shaft", "blade", "vane", "liner", "gear", "line"]
    points_mm: tuple[Point, ...] = Field(min_length=2)
    half: Half = Field(default="both", description="on which side of the centre line it is drawn")
    smooth: bool = Field(default=False, description="a curve through the points instead of straight lines")
    turns: bool = Field(default=False, description="it turns with a rotor")


class SectionModule(Record):
    """A module in the drawing: the outline that is touched, and its parts."""

    module: Identifier
    outline_mm: tuple[Point, ...] = Field(min_length=3)
    below_mm: tuple[Point, ...] = Field(
        default=(), description="outline below the centre line, where it differs"
    )
    part: tuple[SectionPart, ...] = ()


class Section(Record):
    """The longitudinal section of a type."""

    title: str
    viewed: str = Field(description="from where it is seen, and which end is the front")
    length_mm: float = Field(gt=0)
    radius_mm: float = Field(gt=0)
    below_mm: float = Field(gt=0, description="how far it reaches below the centre line")
    module: tuple[SectionModule, ...]
    source: Source
