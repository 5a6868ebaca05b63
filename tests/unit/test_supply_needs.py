"""Shortages against the build date, and lead times."""

from __future__ import annotations

import numpy as np
import pytest
import supply_shop as s

from shop.memory import MemoryShop
from spoolwright.crafts.supply import kitting, needs, stores
from spoolwright.crafts.supply.calc import lead_time_bound, least_deliveries
from spoolwright.crafts.supply.model import PartOrdered
from spoolwright.crafts.supply.needs import State, needs_of
from spoolwright.crafts.supply.open import need_sentence
from spoolwright.errors import InputError


@pytest.fixture
def shop() -> MemoryShop:
    shop = s.staffed()
    s.need(shop)
    kitting.plan_build(shop.desk("lou"), shop.folder("W100"), s.a_day(20))
    return shop


def order(number: str = "PO-1", **more: object) -> PartOrdered:
    told = {
        "number": number,
        "visit": "W100",
        "part": s.PART,
        "part_number": s.NUMBER,
        "quantity": 1,
        "supplier": "Ravenholt Parts",
        "ordered_on": s.a_day(-2),
    }
    return PartOrdered.model_validate(told | more)


def the_need(shop: MemoryShop):  # type: ignore[no-untyped-def]
    (found,) = needs_of(shop.folder("W100", s.DAY), shop.records)
    return found


@pytest.mark.parametrize(
    ("orders", "state"),
    [
        ([], State.NOT_ORDERED),
        ([{"visit": "W200", "promised_on": s.a_day(5)}], State.NOT_ORDERED),
        ([{"cancelled": True, "promised_on": s.a_day(5)}], State.NOT_ORDERED),
        ([{}], State.NO_DATE),
        ([{"promised_on": s.a_day(20)}], State.IN_TIME),
        ([{"promised_on": s.a_day(29)}], State.LATE),
    ],
)
def test_how_a_need_stands(shop: MemoryShop, orders: list[dict[str, object]], state: State) -> None:
    for more in orders:
        stores.record_order(shop.desk("lou"), order(**more))
    assert the_need(shop).state == state


def test_how_late_is_said_against_the_build_date(shop: MemoryShop) -> None:
    stores.record_order(shop.desk("lou"), order(promised_on=s.a_day(29)))
    assert need_sentence(the_need(shop)) == (
        "Centrifugal compressor impeller 940-212-4: 1 of 1 not kitted, on order, late, "
        "promised for 2026-06-02, 9 days after the build."
    )


def test_earlier_deliveries_say_that_a_promise_may_be_late(shop: MemoryShop) -> None:
    desk = shop.desk("lou")
    for n, days in enumerate((10, 20, 30, 60)):
        stores.record_order(
            desk, order(f"OLD-{n}", ordered_on=s.a_day(-200), arrived_on=s.a_day(-200 + days))
        )
    stores.record_order(desk, order(promised_on=s.a_day(10)))
    found = the_need(shop)
    assert (found.state, found.late_bound) == (State.MAY_BE_LATE, s.a_day(58))


def test_stock_in_quarantine_or_gone_before_the_build_does_not_count(shop: MemoryShop) -> None:
    stores.receive_stock(shop.desk("bo"), s.arrived(s.PART, s.NUMBER, "IM-1"))
    assert the_need(shop).state == State.NOT_ORDERED
    assert need_sentence(the_need(shop)).endswith("not ordered; 1 in quarantine.")
    s.accept(shop.desk("ida"), s.NUMBER, "IM-1")
    assert the_need(shop).state == State.IN_STORE
    s.kit(shop, s.PART, s.NUMBER, "IM-1")
    assert the_need(shop).state == State.KITTED


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"ordered_on": s.a_day(1)}, "ordered on 2026-05-05, after today"),
        ({"promised_on": s.a_day(-3)}, "before it was ordered"),
        ({"arrived_on": s.a_day(1)}, "arrived on 2026-05-05, after today"),
    ],
)
def test_dates_that_cannot_be_are_refused(shop: MemoryShop, more: dict[str, object], told: str) -> None:
    with pytest.raises(InputError, match=told):
        stores.record_order(shop.desk("lou"), order(**more))


@pytest.mark.parametrize("number", [4, 5, 9, 14, 24])
def test_the_lead_time_bound_holds_as_often_as_it_says(number: int) -> None:
    """The next is at most the k-th smallest with probability k / (n + 1): David and Nagaraja, chapter 3."""
    draws = np.random.default_rng(number).integers(1, 10**9, (4000, number + 1))
    kept = [row[number] <= (lead_time_bound(list(row[:number])) or 0) for row in draws.tolist()]
    rank = -(-8 * (number + 1) // 10)
    expected = rank / (number + 1)
    assert expected >= 0.8
    assert np.mean(kept) == pytest.approx(expected, abs=4 * (expected * (1 - expected) / 4000) ** 0.5)


def test_too_few_deliveries_give_no_bound() -> None:
    assert least_deliveries(0.8) == 4
    assert lead_time_bound([5, 6, 7]) is None
    assert lead_time_bound([5, 6, 7, 8], waited=6) is None
    assert lead_time_bound([5, 6, 7, 8, 9, 9], waited=5) == 9


def test_one_reading_of_the_whole_store_says_the_same_as_one_for_each_number(
    shop: MemoryShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    s.need(shop, s.SEAL, 3)
    s.in_store(shop, s.PART, "940-212-3", "IM-9")
    s.in_store(shop, s.SEAL, s.SEAL_NUMBER, "LOT-1", 2)
    stores.record_order(shop.desk("lou"), order(promised_on=s.a_day(29)))
    folder = shop.folder("W100", s.DAY)
    each = needs_of(folder, shop.records)
    monkeypatch.setattr(needs, "MANY", 0)
    assert needs_of(folder, shop.records) == each
    assert [len(n.stock) for n in each] == [1, 1]
