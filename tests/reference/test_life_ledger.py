"""Ledgers against lives whose errors were planted: the plan says what is to be seen (life_planting.py).

A slice of `make prove ONLY=life`.
"""

from __future__ import annotations

import random
from decimal import Decimal
from fractions import Fraction

import pytest
from life_building import life
from life_planting import PLANTINGS, number, planted, several
from life_reading import read, seen_by

EACH = 8
SOUND = 150


@pytest.mark.parametrize("kind", PLANTINGS)
def test_each_planted_error_is_seen_and_nothing_else(kind: str) -> None:
    for seed in range(EACH):
        card, plan = planted(kind, seed)
        assert seen_by(read(card)) == plan, f"{kind} {seed}: {card.rows}"


def test_several_errors_on_one_card() -> None:
    for seed in range(40):
        card, plan = several(seed)
        assert seen_by(read(card)) == plan, f"{seed}: {card.rows}"


def test_a_sound_life_is_proven_and_adds_up_to_the_last_digit() -> None:
    for seed in range(SOUND):
        card = life(random.Random(f"sound {seed}"))
        ledger = read(card)
        assert (seen_by(ledger), ledger.proven) == (set(), True), card.rows
        cycles = sum(
            (number(x["part_cycles_off"]) - number(x["part_cycles_on"]) for x in card.lines), Decimal(0)
        )
        assert ledger.totals["cycles"] == Fraction(cycles)
        if card.style == "tenths":
            hours = sum(
                (number(x["engine_hours_off"]) - number(x["engine_hours_on"]) for x in card.lines), Decimal(0)
            )
            assert ledger.totals["hours"] == Fraction(hours)
