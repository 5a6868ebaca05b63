"""What is inspected and by which limits: stages and parts with their zones, damage limits, dimensions."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field, model_validator

from spoolwright.crafts.typefile.base import Identifier, Record, Source

LengthUnit = Literal["mm", "in"]
Printed = Annotated[str, Field(pattern=r"^\d{1,6}(\.\d{1,6})?$")]
"""A length or count as the document prints it: comparisons stay exact."""


class Damage(StrEnum):
    """What a finding is, in the trade's words."""

    NICK = "nick"
    DENT = "dent"
    SCRATCH = "scratch"
    GOUGE = "gouge"
    TEAR = "tear"
    TIP_CURL = "tip curl"
    BEND = "bend"
    EROSION = "erosion"
    PITTING = "pitting"
    CORROSION = "corrosion"
    BURN = "burn"
    CRACK = "crack"
    COATING_LOSS = "coating loss"
    MISSING_METAL = "missing metal"
    RUB = "rub"
    FRETTING = "fretting"
    SPALLING = "spalling"
    WEAR = "wear"


class OutlineKind(StrEnum):
    """How a part is drawn."""

    BLADES = "bladed stage"
    INTEGRAL = "integral bladed disk"
    IMPELLER = "impeller"
    DISK = "disk"
    VANES = "vanes"
    NOZZLE = "nozzle"
    LINER = "combustor liner"
    SHAFT = "shaft"
    GEARS = "gears"
    BEARING = "bearing"
    CASING = "casing"


class InspectionZone(Record):
    """A part of the outline for which limits hold."""

    id: Identifier
    name: str
    key: str = Field(
        default="", pattern=r"^[a-z0-9]{0,4}$", description="typed for it; its id where left out"
    )
    side: Literal[
        "leading edge", "trailing edge", "tip", "pressure side", "suction side", "fillet", "platform", "root",
        "bore", "slot", "rim", "web", "spline", "surface",
    ]  # fmt: skip
    span_from: float = Field(default=0.0, ge=0, le=1)
    span_to: float = Field(default=1.0, ge=0, le=1)


class AirfoilSection(Record):
    """The airfoil at a station of the span."""

    at: float = Field(ge=0, le=1)
    chord_mm: float = Field(gt=0)
    thickness_mm: float = Field(gt=0)
    angle_deg: float = Field(description="of the chord from the engine's axis")
    camber_deg: float = 0.0


class NaturalMode(Record):
    """A blade's natural frequency as the documents state it."""

    name: str
    kind: Literal["bending", "torsion"]
    number: int = Field(ge=1)
    frequency_hz: float = Field(gt=0)
    speed_rpm: float = Field(ge=0)
    source: Source


class EngineOrder(Record):
    """What excites a blade a whole number of times in a turn."""

    order: int = Field(ge=1)
    cause: str


class Airfoil(Record):
    """What a blend needs to know of a blade."""

    span_mm: float = Field(gt=0)
    root_radius_mm: float = Field(gt=0)
    section: tuple[AirfoilSection, ...] = Field(min_length=2)
    density: float = Field(gt=0, description="kg/m³")
    elastic_modulus: float = Field(gt=0, description="Pa")
    shear_modulus: float = Field(gt=0, description="Pa")
    ultimate_strength: float | None = Field(default=None, gt=0, description="Pa")
    endurance_range: float | None = Field(default=None, gt=0, description="smooth, Pa")
    threshold_range: float | None = Field(default=None, gt=0, description="long cracks, Pa·m^0.5")
    steel: bool = Field(default=False, description="Peterson's length is known for steels only")
    speed_rpm: tuple[float, float] = Field(description="running range of the rotor")
    mode: tuple[NaturalMode, ...] = ()
    engine_order: tuple[EngineOrder, ...] = ()
    order_margin: float = Field(default=0.05, gt=0, lt=0.5, description="kept from an engine order")
    unbalance_g_mm: float | None = Field(default=None, gt=0, description="the stage may take by blends")
    source: Source


NUMBERED = frozenset(
    {
        "leading edge",
        "trailing edge",
        "tip",
        "pressure side",
        "suction side",
        "fillet",
        "platform",
        "root",
        "slot",
    }
)
"""Sides of which each blade, vane or slot has its own."""


class InspectedPart(Record):
    """A stage or part as it is inspected."""

    id: Identifier
    name: str
    module: Identifier
    part: Identifier = Field(description="id in the bill of material")
    outline: OutlineKind
    count: int = Field(default=1, ge=1, description="blades, vanes, slots, teeth")
    numbered: str = Field(default="blade", description="what is counted")
    view: Literal["looking aft", "looking forward"]
    numbering: str = Field(description="from which mark and in which sense")
    sense: Literal["clockwise", "anticlockwise"] = Field(
        default="clockwise", description="in which the numbers rise, seen so"
    )
    zone: tuple[InspectionZone, ...] = Field(min_length=1)
    airfoil: Airfoil | None = None
    source: Source


_BOUNDS = (
    "depth_max", "length_max", "width_max", "fillet_distance_min", "spacing_min", "per_blade_max",
    "blades_max", "remaining_thickness_min",
)  # fmt: skip


class DamageLimit(Record):
    """A line of the limits: what may stay, what may be blended, what goes.

    A bound that is left out does not limit. `unit` holds for every length of the line.
    """

    id: Identifier
    part: Identifier
    zone: tuple[Identifier, ...] = Field(default=(), description="all zones when left out")
    damage: tuple[Damage, ...] = Field(min_length=1)
    allows: Literal["as is", "blend", "nothing"]
    unit: LengthUnit = "mm"
    depth_max: Printed | None = Field(default=None, description="as found")
    depth_after_max: Printed | None = Field(
        default=None, description="after the blend, earlier blends included"
    )
    length_max: Printed | None = Field(
        default=None, description="of the damage as it is, of the blend after it"
    )
    width_max: Printed | None = None
    radius_min: Printed | None = Field(default=None, description="of the blend")
    length_to_depth_min: Printed | None = Field(default=None, description="of the blend")
    allowance: Printed = Field(default="0", description="that a blend goes below the visible bottom")
    fillet_distance_min: Printed | None = None
    spacing_min: Printed | None = Field(default=None, description="between two on one blade, edge to edge")
    per_blade_max: int | None = Field(default=None, ge=1)
    blades_max: int | None = Field(default=None, ge=1)
    adjacent: bool = Field(default=True, description="false: not on blades next to each other")
    remaining_chord_min: Printed | None = None
    remaining_thickness_min: Printed | None = None
    source: Source

    @model_validator(mode="after")
    def _fits_what_it_allows(self) -> DamageLimit:
        after = (self.depth_after_max, self.radius_min, self.length_to_depth_min, self.remaining_chord_min)
        bounds = [n for n in _BOUNDS if getattr(self, n) is not None] + ["adjacent"] * (not self.adjacent)
        if self.allows == "nothing" and bounds:
            raise ValueError(
                f"'{self.id}' allows nothing, so a bound means nothing there: {', '.join(bounds)}"
            )
        if self.allows != "blend" and any(x is not None for x in after):
            raise ValueError(f"'{self.id}' bounds a blend but allows {self.allows}")
        if self.allows == "blend" and self.depth_after_max is None and self.remaining_chord_min is None:
            raise ValueError(f"'{self.id}' allows a blend of any depth; bound it")
        return self


class Dimension(Record):
    """A dimension that is measured: a fit, clearance, runout, area, wear."""

    id: Identifier
    name: str
    part: Identifier
    unit: str
    new_min: Printed | None = None
    new_max: Printed | None = None
    service_min: Printed | None = None
    service_max: Printed | None = None
    source: Source


def misnamed(
    parts: Iterable[InspectedPart], limits: Iterable[DamageLimit], dimensions: Iterable[Dimension]
) -> Iterator[str]:
    """What a limit or dimension names that is not there: it would never hold for anything."""
    zones = {p.id: {z.id for z in p.zone} for p in parts}
    for name, part in [(x.id, x.part) for x in limits] + [(x.id, x.part) for x in dimensions]:
        if part not in zones:
            yield f"'{name}' is of '{part}', which is no inspected part"
    for limit in limits:
        for zone in set(limit.zone) - zones.get(limit.part, set(limit.zone)):
            yield f"'{limit.id}' holds for zone '{zone}', which '{limit.part}' does not have"
