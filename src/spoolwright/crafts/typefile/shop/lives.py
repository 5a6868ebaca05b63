"""Lives: limits of life-limited parts, the manual's exchange rates for cycles, directives and bulletins.

Figures that a life is added up from are texts, exactly as the document prints them: sums stay exact.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from spoolwright.crafts.typefile.base import Identifier, Record, Source

Printed = Annotated[str, Field(pattern=r"^\d{1,9}(\.\d{1,6})?$")]
"""A figure as the document prints it."""

Measure = Literal["hours", "cycles", "starts"]


class LifeLimit(Record):
    """The life of a part number in one measure, from a day on; a later one for the same part replaces it."""

    part_number: str
    measure: Measure
    limit: Printed
    revision: str = Field(min_length=1, description="revision of the document that set it")
    effective: date
    source: Source


class CycleKind(Record):
    """A kind of cycle that the manual counts."""

    id: Identifier
    name: str
    meaning: str
    is_start: bool = Field(default=False, description="the engine's own count of starts counts these")
    source: Source


class ClassRates(Record):
    """Exchange rates of one operating class: full cycles for one cycle of each kind."""

    operating_class: str = Field(min_length=1)
    rates: dict[str, Printed]


class ExchangeTable(Record):
    """Exchange rates of some part numbers, in force from a day until the next table for the same part."""

    version: str = Field(min_length=1)
    part_numbers: tuple[str, ...] = Field(min_length=1)
    effective: date
    classes: tuple[ClassRates, ...] = Field(min_length=1)
    source: Source


class CycleAdvice(Record):
    """How cycles of a recorded speed are weighed beside the manual's count; they never enter a total."""

    module: Identifier
    channel: Identifier
    full_speed_rpm: float = Field(gt=0)
    slope: float = Field(gt=0, description="exponent of life against stress range")
    least_swing_rpm: float = Field(gt=0, description="smaller swings are noise")
    source: Source


class SerialRange(Record):
    """Serials from first to last: the same letters before the number, both ends included."""

    first: str
    last: str


class Directive(Record):
    """An airworthiness directive or a bulletin of the type: what it asks, of which, and until when.

    `before_hours` and `before_cycles` are since new. A revision that is not named in `accepts` opens it
    again for whoever complied with that revision.
    """

    id: str = Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9.-]{0,39}$")
    title: str
    kind: Literal["directive", "bulletin"] = "directive"
    mandatory: bool = True
    revision: str
    accepts: tuple[str, ...] = Field(default=(), description="earlier revisions whose compliance still holds")
    effective: date
    applies_to: Literal["engine", "part"] = "engine"
    part_numbers: tuple[str, ...] = ()
    serials: tuple[SerialRange, ...] = ()
    at_shop_visit: bool = Field(default=False, description="due at the next shop visit")
    due_on: date | None = None
    before_hours: Printed | None = None
    before_cycles: Printed | None = None
    every_hours: Printed | None = None
    every_cycles: Printed | None = None
    every_days: int | None = Field(default=None, gt=0)
    asks: str
    source: Source
