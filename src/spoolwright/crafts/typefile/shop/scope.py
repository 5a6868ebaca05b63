"""What may be done about a part, what it takes, and what opening a module takes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Literal

from pydantic import Field, model_validator

from spoolwright.crafts.typefile.base import Identifier, Record, Source

OptionKind = Literal["keep", "repair", "replace", "exchange", "nozzle class"]


class Takes(Record):
    """Money, hours and days, as usually taken; `slow`: four of five take less."""

    money: float = Field(ge=0)
    hours: float = Field(default=0.0, ge=0, description="at the bench")
    hours_slow: float | None = Field(default=None, ge=0)
    wait_days: float = Field(default=0.0, ge=0, description="until the part is there")
    wait_days_slow: float | None = Field(default=None, ge=0)

    @model_validator(mode="after")
    def _slow_is_longer(self) -> Takes:
        for usual, slow in ((self.hours, self.hours_slow), (self.wait_days, self.wait_days_slow)):
            if slow is not None and (slow < usual or (usual == 0.0 and slow > 0.0)):
                raise ValueError(f"slow {slow:g} does not belong to usual {usual:g}")
        return self


class ScopeOption(Takes):
    """One way to deal with a part."""

    id: Identifier
    kind: OptionKind
    title: str
    life_h: float | None = Field(
        default=None, gt=0, description="hours the part may run afterwards; none: what its ledger leaves"
    )
    scrap_share: float = Field(default=0.0, ge=0, le=1, description="of such repairs that end in scrap")
    forecast: str = Field(default="", description="change of the build forecast whose effect it has")
    opens: tuple[Identifier, ...] | None = Field(
        default=None, description="modules; none: the part's own, nothing to keep"
    )
    cards: tuple[Identifier, ...] = ()
    needs: bool = Field(default=False, description="asks for the part from the store")
    source: Source | None = Field(default=None, description="document that allows the repair")


class ScopeItem(Record):
    """A part with the ways to deal with it."""

    part: Identifier = Field(description="id of the bill of material")
    title: str
    option: tuple[ScopeOption, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _options_are_told_apart(self) -> ScopeItem:
        if len({o.id for o in self.option}) < len(self.option):
            raise ValueError(f"'{self.part}': two options have the same id")
        for o in self.option:
            if o.kind == "repair" and o.source is None:
                raise ValueError(f"'{self.part}': repair '{o.id}' names no document; give `source`")
        return self


class ScopeOpening(Takes):
    """Opening a module, closing it again, what is renewed each time."""

    module: Identifier
    cards: tuple[Identifier, ...] = ()


class ScopeTerms(Record):
    """On what a quote stands."""

    currency: str
    visit_money: float = Field(ge=0, description="of a visit, whatever is done")
    visit_hours: float = Field(ge=0, description="receiving, test, release")
    hours_a_day: float = Field(gt=0, description="bench hours that a visit gets in a day")
    step_h: float = Field(gt=0, description="hours flown in a step of the plan over coming visits")
    steps: int = Field(ge=1, le=80)
    exclusions: tuple[str, ...] = ()
    valid_days: int = Field(default=30, ge=1)


def scope_twice(items: Iterable[ScopeItem], openings: Iterable[ScopeOpening]) -> Iterator[str]:
    """What stands twice."""
    for what, names in (("scope item", [i.part for i in items]), ("opening", [o.module for o in openings])):
        for name in sorted({n for n in names if names.count(n) > 1}):
            yield f"{what} '{name}' stands twice; keep one"
