"""What the how-to page of route cards shows is read, and its table of keys is that of the schema."""

from __future__ import annotations

import tomllib

from documentation import blocks, page, table

from spoolwright.crafts.owed.rules import matches
from spoolwright.crafts.typefile.shop.model import ShopPart
from spoolwright.crafts.typefile.shop.routes import CardStep, Measure
from spoolwright.crafts.visit.model import WorkEvent

PAGE = page("how-to/route-cards.md")


def test_the_card_and_the_matrix_of_the_page_are_read_and_fit() -> None:
    card, matrix = blocks(PAGE, "toml")
    shop = ShopPart.model_validate(tomllib.loads(card) | tomllib.loads(matrix))
    (step, off) = shop.route_card[0].step
    assert step.only_chance and step.measure[0].min == 0.4
    event = off.event[0]
    assert matches(shop.owed[0], WorkEvent(what=event.what, item=event.item))
    assert matches(shop.owed[0], WorkEvent(what="removed_for_access", item="air_inlet"))
    assert not matches(shop.owed[0], WorkEvent(what="removed", item="compressor"))


def test_the_keys_of_the_page_exist() -> None:
    told = {word for row in table(PAGE, "Write a card") for word in row[0].split("`")[1::2]}
    assert told <= set(CardStep.model_fields) | set(Measure.model_fields)
    flags = {n for n, f in CardStep.model_fields.items() if f.annotation is bool}
    assert flags <= told
