"""Route cards: the steps in which a module is taken apart, looked at, built, tested and let go."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from spoolwright.crafts.typefile.base import Identifier, Record, Source

SignerRole = Literal[
    "lead", "inspector", "NDI level 1", "NDI level 2", "NDI level 3", "builder", "test operator",
    "certifying staff", "records",
]  # fmt: skip
"""The roles of the shop by the words under which people hold them."""


class Caution(Record):
    """What can hurt people or parts at a step, and where it is said."""

    text: str
    source: str = Field(min_length=1, description="document and paragraph, or 'common practice'")


class Measure(Record):
    """A value that is taken at a step."""

    id: Identifier
    name: str
    unit: str
    min: float | None = None
    max: float | None = None
    source: Source | None = Field(default=None, description="where the limit stands; none without a limit")
    instrument: str = Field(description="kind of gauge or tool it is taken with; empty: read on the engine")
    must_meet: bool = Field(
        default=False, description="set by the work itself (a torque, a shim): not done until it meets"
    )

    @property
    def limited(self) -> bool:
        return self.min is not None or self.max is not None

    @model_validator(mode="after")
    def _limit_has_a_source(self) -> Measure:
        if self.limited and self.source is None:
            raise ValueError(f"the limit of '{self.id}' names no document and paragraph; give `source`")
        if self.min is not None and self.max is not None and self.min > self.max:
            raise ValueError(f"'{self.id}': min {self.min:g} is above max {self.max:g}")
        if self.must_meet and not self.limited:
            raise ValueError(f"'{self.id}' must meet a limit but names none")
        return self


class StepEvent(Record):
    """What signing a step says was done to the engine."""

    what: Literal["removed", "removed_for_access", "installed", "repaired", "replaced", "blended", "adjusted"]
    item: Identifier = Field(description="a module, a part kind or an adjustment")


class CardStep(Record):
    """One step of a card."""

    id: Identifier
    text: str
    source: Source
    caution: tuple[Caution, ...] = ()
    measure: tuple[Measure, ...] = ()
    signed_by: SignerRole = "builder"
    only_chance: bool = Field(default=False, description="cannot be taken once later steps are done")
    independent_check: bool = Field(default=False, description="another person checks before the next step")
    checked_by: SignerRole = "inspector"
    closure: bool = Field(default=False, description="closes a space: tools are counted first")
    event: tuple[StepEvent, ...] = ()

    @model_validator(mode="after")
    def _measures_are_told_apart(self) -> CardStep:
        names = [m.id for m in self.measure]
        if len(set(names)) < len(names):
            raise ValueError(f"step '{self.id}': two measures have the same id")
        return self


class RouteCard(Record):
    """A card: steps on one module (or, without one, on the whole engine) for one stage of the work."""

    id: Identifier
    revision: str = Field(min_length=1)
    title: str
    stage: Literal["teardown", "inspection", "build", "test rig", "release"]
    module: str = ""
    any_order: bool = Field(default=False, description="steps may be done in any order")
    calls_for: tuple[Identifier, ...] = Field(default=(), description="cards that must follow this one")
    source: Source
    step: tuple[CardStep, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _steps_are_told_apart(self) -> RouteCard:
        names = [s.id for s in self.step]
        if len(set(names)) < len(names):
            raise ValueError(f"card '{self.id}': two steps have the same id")
        return self
