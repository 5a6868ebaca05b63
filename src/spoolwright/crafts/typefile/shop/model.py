"""The shop part of a type file: tables beside the test limits, in the folder NAME.shop, a file per craft.

Every figure names document, revision (through [[document]] of the type file) and paragraph.
"""

from __future__ import annotations

from pydantic import model_validator

from spoolwright.crafts.typefile.base import Record
from spoolwright.crafts.typefile.shop.condition import ForecastCondition, condition_misnamed
from spoolwright.crafts.typefile.shop.inspection import DamageLimit, Dimension, InspectedPart, misnamed
from spoolwright.crafts.typefile.shop.lives import CycleAdvice, CycleKind, Directive, ExchangeTable, LifeLimit
from spoolwright.crafts.typefile.shop.overhaul import OverhaulSteps, OverhaulTest
from spoolwright.crafts.typefile.shop.owed import OwedRule
from spoolwright.crafts.typefile.shop.parts import PartKind as PartKind
from spoolwright.crafts.typefile.shop.power_check import PowerCheck
from spoolwright.crafts.typefile.shop.receiving import Accessory, ExpectedDocument
from spoolwright.crafts.typefile.shop.routes import RouteCard
from spoolwright.crafts.typefile.shop.scope import ScopeItem, ScopeOpening, ScopeTerms, scope_twice
from spoolwright.crafts.typefile.shop.section import Section


class ShopPart(Record):
    """Everything in the folder NAME.shop of a type."""

    part: tuple[PartKind, ...] = ()
    expected_document: tuple[ExpectedDocument, ...] = ()
    accessory: tuple[Accessory, ...] = ()
    life_limit: tuple[LifeLimit, ...] = ()
    cycle_kind: tuple[CycleKind, ...] = ()
    exchange_table: tuple[ExchangeTable, ...] = ()
    cycle_advice: tuple[CycleAdvice, ...] = ()
    directive: tuple[Directive, ...] = ()
    route_card: tuple[RouteCard, ...] = ()
    owed: tuple[OwedRule, ...] = ()
    overhaul: tuple[OverhaulSteps, ...] = ()
    overhaul_test: OverhaulTest | None = None
    power_check: PowerCheck | None = None
    section: Section | None = None
    inspected_part: tuple[InspectedPart, ...] = ()
    damage_limit: tuple[DamageLimit, ...] = ()
    dimension: tuple[Dimension, ...] = ()
    condition: ForecastCondition | None = None
    scope_terms: ScopeTerms | None = None
    scope_item: tuple[ScopeItem, ...] = ()
    scope_opening: tuple[ScopeOpening, ...] = ()

    @model_validator(mode="after")
    def _limits_name_what_is_there(self) -> ShopPart:
        for told in misnamed(self.inspected_part, self.damage_limit, self.dimension):
            raise ValueError(told)
        parts, dimensions = (x.id for x in self.inspected_part), (x.id for x in self.dimension)
        for told in condition_misnamed(self.condition, dimensions, parts):
            raise ValueError(told)
        for told in scope_twice(self.scope_item, self.scope_opening):
            raise ValueError(told)
        return self
