"""Use cases of lives on a shop in memory, and what they leave open."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import pytest
from life_cards import DISC, born, fit, used, used_up_to

from shop.memory import NOON, MemoryShop
from spoolwright.bootstrap.calculations import RECOMPUTE
from spoolwright.crafts.life import service
from spoolwright.crafts.life.model import DirectiveDone, LedgerReviewed, PartBorn, PartUsed, Reading
from spoolwright.crafts.life.open import open_items
from spoolwright.crafts.life.stock import affected_by, count_sentence, limit_changes
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import ConflictError, New
from spoolwright.crafts.visit.folder import OpenItem
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.crafts.visit.parts import PartFitted, part_subject
from spoolwright.crafts.visit.people import NotEntitledError, Role
from spoolwright.errors import InputError

ENGINE, TODAY = "H4402", NOON.date()


@dataclass
class Bench:
    """A shop with a visit whose engine holds one disc, and who works on it."""

    shop: MemoryShop
    visit: str
    rex: Desk

    def of_disc(self, day: date = TODAY) -> list[str]:
        """What is open about the disc's life."""
        items = self.open("serial D1", day)
        return [i.text for i in items if i.text.startswith("Gas generator turbine disc")]

    def open(self, about: str = DISC, day: date = TODAY) -> list[OpenItem]:
        folder = self.shop.folder(self.visit, day)
        return [i for i in open_items(folder, self.shop.records) if about in i.text]


@pytest.fixture
def bench() -> Bench:
    shop = MemoryShop()
    shop.hire("rex", "Rex Amsel", Role.RECORDS)
    shop.hire("ada", "Ada Lund", Role.BUILDER)
    visit = shop.open_visit("W100", ENGINE)
    rex = shop.desk("rex")
    fit(rex, visit, ENGINE, "turbine_disc_1", DISC, "D1", "hot_section")
    return Bench(shop, visit, rex)


def review(bench: Bench, disposition: service.Disposition = "may be fitted", after: int = 0) -> None:
    service.review_ledger(bench.rex, bench.shop.folder(bench.visit), DISC, "D1", disposition, after=after)


def test_a_part_without_ledger_is_open_as_unproven_and_unsigned(bench: Bench) -> None:
    texts = [i.text for i in bench.open("D1")]
    assert len(texts) == 2  # the disc itself, the directive on it
    assert "life not proven, so it has none left; no birth record: " in texts[0]
    assert texts[0].endswith("Its disposition is not signed.")
    assert all(i.closed_by is Role.RECORDS and i.module == "hot_section" for i in bench.open("D1"))


def test_a_proven_part_closes_with_the_signature_of_records(bench: Bench) -> None:
    service.record_birth(bench.rex, born())
    service.record_use(bench.rex, used())
    assert [t.split(": ", 1)[1] for t in bench.of_disc()] == ["Its disposition is not signed."]
    with pytest.raises(NotEntitledError):
        service.review_ledger(bench.shop.desk("ada"), bench.shop.folder("W100"), DISC, "D1", "may be fitted")
    review(bench)
    assert bench.of_disc() == []
    (entry,) = bench.shop.records.current(LedgerReviewed)
    assert entry.signature is not None and "1,430 of 8,800 cycles: 7,370 left" in entry.signature.shown
    stored = entry.body.calculation
    assert RECOMPUTE[stored.name, stored.version](stored.inputs, lambda _: b"") == stored.result


def test_a_line_added_after_the_signature_opens_it_again(bench: Bench) -> None:
    service.record_birth(bench.rex, born())
    service.record_use(bench.rex, used())
    review(bench)
    corrected = used(reason="low power")
    service.record_use(bench.rex, corrected, after=1, reason="reason of removal was missing")
    (text,) = bench.of_disc()
    assert "changed since rex signed it" in text
    review(bench, after=1)
    assert bench.of_disc() == []


def test_the_tool_never_lets_an_unproven_or_used_up_part_be_signed_as_fit(bench: Bench) -> None:
    with pytest.raises(InputError, match="life not proven"):
        review(bench)
    service.record_birth(bench.rex, born())
    service.record_use(bench.rex, used_up_to(8900))
    with pytest.raises(InputError, match="limit reached"):
        review(bench)
    assert "100 cycles over its limit" in bench.of_disc()[0]
    review(bench, "to be replaced")
    (text,) = bench.of_disc()
    assert "100 cycles over its limit. Signed as to be replaced, and still in the engine." in text


def test_a_limit_that_falls_after_the_signature_opens_it_again() -> None:
    shop = MemoryShop()
    shop.hire("rex", "Rex Amsel", Role.RECORDS)
    visit = shop.open_visit("W100", ENGINE)
    before = shop.desk("rex", NOON.replace(month=2, day=10))
    fit(before, visit, ENGINE, "turbine_disc_1", DISC, "D1", "hot_section")
    service.record_birth(before, born())
    service.record_use(before, used_up_to(9000))
    service.review_ledger(before, shop.folder(visit, date(2026, 2, 10)), DISC, "D1", "may be fitted")
    bench = Bench(shop, visit, before)
    assert bench.of_disc(date(2026, 2, 15)) == []
    (text,) = bench.of_disc(date(2026, 2, 16))
    assert "200 cycles over its limit" in text and "changed since rex signed it" in text


def test_parts_that_should_be_there_are_missed(bench: Bench) -> None:
    missing = [i.text for i in bench.open("none is recorded by serial")]
    assert len(missing) == 11 and any("impeller" in t for t in missing)  # 12 life-limited kinds, one is there
    empty = MemoryShop()
    empty.open_visit("W1", "H1")
    texts = [i.text for i in open_items(empty.folder("W1"), empty.records)]
    assert texts[0] == "No life-limited part of this engine is recorded by serial."


def test_a_correction_needs_its_reason_and_the_revision_that_was_seen(bench: Bench) -> None:
    service.record_birth(bench.rex, born())
    with pytest.raises(ConflictError):
        service.record_birth(bench.rex, born(document="another"))
    with pytest.raises(InputError, match="without a reason"):
        service.record_birth(bench.rex, born(document="another"), after=1)
    service.record_birth(bench.rex, born(document="another"), after=1, reason="wrong page")
    with pytest.raises(NotEntitledError):
        service.record_use(bench.shop.desk("ada"), used())


@pytest.mark.parametrize(
    ("hours", "starts", "told"),
    [
        (1510.5, 1402.0, ""),
        (None, None, ""),
        (1515.0, 1402.0, "ledger ends at 1,510.5 hours of engine H4402; the engine came with 1,515."),
        (1510.5, 1404.0, "ledger ends at 1,402 starts of engine H4402; the engine came with 1,404."),
        (1500.0, 1402.0, "contradicts another entry: the ledger ends at 1,510.5 hours"),
    ],
)
def test_a_ledger_reaches_to_the_day_its_engine_came(
    hours: float | None, starts: float | None, told: str
) -> None:
    shop = MemoryShop()
    shop.hire("rex", "Rex Amsel", Role.RECORDS)
    rex, visit = shop.desk("rex"), "W100"
    opened = VisitOpened(
        number=visit, engine_serial=ENGINE, type_id="corrie_940", customer="Holm", reason_for_removal="time",
        received_on=TODAY, time_since_new_h=hours, starts_since_new=starts,
    )  # fmt: skip
    rex.record(New(f"visit/{visit}", opened, visit=visit))
    fit(rex, visit, ENGINE, "turbine_disc_1", DISC, "D1", "hot_section")
    service.record_birth(rex, born())
    service.record_use(rex, used())
    texts = Bench(shop, visit, rex).of_disc()
    if told:
        assert "life not proven" in texts[0] and told in texts[0]
        service.review_ledger(rex, shop.folder(visit), DISC, "D1", "referred")
        (entry,) = shop.records.current(LedgerReviewed)
        stored = entry.body.calculation
        assert RECOMPUTE[stored.name, stored.version](stored.inputs, lambda _: b"") == stored.result
    else:
        assert texts[0].endswith("serial D1: Its disposition is not signed.")


def test_a_part_from_another_engine_must_have_left_it(bench: Bench) -> None:
    """Its ledger ends in another engine than it came in; fitted later, it must have been removed there."""
    service.record_birth(bench.rex, born())
    service.record_use(bench.rex, used(engine_serial="H4417", ended="still fitted"))
    assert "came in engine H4402; the ledger ends with line 1 in engine H4417" in bench.of_disc()[0]
    later = PartFitted(
        part="turbine_disc_1", part_number=DISC, serial="D1", module="hot_section", engine_serial=ENGINE,
        on=TODAY + timedelta(3),
    )  # fmt: skip
    bench.rex.record(New(part_subject(DISC, "D1", "fit"), later, visit="W100", after=1, reason="fitted"))
    assert "line 1 has it still fitted in H4417; it is in H4402" in bench.of_disc()[0]
    service.record_use(bench.rex, used(engine_serial="H4417"), after=1, reason="removal found")
    assert "not proven" not in bench.of_disc()[0]


def test_cards_that_contradict_each_other_are_open(bench: Bench) -> None:
    """The disc's card gives the engine 1,510.5 h on 2016-08-30, the shaft's 1,501.5 h on the same day."""
    fit(bench.rex, "W100", ENGINE, "turbine_shaft", "940-314-1", "S1", "hot_section")
    shaft = used(
        "940-314-1",
        "S1",
        engine_off=Reading(hours="1501.5", starts="1402"),
        part_off=Reading(hours="1191.0", cycles="1430"),
    )
    for line, birth in ((used(), born()), (shaft, born("940-314-1", "S1"))):
        service.record_birth(bench.rex, birth)
        service.record_use(bench.rex, line)
    (item,) = bench.open("ards disagree")
    assert "1,501.5 on 2016-08-30" in item.text and "1,510.5 on 2016-08-30" in item.text
    assert all("not proven" not in t for t in bench.of_disc())


def test_a_part_that_was_taken_off_takes_its_life_status_along(bench: Bench) -> None:
    service.record_birth(bench.rex, born())
    service.record_use(bench.rex, used(ended="still fitted"))
    off = PartFitted(
        part="turbine_disc_1", part_number=DISC, serial="D1", module="hot_section", on=TODAY, state="scrapped"
    )
    bench.rex.record(New(part_subject(DISC, "D1", "fit"), off, visit="W100", after=1, reason="taken off"))
    (item,) = bench.open("was taken off")
    assert not item.blocks_release and bench.of_disc() == []
    service.record_use(bench.rex, used(), after=1, reason="removed in this visit")
    assert bench.open("was taken off") == []


@dataclass
class Table:
    part_number: str
    serial: str
    born: PartBorn | None
    lines: list[PartUsed]


def test_importing_a_card_twice_writes_it_once_and_a_contradicting_one_nothing(bench: Bench) -> None:
    card = Table(DISC, "D1", born(), [used()])
    assert [service.import_cards(bench.rex, [card]) for _ in range(2)] == [2, 0]
    other = Table(DISC, "D2", born(serial="D2"), [])
    wrong = Table(DISC, "D1", born(), [used(reason="otherwise")])
    with pytest.raises(InputError, match="nothing was imported"):
        service.import_cards(bench.rex, [other, wrong])
    assert not bench.shop.records.history(service.birth_subject(DISC, "D2"))


def test_directives_open_and_close(bench: Bench) -> None:
    folder = bench.shop.folder("W100")
    optional = bench.open("B-940-031")
    assert [i.blocks_release for i in optional] == [False]
    assert all(i.blocks_release for i in bench.open("B-940-028") + bench.open("D-940-2019-04"))
    done = DirectiveDone(
        directive="B-940-028", revision="A", state="complied", how="later valve fitted",
        on=NOON.date() - timedelta(30), by="Fellgate Engine Works", document="W88",
    )  # fmt: skip
    subject = service.directive_subject("B-940-028", engine=ENGINE)
    with pytest.raises(InputError, match="no document"):
        service.record_directive(bench.rex, folder, subject, done.model_copy(update={"document": ""}))
    service.record_directive(bench.rex, folder, subject, done)
    assert bench.open("B-940-028") == []  # revision B accepts what was done to revision A


def test_a_changed_limit_is_recorded_with_the_serials_it_touches(bench: Bench) -> None:
    shop = bench.shop.types.of("corrie_940").shop
    change = next(c for c in limit_changes(shop.life_limit, NOON.date()) if c.now.part_number == DISC)
    rows = affected_by(change, [], lambda *_: "")
    sentence = count_sentence(change, rows)
    entry = service.see_limit_change(bench.rex, "corrie_940", change, rows, sentence)
    assert entry.subject == "type/corrie_940/life/limit/940-310-2/cycles/2026-02-16"
    assert entry.signature is not None and entry.signature.shown == sentence
