"""Tools and loose items: a closure waits until everything that went out is back, or a search is signed."""

from __future__ import annotations

import pytest
from carded_shop import CardedShop
from hypothesis import given, settings
from hypothesis import strategies as st

from spoolwright.crafts.cards import tools
from spoolwright.crafts.cards.open import open_items
from spoolwright.crafts.cards.rules import NotYetError
from spoolwright.crafts.visit.people import NotEntitledError


def ready_to_close() -> CardedShop:
    c = CardedShop()
    c.first_step()
    c.second_step()
    c.read("ada", "look", "loss", "3", "um", "")
    c.sign("ada", "look")
    return c


def test_no_closure_without_a_count_even_when_nothing_went_out() -> None:
    c = ready_to_close()
    with pytest.raises(NotYetError, match="not counted"):
        c.sign("ada", "close")
    c.count("ada")
    c.sign("ada", "close")
    assert "0 out, 0 back" in c.card.steps[3].signed.signature.shown  # type: ignore[union-attr]


def test_a_difference_holds_the_closure_until_it_is_found() -> None:
    c = ready_to_close()
    c.move("ada", "socket 11 mm", "out", 2)
    c.move("ada", "flange bolt", "out", 12)
    c.move("ada", "flange bolt", "in", 12)
    c.move("ben", "socket 11 mm", "in", 1)
    with pytest.raises(NotYetError, match="socket 11 mm: 2 went out, 1 came back, 1 missing"):
        c.count("ada")
    assert any("socket 11 mm" in i.text for i in open_items(c.shop.folder(c.visit)))
    c.move("ada", "socket 11 mm", "in", 1)
    c.count("ada")
    c.move("ada", "torch", "out", 1)
    with pytest.raises(NotYetError, match="not counted"):
        c.sign("ada", "close")
    c.move("ada", "torch", "in", 1)
    c.count("ada")
    c.sign("ada", "close")


def test_more_back_than_out_holds_it_too() -> None:
    c = ready_to_close()
    c.move("ada", "rag", "in", 1)
    with pytest.raises(NotYetError, match="0 went out but 1 came back"):
        c.count("ada")


def test_the_lead_signs_a_search_and_a_later_movement_ends_it() -> None:
    c = ready_to_close()
    c.move("ada", "drill bit 2 mm", "out", 1)
    lead = c.desk("lena")
    words = "Borescope of all spaces, magnet in the sump: not found, swept the bench."
    with pytest.raises(NotEntitledError):
        tools.sign_search(c.desk("ada"), c.visit, "hot_section", "drill bit 2 mm", words, "x", "k1")
    with pytest.raises(NotYetError, match="nothing of 'hammer' is missing"):
        tools.sign_search(lead, c.visit, "hot_section", "hammer", words, "x", "k2")
    tools.sign_search(lead, c.visit, "hot_section", "drill bit 2 mm", words, "x", "k3")
    c.count("ada")
    c.move("ada", "drill bit 2 mm", "out", 1)
    with pytest.raises(NotYetError, match="2 went out, 0 came back, 2 missing"):
        c.count("ada")


def test_a_signed_closure_names_what_is_missing() -> None:
    c = ready_to_close()
    c.move("ada", "washer", "out", 1)
    words = "Borescope of all spaces, magnet in the sump: not found."
    tools.sign_search(c.desk("lena"), c.visit, "hot_section", "washer", words, "x", "k3")
    c.count("ada")
    c.sign("ada", "close")
    assert "1 'washer' missing, search signed" in c.card.steps[3].signed.signature.shown  # type: ignore[union-attr]


@settings(max_examples=40)
@given(
    st.lists(
        st.tuples(st.sampled_from("abc"), st.sampled_from(("out", "in")), st.integers(1, 3)), max_size=12
    )
)
def test_a_count_is_signed_exactly_when_every_item_balances(moves: list[tuple[str, str, int]]) -> None:
    c = ready_to_close()
    balance = dict.fromkeys("abc", 0)
    for item, direction, number in moves:
        c.move("ada", f"tool {item}", direction, number)
        balance[item] += number if direction == "out" else -number
    if any(balance.values()):
        with pytest.raises(NotYetError):
            c.count("ada")
    else:
        c.count("ada")
        assert c.card.steps[3].counted is not None
