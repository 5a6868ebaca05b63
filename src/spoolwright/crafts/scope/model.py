"""What the lead records about the scope of a visit."""

from __future__ import annotations

from datetime import date
from typing import ClassVar

from pydantic import Field

from spoolwright.crafts.typefile.base import Identifier, Record
from spoolwright.crafts.typefile.shop.scope import OptionKind
from spoolwright.crafts.visit.entry import Body, Calculation


class ScopeAsked(Body):
    """What the scope must give. Subject `visit/NUMBER/scope/asked`."""

    kind: ClassVar[str] = "scope_asked"

    begin_on: date = Field(description="first day at the bench")
    least_life_h: float = Field(ge=0, description="hours that every part must run after the visit")
    must_open: tuple[Identifier, ...] = Field(default=(), description="modules that are opened anyway")
    wish: str = Field(default="", description="the customer's wish, in words")


class ScopeLine(Record):
    """What is done about a part."""

    part: Identifier
    title: str
    option: Identifier
    work: str
    kind: OptionKind
    money: float
    hours: float
    wait_days: float
    life_h: float | None = None
    because: tuple[str, ...] = ()


class Alternative(Record):
    """A scope with what it takes and gives."""

    lines: tuple[ScopeLine, ...]
    opened: tuple[Identifier, ...]
    money: float
    hours: float
    days_50: float
    days_80: float
    life_h: float | None = Field(
        description="least that a part may run afterwards; none: no part has a limit"
    )
    passing: float | None = Field(description="to pass the first test; none: no forecast in the visit")
    margin: float | None = Field(description="least margin, in standard uncertainties")
    gives_up: str = ""


class ScopeChosen(Body):
    """The scope that the lead signed, with the quote. Subject `visit/NUMBER/scope/chosen`."""

    kind: ClassVar[str] = "scope_chosen"

    chosen: Alternative
    others: tuple[Alternative, ...]
    currency: str
    begin_on: date
    promised_on: date
    valid_until: date
    exclusions: tuple[str, ...]
    open: tuple[str, ...] = Field(default=(), description="what was not known when it was signed")
    cards: tuple[Identifier, ...] = Field(default=(), description="route cards for the lead to issue")
    remark: str = ""
    calculation: Calculation
