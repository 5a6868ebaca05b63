"""Steps of a card: order, readings, gauges, torque, what can only be taken now, corrections, events."""

from __future__ import annotations

import pytest
from carded_shop import CardedShop, small_card

from spoolwright.crafts.cards import hand, service
from spoolwright.crafts.cards.model import ReadingTaken, StepSigned
from spoolwright.crafts.cards.open import open_items
from spoolwright.crafts.cards.rules import NotYetError
from spoolwright.crafts.cards.service import Read
from spoolwright.crafts.visit.entry import ConflictError, Meaning
from spoolwright.crafts.visit.model import WorkEvent
from spoolwright.crafts.visit.people import NotEntitledError
from spoolwright.errors import InputError


def step(c: CardedShop, name: str) -> object:
    return c.card.step(name)


def test_nothing_is_recorded_on_a_card_that_is_not_in_hand() -> None:
    c = CardedShop()
    with pytest.raises(NotYetError, match="nobody has this card in hand"):
        c.read("ada", "clearance", "gap", "0.35", "mm", "G1")
    hand.take_card(c.desk("ada"), c.ref)
    with pytest.raises(NotYetError, match="Ada Lund has this card in hand"):
        c.read("ben", "clearance", "gap", "0.35", "mm", "G1")
    with pytest.raises(NotYetError, match="Ada Lund has this card in hand"):
        hand.take_card(c.desk("ben"), c.ref)


def test_steps_come_in_their_order() -> None:
    c = CardedShop()
    hand.take_card(c.desk("ada"), c.ref)
    with pytest.raises(NotYetError, match="step 1 can only be done now"):
        c.read("ada", "torque", "nut", "22", "N m", "W1")
    c.read("ada", "clearance", "gap", "0.35", "mm", "G1")
    c.sign("ada", "clearance")
    with pytest.raises(NotYetError, match="step 2 is not signed"):
        c.sign("ada", "look")
    assert c.card.next is not None and c.card.next.step.id == "torque"


def test_a_free_card_lets_the_order_go_but_not_what_can_only_be_taken_now_nor_the_closure() -> None:
    free = small_card().model_copy(update={"any_order": True})
    c = CardedShop(free)
    hand.take_card(c.desk("ada"), c.ref)
    with pytest.raises(NotYetError, match="step 1 can only be done now"):
        c.read("ada", "look", "loss", "12", "um", "")
    c.read("ada", "clearance", "gap", "0.35", "mm", "G1")
    c.sign("ada", "clearance")
    c.read("ada", "look", "loss", "12", "um", "")
    c.sign("ada", "look")
    c.count("ada")
    with pytest.raises(NotYetError, match="step 2 is not signed"):
        c.sign("ada", "close")


def test_a_step_is_signed_with_its_readings_in_words() -> None:
    c = CardedShop()
    c.first_step()
    signed = c.card.steps[0].signed
    assert signed is not None and signed.signature is not None
    revision = {d.id: d.revision for d in c.shop.types.of("").type_file.document}["OM-940"]
    told = (
        "Gap: 0.35 mm (0.01378 in), feeler G1, in date until 2026-12-01: "
        f"reading meets limit 0.3 to 0.5 mm (OM-940 revision {revision}, 72-40, 5)"
    )
    assert signed.body.readings == (told,)
    assert told in signed.signature.shown
    assert "step 1 of 4" in signed.signature.shown and "C940-117" in signed.signature.shown
    assert signed.signature.meaning == Meaning.DID


def test_a_value_outside_its_limit_is_recorded_and_waits_for_a_disposition() -> None:
    c = CardedShop()
    hand.take_card(c.desk("ada"), c.ref)
    c.read("ada", "clearance", "gap", "0.55", "mm", "G1")
    c.sign("ada", "clearance")
    assert any("does not meet limit" in i.text for i in open_items(c.shop.folder(c.visit)))
    with pytest.raises(NotEntitledError):
        service.dispose_reading(c.desk("ada"), c.ref, "clearance", "gap", "x", "use as it is", "ER 12")
    service.dispose_reading(
        c.desk("lena"), c.ref, "clearance", "gap", "x", "Shroud ground to the next size.", "ER-2026-12"
    )
    assert not any("does not meet limit" in i.text for i in open_items(c.shop.folder(c.visit)))
    assert c.card.steps[0].signed.body.proves() == frozenset()  # type: ignore[union-attr]


def test_no_limit_no_verdict_refer_to_engineering() -> None:
    c = CardedShop()
    c.first_step()
    c.second_step()
    c.read("ada", "look", "loss", "12", "um", "")
    c.sign("ada", "look")
    (item,) = [i for i in open_items(c.shop.folder(c.visit)) if "Coating loss" in i.text]
    assert "no limit is given, no verdict: refer to engineering" in item.text


def test_a_torque_outside_its_limit_cannot_be_signed() -> None:
    c = CardedShop()
    c.first_step()
    c.read("ada", "torque", "nut", "24.5", "N m", "W1")
    with pytest.raises(NotYetError, match=r"Nut: 24\.5 N·m does not meet its limit"):
        c.sign("ada", "torque")
    c.read("ada", "torque", "nut", "23", "N m", "W1", reason="backed off, tightened again")
    c.sign("ada", "torque")
    history = c.shop.records.history(c.ref.reading("torque", "nut"))
    assert [e.body.entered for e in history if isinstance(e.body, ReadingTaken)] == ["24.5", "23"]


def test_a_gauge_out_of_date_records_by_decision_and_holds_the_signature() -> None:
    c = CardedShop()
    hand.take_card(c.desk("ada"), c.ref)
    with pytest.raises(NotYetError, match="was due on 2026-05-03"):
        c.read("ada", "clearance", "gap", "0.35", "mm", "OLD")
    c.read("ada", "clearance", "gap", "0.35", "mm", "OLD", decision="the only feeler in the shop today")
    with pytest.raises(NotYetError, match="out of date"):
        c.sign("ada", "clearance")
    c.read("ada", "clearance", "gap", "0.36", "mm", "G1")
    c.sign("ada", "clearance")
    first = c.shop.records.history(c.ref.reading("clearance", "gap"))[0].body
    assert isinstance(first, ReadingTaken)
    assert (first.gauge_valid, first.decision) == (False, "the only feeler in the shop today")


def test_a_gauge_is_valid_on_its_due_day_and_an_unknown_one_is_refused() -> None:
    c = CardedShop()
    c.first_step()
    c.read("ada", "torque", "nut", "22", "N m", "W1")  # due on the very day
    c.sign("ada", "torque")
    other = CardedShop()
    hand.take_card(other.desk("ada"), other.ref)
    for number in ("G9", "", "G"):
        with pytest.raises(InputError, match="not known here"):
            other.read("ada", "clearance", "gap", "0.35", "mm", number)


def test_a_second_reading_says_why() -> None:
    c = CardedShop()
    hand.take_card(c.desk("ada"), c.ref)
    c.read("ada", "clearance", "gap", "0.35", "mm", "G1")
    with pytest.raises(InputError, match="was taken before"):
        c.read("ada", "clearance", "gap", "0.36", "mm", "G1")


def test_what_can_only_be_taken_now_is_taken_or_the_lead_signs_why_not() -> None:
    c = CardedShop()
    hand.take_card(c.desk("ada"), c.ref)
    with pytest.raises(NotEntitledError):
        service.waive_step(c.desk("ada"), c.ref, "clearance", "x", "the shroud came in already ground")
    with pytest.raises(InputError):
        service.waive_step(c.desk("lena"), c.ref, "clearance", "x", "no")
    with pytest.raises(InputError, match="can still be done"):
        service.waive_step(c.desk("lena"), c.ref, "torque", "x", "there is no wrench in the shop")
    service.waive_step(c.desk("lena"), c.ref, "clearance", "x", "the shroud came in already ground")
    c.read("ada", "torque", "nut", "22", "N m", "W1")
    c.sign("ada", "torque")
    assert c.card.steps[0].done and not c.card.steps[0].is_signed


def test_signing_writes_the_events_with_it_or_nothing() -> None:
    c = CardedShop()
    c.first_step()
    c.read("ada", "torque", "nut", "22", "N m", "W1")
    c.sign("ada", "torque")
    (event,) = c.shop.records.current(WorkEvent, visit=c.visit)
    assert (event.body.what, event.body.item, event.body.module) == (
        "removed_for_access",
        "power_turbine",
        "hot_section",
    )
    signed = c.card.steps[1].signed
    assert signed is not None and event.seq == signed.seq + 1
    # An event that is there already makes the whole signature fail: nothing of it stays.
    d = CardedShop()
    d.first_step()
    d.read("ada", "torque", "nut", "22", "N m", "W1")
    desk = d.desk("ada")
    from spoolwright.crafts.visit.entry import New

    subject = f"visit/{d.visit}/event/cards/small/1/torque/1"
    desk.record(New(subject, WorkEvent(what="dropped", item="engine"), visit=d.visit))
    with pytest.raises(ConflictError):
        d.sign("ada", "torque")
    assert d.card.steps[1].signed is None


def test_a_correction_keeps_both_and_drops_the_check() -> None:
    c = CardedShop()
    c.first_step()
    c.second_step()
    assert c.card.steps[1].done
    desk = c.desk("ada")
    for reads, reason, words in (
        ({"nut": Read("23", "N m", "W1")}, "", "needs its reason"),
        ({"nut": Read("25", "N m", "W1")}, "misread the scale", "does not meet"),
    ):
        with pytest.raises((InputError, NotYetError), match=words):
            service.correct_step(desk, c.ref, "torque", "x", reads=reads, reason=reason, after=1)
    good = {"nut": Read("23", "N m", "W1")}
    service.correct_step(desk, c.ref, "torque", "x", reads=good, reason="misread the scale", after=1)
    both = c.shop.records.history(c.ref.step("torque"))
    assert [e.revision for e in both] == [1, 2]
    assert ["22 N·m" in str(e.body.readings) for e in both if isinstance(e.body, StepSigned)] == [True, False]
    assert both[1].reason == "misread the scale"
    assert both[1].signature is not None and both[1].signature.meaning == Meaning.CORRECTED
    assert c.card.steps[1].waits_for_check
    with pytest.raises(ConflictError):
        service.correct_step(desk, c.ref, "torque", "x", reads=good, reason="once more", after=1)


def test_a_signed_step_is_only_changed_by_a_correction() -> None:
    c = CardedShop()
    c.first_step()
    with pytest.raises(NotYetError, match="step 1 is signed"):
        c.read("ada", "clearance", "gap", "0.36", "mm", "G1", reason="again")
    with pytest.raises(NotYetError, match="step 1 is signed"):
        c.sign("ada", "clearance")
