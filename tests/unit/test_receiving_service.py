"""Receiving: what is recorded, what is doubted, when an engine is accepted into work."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from shop.memory import NOON, MemoryShop
from spoolwright.crafts.receiving import service
from spoolwright.crafts.receiving.checklist import checklist
from spoolwright.crafts.receiving.known import doubts_of, opened
from spoolwright.crafts.receiving.model import (
    Container,
    DocumentReceived,
    DoubtAnswered,
    EngineReceived,
    ModuleReceived,
    Preservation,
    ReceivingDecided,
)
from spoolwright.crafts.receiving.open import open_items
from spoolwright.crafts.receiving.service import Saw
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import ConflictError, New
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import Stage, StageSet, VisitOpened
from spoolwright.crafts.visit.parts import Counts, PartFitted, part_subject
from spoolwright.crafts.visit.people import NotEntitledError, Role
from spoolwright.errors import InputError

DAY = NOON.date()
SERIAL = "C940-117"
PAPERS = EngineReceived(container=Container.NONE, preservation=Preservation.VALID)


@pytest.fixture
def shop() -> MemoryShop:
    shop = MemoryShop()
    shop.hire("ida", "Ida Brandt", Role.INSPECTOR)
    shop.hire("vic", "Vic Noor", Role.VIEWER)
    return shop


def visit_of(number: str = "W100", serial: str = SERIAL, on: date = DAY, **more: object) -> VisitOpened:
    told = {
        "customer": "Holm Utility Helicopters",
        "reason_for_removal": "low power",
        "type_id": "corrie_940",
    }
    return VisitOpened.model_validate(
        {"number": number, "engine_serial": serial, "received_on": on, **told, **more}
    )


def opened_visit(
    shop: MemoryShop, number: str = "W100", serial: str = SERIAL, on: date = DAY, hours: float = 3000.0
) -> tuple[Desk, Folder]:
    desk = shop.desk("ida")
    service.open_visit(desk, visit_of(number, serial, on), Counts(hours_since_new=hours))
    return desk, shop.folder(number, DAY)


def ship(shop: MemoryShop, number: str) -> None:
    gone = New(
        f"visit/{number}/stage", StageSet(stage=Stage.SHIPPED), visit=number, after=1, reason="shipped"
    )
    shop.records.add([gone], by="ida", at=NOON)


def receive_all(shop: MemoryShop, desk: Desk, number: str = "W100") -> Folder:
    folder = shop.folder(number, DAY)
    service.record_engine(desk, folder, PAPERS)
    for n, module in enumerate(folder.kind.type_file.module, 1):
        service.record_module(
            desk, folder, ModuleReceived(module=module.id, serial=f"{module.id[:2].upper()}-{n}")
        )
    for line in checklist(folder):
        document = DocumentReceived(document=line.document.id, module=line.module, state="present")
        service.record_document(desk, folder, document)
    return shop.folder(number, DAY)


def texts(shop: MemoryShop, number: str = "W100") -> list[str]:
    return [d.text for d in doubts_of(shop.folder(number, DAY), shop.records)]


def test_a_visit_opens_once_with_the_engines_counts(shop: MemoryShop) -> None:
    desk, folder = opened_visit(shop)
    assert opened(folder).time_since_new_h == 3000.0
    with pytest.raises(InputError, match="visit W100 was opened by ida on 2026-05-04"):
        service.open_visit(desk, visit_of(), Counts())


def test_a_viewer_records_nothing(shop: MemoryShop) -> None:
    with pytest.raises(NotEntitledError):
        service.open_visit(shop.desk("vic"), visit_of(), Counts())
    assert not shop.records.rows[5:]


def test_nothing_recorded_leaves_everything_open(shop: MemoryShop) -> None:
    _, folder = opened_visit(shop)
    told = [i.text for i in open_items(folder, shop.records)]
    assert told[0] == "How the engine came is not recorded."
    assert sum("serial and counts are not recorded" in t for t in told) == len(folder.kind.type_file.module)
    assert sum("not looked for" in t for t in told) == len(checklist(folder))
    assert told[-1] == "Neither accepted nor quarantined."


def test_an_engine_received_whole_is_accepted_and_nothing_stays_open(shop: MemoryShop) -> None:
    desk, _ = opened_visit(shop)
    folder = receive_all(shop, desk)
    decided = ReceivingDecided(decision="accepted")
    entry = service.decide_receiving(desk, folder, decided, service.decision_shown(folder, decided))
    assert entry.signature is not None
    assert entry.signature.shown.startswith("Engine C940-117, visit W100")
    assert open_items(shop.folder("W100", DAY), shop.records) == []


def test_acceptance_needs_what_is_missing_and_names_it(shop: MemoryShop) -> None:
    desk, folder = opened_visit(shop)
    decided = ReceivingDecided(decision="accepted")
    with pytest.raises(InputError, match="Compressor: serial and counts"):
        service.decide_receiving(desk, folder, decided, service.decision_shown(folder, decided))


def test_quarantine_needs_a_reason_and_stays_open(shop: MemoryShop) -> None:
    desk, folder = opened_visit(shop)
    with pytest.raises(InputError, match="without a reason"):
        service.decide_receiving(desk, folder, ReceivingDecided(decision="quarantined"), "")
    decided = ReceivingDecided(decision="quarantined", reason="Logbook lost in transit.")
    service.decide_receiving(desk, folder, decided, service.decision_shown(folder, decided))
    last = open_items(shop.folder("W100", DAY), shop.records)[-1]
    assert last.text == "Quarantined: Logbook lost in transit."
    assert last.blocks_release


def test_what_is_signed_is_what_stands(shop: MemoryShop) -> None:
    desk, folder = opened_visit(shop)
    decided = ReceivingDecided(decision="quarantined", reason="Papers.")
    with pytest.raises(InputError, match="not what stands now"):
        service.decide_receiving(desk, folder, decided, "Engine accepted.")


def test_an_absent_logbook_blocks_release_and_absent_trend_data_does_not(shop: MemoryShop) -> None:
    desk, folder = opened_visit(shop)
    for document in ("engine_logbook", "trend_data"):
        service.record_document(desk, folder, DocumentReceived(document=document, state="absent"))
    items = {i.text: i.blocks_release for i in open_items(shop.folder("W100", DAY), shop.records)}
    assert items["Engine logbook: absent, and needed for release."] is True
    assert items["Trend data: power checks since the last visit: absent."] is False


@pytest.mark.parametrize(
    ("engine", "told"),
    [
        ({"container": Container.PRESSURE_HELD}, "not confirmed that its pressure was relieved"),
        ({"accessories_missing": ("Governor",)}, "nothing agreed with the customer: Governor."),
        ({"shipping_damage": "exhaust flange bent"}, "without a claim or a decision: exhaust flange bent"),
    ],
)
def test_how_the_engine_came_opens_items(shop: MemoryShop, engine: dict[str, object], told: str) -> None:
    desk, folder = opened_visit(shop)
    service.record_engine(desk, folder, PAPERS.model_copy(update=engine))
    assert any(told in i.text for i in open_items(shop.folder("W100", DAY), shop.records))


def test_counts_lower_than_at_an_earlier_visit_are_told(shop: MemoryShop) -> None:
    opened_visit(shop, "W090", on=date(2024, 2, 1), hours=3100.0)
    ship(shop, "W090")
    opened_visit(shop)
    assert texts(shop) == [
        "engine C940-117: 3000 h since new, fewer than the 3100 h recorded at visit W090 on 2024-02-01."
    ]


def test_more_hours_than_have_passed_are_told(shop: MemoryShop) -> None:
    opened_visit(shop, "W090", on=DAY - timedelta(days=10), hours=2000.0)
    ship(shop, "W090")
    opened_visit(shop, hours=2241.0)
    assert texts(shop) == [
        "engine C940-117: 241 h more than at visit W090 on 2026-04-24, but only 10 days have passed since."
    ]


def test_as_many_hours_as_have_passed_are_not_doubted(shop: MemoryShop) -> None:
    opened_visit(shop, "W090", on=DAY - timedelta(days=10), hours=2000.0)
    ship(shop, "W090")
    opened_visit(shop, hours=2240.0)
    assert texts(shop) == []


def test_a_serial_already_in_the_shop_and_a_date_to_come_are_told(shop: MemoryShop) -> None:
    opened_visit(shop, "W099", on=DAY - timedelta(days=30), hours=2990.0)
    opened_visit(shop, on=DAY + timedelta(days=1))
    first, second = texts(shop)
    assert first == "received on 2026-05-05, which is after today, 2026-05-04."
    assert "already in the shop under visit W099" in second


def test_a_module_known_in_another_engine_is_told(shop: MemoryShop) -> None:
    desk, other = opened_visit(shop, "W080", "C940-104", date(2025, 3, 1))
    module = ModuleReceived(module="compressor", serial="CM-7", counts=Counts(cycles_since_new=900))
    service.record_module(desk, other, module)
    desk, folder = opened_visit(shop)
    service.record_module(desk, folder, module.model_copy(update={"counts": Counts(cycles_since_new=880)}))
    elsewhere, fell = texts(shop)
    assert "module compressor CM-7 was in engine C940-104 at visit W080 on 2025-03-01" in elsewhere
    assert "880 cycles since new, fewer than the 900 cycles" in fell


def test_a_misread_module_plate_is_corrected_and_no_longer_counts(shop: MemoryShop) -> None:
    desk, folder = opened_visit(shop)
    service.record_module(desk, folder, ModuleReceived(module="compressor", serial="CM-1"))
    right = ModuleReceived(module="compressor", serial="CM-7")
    with pytest.raises(InputError, match="without a reason"):
        service.record_module(desk, shop.folder("W100"), right, Saw(1))
    service.record_module(desk, shop.folder("W100"), right, Saw(1, "plate read again"))
    ship(shop, "W100")
    desk, later = opened_visit(shop, "W120", "C940-104")
    service.record_module(desk, later, ModuleReceived(module="compressor", serial="CM-1"))
    assert texts(shop, "W120") == []


def test_more_since_overhaul_than_since_new_is_told(shop: MemoryShop) -> None:
    desk, folder = opened_visit(shop)
    counts = Counts(starts_since_new=100, starts_since_overhaul=101)
    service.record_module(desk, folder, ModuleReceived(module="hot_section", serial="HS-1", counts=counts))
    assert texts(shop) == [
        "module hot_section HS-1: 101 starts since overhaul, more than the 100 starts since new."
    ]


def test_an_answer_closes_a_doubt_and_only_in_its_words(shop: MemoryShop) -> None:
    opened_visit(shop, "W090", on=date(2024, 2, 1), hours=3100.0)
    ship(shop, "W090")
    desk, folder = opened_visit(shop)
    (doubt,) = doubts_of(folder, shop.records)
    answer = DoubtAnswered(doubt=doubt.text, answer="Counter renewed at 3,050 h; log page 12 copied.")
    service.answer_doubt(desk, folder, doubt.key, answer)
    assert not any("Not plausible" in i.text for i in open_items(shop.folder("W100", DAY), shop.records))

    folder = shop.folder("W100", DAY)
    visit, saw = opened(folder), Saw(1, "logbook page read again")
    service.correct_visit(desk, folder, visit, Counts(hours_since_new=2900.0), saw)
    assert any("2900 h since new" in i.text for i in open_items(shop.folder("W100", DAY), shop.records))


def test_a_corrected_engine_serial_leaves_the_wrong_engine(shop: MemoryShop) -> None:
    desk, folder = opened_visit(shop)
    visit = opened(folder).model_copy(update={"engine_serial": "C940-177"})
    service.correct_visit(desk, folder, visit, Counts(hours_since_new=3000.0), Saw(1, "plate read again"))
    opened_visit(shop, "W101")
    assert texts(shop, "W101") == []
    opened_visit(shop, "W102", "C940-177")
    assert any("already in the shop under visit W100" in t for t in texts(shop, "W102"))


def test_two_people_at_one_record_are_both_told(shop: MemoryShop) -> None:
    desk, folder = opened_visit(shop)
    service.record_engine(desk, folder, PAPERS)
    with pytest.raises(ConflictError) as told:
        service.record_engine(desk, folder, PAPERS.model_copy(update={"remarks": "dusty"}))
    assert told.value.theirs.body == PAPERS


def fitted(serial: str = "IM-2201", **more: object) -> PartFitted:
    told = {
        "part": "impeller",
        "part_number": "940-212-4",
        "module": "compressor",
        "engine_serial": SERIAL,
        "on": DAY,
    }
    return PartFitted.model_validate({"serial": serial, **told, **more})


def test_parts_are_recorded_once_and_a_foreign_number_is_told(shop: MemoryShop) -> None:
    desk, folder = opened_visit(shop)
    service.record_parts(desk, folder, [fitted(), fitted("IM-2202", part_number="940-212-1")])
    assert service.record_parts(desk, shop.folder("W100"), [fitted()]) == []
    assert texts(shop) == [
        "Centrifugal compressor impeller IM-2202 carries part number 940-212-1; "
        "the bill of material names 940-212-4 or 940-212-3. Refer to engineering."
    ]
    with pytest.raises(InputError, match="twice"):
        service.record_parts(desk, folder, [fitted("A"), fitted("A")])


def test_a_part_last_seen_in_another_engine_is_told(shop: MemoryShop) -> None:
    desk, other = opened_visit(shop, "W080", "C940-104", date(2025, 3, 1))
    service.record_parts(desk, other, [fitted(engine_serial="C940-104", on=date(2025, 3, 1))])
    desk, folder = opened_visit(shop)
    service.record_parts(desk, folder, [fitted()])
    assert texts(shop) == [
        "part 940-212-4 IM-2201 was in engine C940-104 on 2025-03-01: "
        "its card should show when it was moved, or the plate was misread."
    ]
    assert len(shop.records.history(part_subject("940-212-4", "IM-2201", "fit"))) == 2
