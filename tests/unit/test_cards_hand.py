"""Interruption, hand-over of a shift, another run of a card, another revision in the middle of a visit."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from carded_shop import CardedShop, again, small_card, type_with

from shop.memory import NOON
from spoolwright.crafts.cards import hand
from spoolwright.crafts.cards.model import WorkPutDown
from spoolwright.crafts.cards.open import open_items
from spoolwright.crafts.cards.rules import NotYetError
from spoolwright.crafts.cards.words import progress_words
from spoolwright.crafts.visit.entry import New
from spoolwright.crafts.visit.model import WorkEvent
from spoolwright.crafts.visit.people import NotEntitledError


def test_progress_in_words() -> None:
    c = CardedShop()
    assert progress_words(c.card) == "step 1 of 4, in nobody's hand"
    hand.take_card(c.at("ada", NOON.replace(hour=10, minute=20)), c.ref)
    assert progress_words(c.card) == "step 1 of 4, in hand by Ada Lund since 10:20"


def test_work_resumes_behind_the_last_signed_step_and_says_so() -> None:
    c = CardedShop()
    c.first_step()
    c.read("ada", "torque", "nut", "22", "N m", "W1")
    hand.put_down(c.desk("ada"), c.ref, in_hand="nut at 22 N·m, tab not bent", why="telephone")
    with pytest.raises(NotYetError, match="put down at step 'torque'"):
        c.sign("ada", "torque")
    shown = hand.take_text(c.desk("ada"), c.ref)
    assert "behind step 1, the last one signed: step 2 of 4" in shown
    assert "nut at 22 N·m, tab not bent" in shown
    assert "to be taken again: Nut." in shown
    taken = hand.take_card(c.desk("ada"), c.ref, shown)
    assert taken.signature is not None and taken.signature.shown == shown
    with pytest.raises(NotYetError, match="was taken before the interruption"):
        c.sign("ada", "torque")
    c.read("ada", "torque", "nut", "22", "N m", "W1")
    c.sign("ada", "torque")
    assert [e.reason for e in c.shop.records.history(c.ref.reading("torque", "nut"))] == [
        "",
        "taken again after the interruption",
    ]


def test_a_count_of_tools_before_an_interruption_is_made_again() -> None:
    c = CardedShop()
    c.first_step()
    c.second_step()
    c.read("ada", "look", "loss", "3", "um", "")
    c.sign("ada", "look")
    c.count("ada")
    hand.put_down(c.desk("ada"), c.ref, in_hand="cover in hand", why="fire drill")
    hand.take_card(c.desk("ada"), c.ref)
    with pytest.raises(NotYetError, match="not counted"):
        c.sign("ada", "close")
    c.count("ada")
    c.sign("ada", "close")
    assert c.card.complete


def test_a_shift_is_handed_over_with_both_names() -> None:
    c = CardedShop()
    c.first_step()
    down = hand.put_down(c.desk("ada"), c.ref, in_hand="nothing open", why="end of shift", to_login="ben")
    assert isinstance(down.body, WorkPutDown)
    assert (down.body.by_name, down.body.to_name) == ("Ada Lund", "Ben Holt")
    assert down.signature is not None and "Handed over to Ben Holt" in down.signature.shown
    with pytest.raises(NotYetError, match="handed over to Ben Holt"):
        hand.take_card(c.desk("ned"), c.ref)
    with pytest.raises(NotEntitledError):
        hand.put_down(c.desk("ned"), c.ref, in_hand="nothing", why="I take it", to_login="ned")
    hand.put_down(c.desk("lena"), c.ref, in_hand="nothing open", why="Ben is ill", to_login="ned")
    taken = hand.take_card(c.desk("ned"), c.ref)
    assert taken.signature is not None and "Ned Oak takes it up" in taken.signature.shown
    assert progress_words(c.card).startswith("step 2 of 4, in hand by Ned Oak since")


def test_only_the_holder_or_the_lead_puts_work_down() -> None:
    c = CardedShop()
    hand.take_card(c.desk("ada"), c.ref)
    with pytest.raises(NotEntitledError):
        hand.put_down(c.desk("ben"), c.ref, in_hand="nothing", why="tidying")
    hand.put_down(c.desk("lena"), c.ref, in_hand="nothing", why="tidying")


def test_a_card_left_overnight_is_told() -> None:
    c = CardedShop()
    hand.take_card(c.at("ada", NOON - timedelta(days=1)), c.ref)
    (item,) = open_items(c.shop.folder(c.visit))
    assert item.text == (
        "Small card: step 1 of 4, in hand by Ada Lund since 3 May 12:00; no hand-over is recorded since then"
    )


def test_another_run_begins_only_when_the_first_is_finished() -> None:
    c = CardedShop()
    with pytest.raises(NotYetError, match="run 1 of card 'small' is not finished"):
        hand.issue_card(c.desk("lena"), c.visit, "small", "reopened after the run")
    c.first_step()
    c.second_step()
    c.read("ada", "look", "loss", "3", "um", "")
    c.sign("ada", "look")
    c.count("ada")
    c.sign("ada", "close")
    assert hand.issue_card(c.desk("lena"), c.visit, "small", "reopened after the run") == again(c.ref, 2)
    with pytest.raises(NotEntitledError):
        hand.issue_card(c.desk("ada"), c.visit, "small", "I need it")


def test_a_newer_text_is_told_and_kept_or_taken_by_decision() -> None:
    c = CardedShop()
    c.first_step()
    c.second_step()
    newer = small_card("2", "Torque the nut in three steps.")
    c.shop.types.adopted = type_with(newer)
    assert any("now has revision 2" in i.text for i in open_items(c.shop.folder(c.visit)))
    assert c.card.card.revision == "1", "the visit goes on with its own text until somebody decides"
    told = hand.newer_text(c.card, c.shop.types.of(""))
    assert told is not None
    said = hand.newer_words(c.card, told)
    assert "issued at revision 1; the type now has revision 2. Steps with another text: 2." in said
    with pytest.raises(NotEntitledError):
        hand.decide_revision(c.desk("ada"), c.ref, go_on_with_newer=False, shown=said, reason="goes on")
    hand.decide_revision(c.desk("lena"), c.ref, go_on_with_newer=False, shown=said, reason="nut is on")
    assert not any("now has revision 2" in i.text for i in open_items(c.shop.folder(c.visit)))
    assert c.card.steps[1].done

    newest = small_card("3", "Torque the nut in four steps.")
    c.shop.types.adopted = type_with(newest)
    hand.decide_revision(c.desk("lena"), c.ref, go_on_with_newer=True, shown=said, reason="safety bulletin")
    assert c.card.card.revision == "3"
    first, second = c.card.steps[:2]
    assert first.done, "its text is the same"
    assert not second.done and second.stale
    c.read("ada", "torque", "nut", "22", "N m", "W1", reason="new text")
    c.sign("ada", "torque")
    c.check("ira", "torque")
    assert c.card.steps[1].done


def test_a_newer_revision_of_a_document_is_told_though_the_text_is_the_same() -> None:
    c = CardedShop()
    kind = type_with(small_card())
    documents = tuple(
        d.model_copy(update={"revision": "10"}) if d.id == "OM-940" else d for d in kind.type_file.document
    )
    c.shop.types.adopted = replace(kind, type_file=kind.type_file.model_copy(update={"document": documents}))
    assert any("OM-940 was at revision 9, now 10." in i.text for i in open_items(c.shop.folder(c.visit)))
    hand.decide_revision(c.desk("lena"), c.ref, go_on_with_newer=True, shown="x", reason="checked, no change")
    assert c.card.issued.body.documents["OM-940"] == "10"
    assert len(open_items(c.shop.folder(c.visit))) == 1


def test_a_finished_card_keeps_its_text() -> None:
    c = CardedShop()
    c.first_step()
    c.second_step()
    c.read("ada", "look", "loss", "3", "um", "")
    c.sign("ada", "look")
    c.count("ada")
    c.sign("ada", "close")
    c.shop.types.adopted = type_with(small_card("2", "Another text."))
    assert hand.newer_text(c.card, c.shop.types.of("")) is None
    with pytest.raises(NotYetError, match="is finished"):
        hand.decide_revision(c.desk("lena"), c.ref, go_on_with_newer=True, shown="x", reason="abc")


def test_a_module_that_is_off_or_reopened_without_a_card_is_told() -> None:
    c = CardedShop()
    c.first_step()
    c.second_step()  # its event: the power turbine removed for access
    texts = [i.text for i in open_items(c.shop.folder(c.visit))]
    assert "Power turbine and exhaust frame: taken off, not signed as installed again" in texts

    def happened(what: str, item: str) -> None:
        n = len(c.shop.records.rows)
        event = WorkEvent(what=what, item=item, module=item)  # type: ignore[arg-type]
        c.desk("lena").record(New(f"visit/{c.visit}/event/x{n}", event, visit=c.visit))

    happened("installed", "power_turbine")
    happened("reopened", "compressor")
    happened("reopened", "hot_section")  # its card is still worked on
    texts = [i.text for i in open_items(c.shop.folder(c.visit))]
    assert not any("taken off" in t for t in texts)
    assert [t for t in texts if "reopened" in t] == ["Compressor: reopened, no card issued since"]
