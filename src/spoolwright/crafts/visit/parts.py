"""Parts and modules as every craft names them: by number and serial, where fitted, what is needed."""

from __future__ import annotations

from datetime import date
from typing import Annotated, ClassVar
from urllib.parse import quote

from pydantic import Field

from spoolwright.crafts.typefile.base import Record
from spoolwright.crafts.visit.entry import Body

OnPlate = Annotated[str, Field(min_length=1, max_length=60, pattern=r"^\S(.*\S)?$")]
"""A number as it stands on the part's plate: kept as it is, never tidied."""


def segment(number: str) -> str:
    """A plate's number as a piece of a subject or a path: a slash in it does not split the subject."""
    return quote(number, safe="").replace(".", "%2E") if not number.strip(".") else quote(number, safe="")


def part_subject(part_number: str, serial: str, *more: str) -> str:
    """The subject of a part: `part/PN/SN/...`."""
    return "/".join(("part", segment(part_number), segment(serial), *more))


def engine_subject(serial: str, *more: str) -> str:
    """The subject of an engine: `engine/SERIAL/...`."""
    return "/".join(("engine", segment(serial), *more))


def module_subject(module: str, serial: str) -> str:
    """The subject of a module by its own serial: where it is, whichever engine holds it."""
    return "/".join(("module", segment(module), segment(serial)))


class Counts(Record):
    """Time on an engine or a module, as its papers say. What they do not say is absent, never zero."""

    hours_since_new: float | None = Field(default=None, ge=0)
    cycles_since_new: float | None = Field(default=None, ge=0)
    starts_since_new: float | None = Field(default=None, ge=0)
    hours_since_overhaul: float | None = Field(default=None, ge=0)
    cycles_since_overhaul: float | None = Field(default=None, ge=0)
    starts_since_overhaul: float | None = Field(default=None, ge=0)


class ModuleFitted(Body):
    """Where a module is. Subjects `engine/SERIAL/module/ID` and `module/ID/SERIAL`, written together."""

    kind: ClassVar[str] = "module_fitted"

    engine_serial: OnPlate
    module: str
    serial: OnPlate
    visit: str
    on: date
    counts: Counts = Counts()
    withdrawn: bool = Field(default=False, description="its plate was misread: it never was there")


class PartFitted(Body):
    """Where a part by serial is. Subject `part/PN/SN/fit`.

    Its first revision is the birth of the record; a later one says where it went. `engine_serial` is empty
    once it was taken off; `state` then says what became of it.
    """

    kind: ClassVar[str] = "part_fitted"

    part: str = Field(description="id of the bill of material")
    part_number: OnPlate
    serial: OnPlate
    module: str
    engine_serial: str = ""
    module_serial: str = ""
    position: str = ""
    on: date
    state: str = ""


class PartNeeded(Body):
    """A part that a visit needs. Subject `visit/NUMBER/supply/need/N...`; written by any craft."""

    kind: ClassVar[str] = "part_needed"

    part: str = Field(description="id of the bill of material")
    quantity: int = Field(default=1, ge=1)
    module: str = ""
    why: str = Field(min_length=1, description="finding, scope line or card that asks for it")
    asked_by: str = Field(default="supply", description="the craft that asked")
    withdrawn: bool = False
