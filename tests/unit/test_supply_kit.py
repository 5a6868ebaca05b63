"""Store and kit: nothing uncertified is kitted, no serial stands in two kits, alternates are named."""

from __future__ import annotations

import pytest
import supply_shop as s

from shop.memory import MemoryShop
from spoolwright.bootstrap.calculations import RECOMPUTE
from spoolwright.crafts.supply import kit_sheet, kitting, stores
from spoolwright.crafts.supply.model import CertificateChecked, KitSigned
from spoolwright.crafts.supply.needs import kit_lines
from spoolwright.crafts.supply.open import open_items
from spoolwright.crafts.visit.entry import ConflictError
from spoolwright.crafts.visit.model import WorkEvent
from spoolwright.crafts.visit.parts import PartFitted
from spoolwright.crafts.visit.people import NotEntitledError
from spoolwright.errors import InputError


@pytest.fixture
def shop() -> MemoryShop:
    return s.staffed()


def sign(shop: MemoryShop, after: int = 0) -> str:
    folder = shop.folder("W100", s.DAY)
    shown = kit_sheet.kit_shown(folder, kit_sheet.sheet_of(folder, "compressor"))
    kit_sheet.sign_kit(shop.desk("bo"), folder, "compressor", shown, after)
    return shown


def told(shop: MemoryShop) -> list[str]:
    return [i.text for i in open_items(shop.folder("W100", s.DAY), shop.records)]


def test_a_part_is_in_quarantine_until_an_inspector_accepts_its_certificate(shop: MemoryShop) -> None:
    s.need(shop)
    stores.receive_stock(shop.desk("bo"), s.arrived(s.PART, s.NUMBER, "IM-1"))
    with pytest.raises(InputError, match="quarantine: certificate not yet accepted"):
        s.kit(shop, s.PART, s.NUMBER, "IM-1")
    with pytest.raises(NotEntitledError):
        s.accept(shop.desk("bo"), s.NUMBER, "IM-1")
    s.accept(shop.desk("ida"), s.NUMBER, "IM-1")
    s.kit(shop, s.PART, s.NUMBER, "IM-1")
    assert [e.body.tag for e in kit_lines(shop.folder("W100"))] == ["IM-1"]


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"part_number": "940-212-3"}, "the certificate is for part number 940-212-3, the part is 940-212-4"),
        ({"serial_or_lot": "IM-7"}, "the certificate is for IM-7, the part is IM-1"),
        ({"quantity": None}, "quantity (block 9) is empty"),
        ({"status_word": "prototype"}, "is no release for installation"),
        ({"status_word": ""}, "status / work (block 11) is empty"),
        ({"approval_number": ""}, "approval number (block 13c or 14c) is empty"),
        ({"dated": s.a_day(1)}, "after the part was received on"),
        ({"number": ""}, "form tracking number (block 3) is empty"),
    ],
)
def test_a_certificate_that_does_not_fit_is_never_accepted(
    shop: MemoryShop, wrong: dict[str, object], said: str
) -> None:
    desk = shop.desk("ida")
    stores.receive_stock(desk, s.arrived(s.PART, s.NUMBER, "IM-1", certificate=s.paper(**wrong)))
    with pytest.raises(InputError) as refused:
        s.accept(desk, s.NUMBER, "IM-1")
    assert said in str(refused.value)


def test_a_field_that_nobody_looked_at_or_that_differs_refuses_acceptance(shop: MemoryShop) -> None:
    desk = shop.desk("ida")
    stores.receive_stock(desk, s.arrived(s.PART, s.NUMBER, "IM-1"))
    stock = stores.stock_at(desk, s.NUMBER, "IM-1")
    checked = CertificateChecked(arrival=1, fields=(), decision="accepted")
    with pytest.raises(InputError, match=r"organisation \(block 4\): not looked at"):
        stores.check_certificate(desk, stock, checked, stores.check_shown(stock, checked))


def test_one_certificate_number_that_says_two_things_is_told(shop: MemoryShop) -> None:
    desk = shop.desk("ida")
    s.in_store(shop, s.PART, s.NUMBER, "IM-1")
    twice = s.paper(tag="IM-2", number="T-IM-1", quantity=2)
    stores.receive_stock(desk, s.arrived(s.PART, s.NUMBER, "IM-2", certificate=twice))
    with pytest.raises(
        InputError, match=r"number came with IM-1, with another quantity \(block 9\), serial or lot"
    ):
        s.accept(desk, s.NUMBER, "IM-2")


def test_one_certificate_covers_the_serials_it_names_and_no_more(shop: MemoryShop) -> None:
    """Also when the first of them was built in long ago."""
    three = s.paper(tag="IM-1, IM-2; IM-3", number="T-9", quantity=2)
    s.in_store(shop, s.PART, s.NUMBER, "IM-1", certificate=three)
    s.need(shop)
    s.kit(shop, s.PART, s.NUMBER, "IM-1")
    sign(shop)
    kit_sheet.fit_part(shop.desk("bo"), shop.folder("W100", s.DAY), kit_lines(shop.folder("W100"))[0])
    s.in_store(shop, s.PART, s.NUMBER, "IM-2", certificate=three)
    with pytest.raises(InputError, match="covers 2, received are 3, with IM-1, IM-2"):
        s.in_store(shop, s.PART, s.NUMBER, "IM-3", certificate=three)
    with pytest.raises(InputError, match="the certificate is for IM-1, IM-2, IM-3, the part is IM-4"):
        s.in_store(shop, s.PART, s.NUMBER, "IM-4", certificate=three)


@pytest.mark.parametrize("more", [{"received_on": s.a_day(1)}, {"made_on": s.a_day(1)}])
def test_stock_from_the_future_is_refused_also_as_a_correction(
    shop: MemoryShop, more: dict[str, object]
) -> None:
    desk = shop.desk("ida")
    with pytest.raises(InputError, match="after"):
        stores.receive_stock(desk, s.arrived(s.SEAL, s.SEAL_NUMBER, "LOT-1", 2, **more))
    stores.receive_stock(desk, s.arrived(s.SEAL, s.SEAL_NUMBER, "LOT-1", 2))
    with pytest.raises(InputError, match="after"):
        stores.correct_stock(desk, s.arrived(s.SEAL, s.SEAL_NUMBER, "LOT-1", 2, **more), 1, "date")


def test_a_serial_is_kitted_for_one_visit_only(shop: MemoryShop) -> None:
    shop.open_visit("W200", "C940-204")
    s.in_store(shop, s.PART, s.NUMBER, "IM-1")
    s.need(shop)
    s.need(shop, visit="W200")
    s.kit(shop, s.PART, s.NUMBER, "IM-1")
    with pytest.raises(InputError, match="0 are free; visit W100 holds 1"):
        s.kit(shop, s.PART, s.NUMBER, "IM-1", visit="W200")


def test_two_writers_at_once_cannot_both_take_the_last_one(
    shop: MemoryShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second read the store before the first wrote: its record meets the first one's."""
    shop.open_visit("W200", "C940-204")
    s.in_store(shop, s.PART, s.NUMBER, "IM-1")
    s.need(shop)
    s.need(shop, visit="W200")
    seen_before = kitting.one_stock(shop.records, (), s.NUMBER, "IM-1")
    s.kit(shop, s.PART, s.NUMBER, "IM-1")
    monkeypatch.setattr(kitting, "one_stock", lambda *_: seen_before)
    rows = len(shop.records.rows)
    with pytest.raises(ConflictError):
        s.kit(shop, s.PART, s.NUMBER, "IM-1", visit="W200")
    assert len(shop.records.rows) == rows


def test_an_alternate_is_taken_by_name_and_shown_as_such(shop: MemoryShop) -> None:
    s.in_store(shop, s.PART, "940-212-3", "IM-9")
    s.need(shop)
    assert told(shop) == [
        "Centrifugal compressor impeller 940-212-4: 1 of 1 not kitted, only an alternate in store."
    ]
    s.kit(shop, s.PART, "940-212-3", "IM-9")
    line = kit_lines(shop.folder("W100"))[0].body
    assert line.alternate_for == "940-212-4"
    assert "alternate for 940-212-4, allowed by OM-940 72-30, table 1002, item 12" in sign(shop)


def test_a_number_that_the_document_does_not_allow_is_refused(shop: MemoryShop) -> None:
    s.need(shop)
    with pytest.raises(InputError, match="940-212-1 is not allowed as Centrifugal compressor impeller"):
        s.kit(shop, s.PART, "940-212-1", "IM-9")
    with pytest.raises(InputError, match="neither Centrifugal compressor impeller nor an allowed alternate"):
        stores.receive_stock(shop.desk("bo"), s.arrived(s.PART, "940-212-1", "IM-9"))


def test_no_more_is_kitted_than_is_needed(shop: MemoryShop) -> None:
    s.in_store(shop, s.SEAL, s.SEAL_NUMBER, "LOT-1", 10)
    s.need(shop, s.SEAL, 2)
    with pytest.raises(InputError, match="the visit still needs 2"):
        s.kit(shop, s.SEAL, s.SEAL_NUMBER, "LOT-1", 3)


def test_an_expired_seal_is_refused_and_one_that_ends_before_the_build_is_told(shop: MemoryShop) -> None:
    life = 3650
    s.in_store(shop, s.SEAL, s.SEAL_NUMBER, "OLD", 2, made_on=s.a_day(-life - 1))
    s.in_store(shop, s.SEAL, s.SEAL_NUMBER, "SOON", 2, made_on=s.a_day(-life + 5))
    s.need(shop, s.SEAL, 2)
    with pytest.raises(InputError, match="shelf life ended on 2026-05-03"):
        s.kit(shop, s.SEAL, s.SEAL_NUMBER, "OLD", 2)
    kitting.plan_build(shop.desk("lou"), shop.folder("W100"), s.a_day(10))
    s.kit(shop, s.SEAL, s.SEAL_NUMBER, "SOON", 2)
    assert "build in by 2026-05-09, which is BEFORE the build date" in sign(shop)
    assert any("shelf life ends on 2026-05-09, before it is built in" in t for t in told(shop))


def test_a_seal_without_a_date_is_not_accepted(shop: MemoryShop) -> None:
    desk = shop.desk("ida")
    stores.receive_stock(desk, s.arrived(s.SEAL, s.SEAL_NUMBER, "LOT-1", 2, made_on=None))
    with pytest.raises(InputError, match="no date is given"):
        s.accept(desk, s.SEAL_NUMBER, "LOT-1")


def test_the_kit_sheet_says_what_is_short_and_goes_stale(shop: MemoryShop) -> None:
    s.in_store(shop, s.PART, s.NUMBER, "IM-1")
    s.in_store(shop, s.SEAL, s.SEAL_NUMBER, "LOT-1", 10)
    s.need(shop)
    s.need(shop, s.SEAL, 2)
    s.kit(shop, s.PART, s.NUMBER, "IM-1")
    shown = sign(shop)
    assert "SHORT: 2 × Packing ring, compressor case." in shown
    assert shown.endswith("The kit is NOT complete.")
    s.kit(shop, s.SEAL, s.SEAL_NUMBER, "LOT-1", 2)
    assert told(shop) == ["Compressor: the kit changed since its sheet was signed."]
    with pytest.raises(InputError, match="changed since it was shown"):
        kit_sheet.sign_kit(shop.desk("bo"), shop.folder("W100", s.DAY), "compressor", shown, 1)
    assert sign(shop, 1).endswith("The kit is complete.")
    assert told(shop) == []


def test_the_stored_completeness_recomputes(shop: MemoryShop) -> None:
    s.in_store(shop, s.PART, s.NUMBER, "IM-1")
    s.need(shop)
    s.kit(shop, s.PART, s.NUMBER, "IM-1")
    sign(shop)
    (entry,) = shop.folder("W100").of(KitSigned)
    stored = entry.body.calculation
    assert RECOMPUTE[stored.name, stored.version](stored.inputs, shop.attachments.read) == stored.result


def test_a_fitted_part_writes_the_event_and_where_it_is(shop: MemoryShop) -> None:
    s.in_store(shop, s.PART, s.NUMBER, "IM-1")
    s.need(shop)
    s.kit(shop, s.PART, s.NUMBER, "IM-1")
    (line,) = kit_lines(shop.folder("W100"))
    with pytest.raises(InputError, match="on no signed kit sheet"):
        kit_sheet.fit_part(shop.desk("bo"), shop.folder("W100", s.DAY), line)
    sign(shop)
    kit_sheet.fit_part(shop.desk("bo"), shop.folder("W100", s.DAY), line, "IM-0")
    (event,) = shop.folder("W100").of(WorkEvent)
    assert (event.body.what, event.body.item, event.body.module) == ("replaced", "impeller", "compressor")
    (fitted,) = shop.folder("W100").of(PartFitted)
    assert (fitted.body.engine_serial, fitted.body.serial) == ("C940-117", "IM-1")
    (line,) = kit_lines(shop.folder("W100"))
    for again in (
        lambda: kit_sheet.fit_part(shop.desk("bo"), shop.folder("W100", s.DAY), line),
        lambda: kitting.put_back(shop.desk("bo"), shop.folder("W100"), line, "not needed"),
    ):
        with pytest.raises(InputError, match="recorded as fitted"):
            again()


def test_the_serial_that_came_out_is_recorded_as_removed(shop: MemoryShop) -> None:
    test_a_fitted_part_writes_the_event_and_where_it_is(shop)
    s.need(shop)
    s.in_store(shop, s.PART, s.NUMBER, "IM-2")
    s.kit(shop, s.PART, s.NUMBER, "IM-2")
    sign(shop, 1)
    line = next(e for e in kit_lines(shop.folder("W100")) if e.body.tag == "IM-2")
    kit_sheet.fit_part(shop.desk("bo"), shop.folder("W100", s.DAY), line, "IM-1")
    where = {e.body.serial: (e.body.engine_serial, e.body.state) for e in shop.folder("W100").of(PartFitted)}
    assert where == {"IM-1": ("", "removed"), "IM-2": ("C940-117", "fitted")}


def test_a_fitted_part_whose_certificate_is_quarantined_since_is_told(shop: MemoryShop) -> None:
    test_a_fitted_part_writes_the_event_and_where_it_is(shop)
    s.quarantine(shop.desk("ida"), s.NUMBER, "IM-1")
    assert any("its certificate was quarantined since" in t for t in told(shop))


def test_a_serial_comes_in_again_only_after_it_was_fitted_and_is_looked_at_anew(shop: MemoryShop) -> None:
    test_a_fitted_part_writes_the_event_and_where_it_is(shop)
    with pytest.raises(InputError, match="is in store since"):
        s.in_store(shop, s.PART, s.NUMBER, "IM-3")
        stores.receive_stock(shop.desk("bo"), s.arrived(s.PART, s.NUMBER, "IM-3"))
    stores.receive_stock(shop.desk("bo"), s.arrived(s.PART, s.NUMBER, "IM-1", certificate=None))
    stock = stores.stock_at(shop.desk("bo"), s.NUMBER, "IM-1")
    assert (stock.free, stock.accepted, stock.quarantine) == (1, False, "no certificate")


def test_what_is_put_back_is_free_again_and_the_reason_stays(shop: MemoryShop) -> None:
    s.in_store(shop, s.SEAL, s.SEAL_NUMBER, "LOT-1", 10)
    s.need(shop, s.SEAL, 4)
    s.kit(shop, s.SEAL, s.SEAL_NUMBER, "LOT-1", 3)
    (line,) = kit_lines(shop.folder("W100"))
    with pytest.raises(InputError, match="without a reason"):
        kitting.put_back(shop.desk("bo"), shop.folder("W100"), line, " ")
    back = kitting.put_back(shop.desk("bo"), shop.folder("W100"), line, "wrong lot")
    assert back.reason == "wrong lot"
    assert stores.stock_at(shop.desk("bo"), s.SEAL_NUMBER, "LOT-1").free == 10
    s.kit(shop, s.SEAL, s.SEAL_NUMBER, "LOT-1", 4)
    assert stores.stock_at(shop.desk("bo"), s.SEAL_NUMBER, "LOT-1").taken == {"W100": 4}


def test_what_a_module_renews_is_proposed_from_the_bill_and_asked_for_once(shop: MemoryShop) -> None:
    desk = shop.desk("bo")
    first = kitting.need_renewed_parts(desk, shop.folder("W100"), "compressor")
    bill = {k.id: k.quantity for k in shop.folder("W100").kind.shop.part if k.module == "compressor"}
    asked = {e.body.part: e.body.quantity for e in first}  # type: ignore[attr-defined]
    assert asked == {p: bill[p] for p in ("vane_bushing", "compressor_packing", "tie_bolt_nut")}
    assert kitting.need_renewed_parts(desk, shop.folder("W100"), "compressor") == []
