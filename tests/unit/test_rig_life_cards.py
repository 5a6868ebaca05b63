"""Invented cards are sound: proven, within the limits, and they end where the engine's counts do."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from shop.memory import MemoryShop, demonstration_type
from spoolwright.bootstrap.demo.fleet_lives import discs_of_the_fleet
from spoolwright.crafts.life.agreement import disagreements
from spoolwright.crafts.life.build import card_of, standing_of
from spoolwright.crafts.life.chain_checks import Present
from spoolwright.crafts.life.findings import Fault
from spoolwright.crafts.life.model import PartBorn
from spoolwright.crafts.life.rules import Verdict, judge_life
from spoolwright.crafts.visit.people import Role
from spoolwright.rig.life_cards import cards_of_engine, with_hidden_use

SHOP = demonstration_type().shop
ON = date(2026, 11, 25)


@pytest.mark.parametrize(("hours", "starts"), [("4120.5", 4804), ("310.0", 350), ("9800.3", 11020)])
def test_cards_of_an_engine_are_proven_and_within_their_limits(hours: str, starts: int) -> None:
    for seed in range(15):
        cards = cards_of_engine(SHOP, "H4402", hours=Decimal(hours), starts=starts, on=ON, seed=seed)
        assert len(cards) == sum(k.life_limited for k in SHOP.part)
        assert disagreements(x for c in cards for x in c.lines) == []
        for c in cards:
            now = Present("H4402", hours, str(starts))
            standing = judge_life(c.part_number, c.serial, c.born, c.lines, SHOP, ON, now)
            assert standing.verdict is Verdict.WITHIN, (seed, c.part_number, standing.ledger.findings)


def test_hidden_use_is_a_jump() -> None:
    cards = cards_of_engine(SHOP, "H4402", hours=Decimal(310), starts=350, on=ON, seed=1)
    c = with_hidden_use(next(c for c in cards if len(c.lines) > 1))
    standing = judge_life(c.part_number, c.serial, c.born, c.lines, SHOP, ON)
    assert [f.fault for f in standing.ledger.findings] == [Fault.JUMP]
    assert "118.5 hours that no line tells" in standing.ledger.findings[0].text


def test_a_part_at_its_limit_can_be_asked_for() -> None:
    cards = cards_of_engine(SHOP, "H4402", hours=Decimal(12000), starts=14000, on=ON, seed=2, used=1.2)
    verdicts = {judge_life(c.part_number, c.serial, c.born, c.lines, SHOP, ON).verdict for c in cards}
    assert verdicts <= {Verdict.WITHIN, Verdict.REACHED} and Verdict.REACHED in verdicts


def test_discs_of_the_demonstration_tell_the_limit_that_fell() -> None:
    """Nine discs outside the shop, all proven and within 11,500 cycles; three of them are over 8,800."""
    shop = MemoryShop()
    shop.hire("rex", "Rex Amsel", Role.RECORDS)
    desk = shop.desk("rex", datetime(2026, 5, 4, 12, 0, tzinfo=UTC))
    discs_of_the_fleet(desk)
    births = shop.records.current(PartBorn)
    assert len(births) == 9
    cards = [(e.body.serial, card_of(shop.records, e.body.part_number, e.body.serial)) for e in births]
    for day, over in ((date(2026, 2, 15), 0), (date(2026, 5, 4), 3)):
        verdicts = [standing_of("940-310-2", serial, card, SHOP, day).verdict for serial, card in cards]
        assert verdicts.count(Verdict.REACHED) == over
        assert verdicts.count(Verdict.WITHIN) == 9 - over
