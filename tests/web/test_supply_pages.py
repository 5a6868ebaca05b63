"""Pages of parts: stock comes in and is looked at; parts are kitted, signed, fitted, repaired outside."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import urlencode

import pytest

from shop.fixtures import NOON, FilledShop
from spoolwright.crafts.supply.certificates import FIELDS
from spoolwright.crafts.supply.model import CertificateChecked, KitSigned, VendorAuthorised
from spoolwright.crafts.supply.needs import kit_lines
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import WorkEvent
from web.staff import PASSWORD, Browser

PARTS = "/visit/W100/parts"
IMPELLER = f"{PARTS}/kind/impeller"
CAME = {
    "type_id": "corrie_940",
    "part": "impeller",
    "part_number": "940-212-4",
    "tag": "IM-1",
    "received_on": "2026-05-01",
    "c_number": "T-1",
    "c_authority": "Invented Aviation Authority",
    "c_organisation": "Ravenholt Parts",
    "c_approval_number": "XA.145.0007",
    "c_part_number": "940-212-4",
    "c_serial_or_lot": "IM-1",
    "c_quantity": "1",
    "c_status_word": "new",
    "c_dated": "2026-04-01",
}
RECEIVE = "/stores/receive?part=corrie_940+impeller"


def item(tag: str = "IM-1", number: str = "940-212-4") -> str:
    return "/stores/item?" + urlencode({"pn": number, "tag": tag})


def sign_page(
    decision: str = "accepted", reason: str = "", tag: str = "IM-1", number: str = "940-212-4"
) -> str:
    seen = {f"seen_{f}": "agrees" for f in FIELDS}
    said = {"pn": number, "tag": tag, "decision": decision, "reason": reason}
    return "/stores/item/sign?" + urlencode(said | seen)


@pytest.fixture
def ines(browser_of: Callable[[str], Browser]) -> Browser:
    return browser_of("ines")


@pytest.fixture
def ada(browser_of: Callable[[str], Browser]) -> Browser:
    return browser_of("ada")


def folder(staffed: FilledShop) -> Folder:
    return staffed.shop.folder("W100", NOON.date())


def stocked(ines: Browser, **more: str) -> None:
    """An impeller received and accepted."""
    came = CAME | more
    answer = ines.send(RECEIVE, "/stores/receive", **came)
    assert answer.status_code == 303, answer.text
    page = sign_page(tag=came["tag"], number=came["part_number"])
    assert ines.send(page, "/stores/item/sign", password=PASSWORD).status_code == 303


def asked(browser: Browser, part: str = "impeller") -> None:
    assert (
        browser.send(PARTS, f"{PARTS}/needs", part=part, quantity="1", why="crack, finding 14").status_code
        == 303
    )


def kitted(ada: Browser) -> None:
    assert ada.send(IMPELLER, f"{IMPELLER}/kit").status_code == 303


def test_what_comes_in_is_in_quarantine_and_the_paper_is_looked_at_field_by_field(
    ines: Browser, staffed: FilledShop
) -> None:
    assert ines.send(RECEIVE, "/stores/receive", **CAME).status_code == 303
    assert "1 in quarantine" in ines.get("/stores").text
    page = ines.get(item()).text
    assert all(words.split(" (")[0] in page.lower() for words in FIELDS.values())
    assert "The copied fields fit the part" in ines.get(sign_page()).text
    assert ines.send(sign_page(), "/stores/item/sign", password=PASSWORD).status_code == 303
    (entry,) = staffed.records.current(CertificateChecked)
    assert entry.signature is not None
    assert entry.signature.shown.startswith(
        "940-212-4 serial IM-1, certificate T-1 of Ravenholt Parts: accepted."
    )
    assert "1 of 1 free" in ines.get(item()).text


def test_a_paper_for_another_part_is_shown_and_refused(ines: Browser, staffed: FilledShop) -> None:
    ines.send(RECEIVE, "/stores/receive", **(CAME | {"c_part_number": "940-212-3"}))
    assert "The certificate is for part number 940-212-3, the part is 940-212-4" in ines.get(sign_page()).text
    answer = ines.send(sign_page(), "/stores/item/sign", password=PASSWORD)
    assert (answer.status_code, "cannot be accepted" in answer.text) == (422, True)
    assert staffed.records.current(CertificateChecked) == []
    set_aside = sign_page("quarantined", "paper of another part")
    assert ines.send(set_aside, "/stores/item/sign", password=PASSWORD).status_code == 303
    assert "paper of another part" in ines.get(item()).text


def test_a_copying_mistake_is_corrected_with_a_reason(ines: Browser) -> None:
    ines.send(RECEIVE, "/stores/receive", **(CAME | {"c_quantity": ""}))
    action = "/stores/item/correct"
    assert ines.send(item(), action, **(CAME | {"reason": ""})).status_code == 422
    assert ines.send(item(), action, **(CAME | {"reason": "block 9 overlooked"})).status_code == 303
    assert "The copied fields fit the part" in ines.get(sign_page()).text


def test_a_builder_cannot_accept_a_certificate(ines: Browser, ada: Browser) -> None:
    ines.send(RECEIVE, "/stores/receive", **CAME)
    assert ada.send(sign_page(), "/stores/item/sign", password=PASSWORD).status_code == 403


def test_the_shortage_stands_first_and_is_printed(ines: Browser, shop_client: Browser) -> None:
    asked(ines)
    assert shop_client.send(PARTS, f"{PARTS}/build", build_on="2026-05-20").status_code == 303
    assert "1 part short, build on 20 May 2026" in ines.get(PARTS).text
    order = {
        "number": "PO-1",
        "part_number": "940-212-4",
        "quantity": "1",
        "supplier": "Ravenholt Parts",
        "ordered_on": "2026-05-02",
        "promised_on": "2026-05-29",
    }
    assert shop_client.send(IMPELLER, f"{IMPELLER}/order", "order-new", **order).status_code == 303
    text = ines.get(f"{PARTS}/shortages").text
    assert "on order, late" in text
    assert '<td class="r">9</td>' in text
    arrived = order | {"arrived_on": "2026-05-04"}
    assert shop_client.send(IMPELLER, f"{IMPELLER}/order", "order-PO-1", **arrived).status_code == 303


def test_a_serial_is_taken_signed_and_fitted(ines: Browser, ada: Browser, staffed: FilledShop) -> None:
    stocked(ines)
    asked(ada)
    kitted(ada)
    assert [e.body.tag for e in kit_lines(folder(staffed))] == ["IM-1"]
    sheet = f"{PARTS}/kit/compressor"
    assert "The kit is complete." in ada.get(sheet).text
    assert ada.send(sheet, sheet, password=PASSWORD).status_code == 303
    (signed,) = folder(staffed).of(KitSigned)
    assert signed.signature is not None
    assert "940-212-4, serial IM-1, certificate T-1" in signed.signature.shown
    assert "All parts kitted and signed" in ada.get(PARTS).text
    assert ada.send(IMPELLER, f"{IMPELLER}/fitted", removed="IM-0").status_code == 303
    (event,) = folder(staffed).of(WorkEvent)
    assert event.body.detail == "1 of 940-212-4 IM-1 fitted in place of IM-0"


def test_a_serial_that_another_visit_took_meanwhile_is_refused_in_words(
    ines: Browser, ada: Browser, staffed: FilledShop
) -> None:
    staffed.open_visit("W300", "C940-300")
    stocked(ines)
    asked(ada)
    other = "/visit/W300/parts"
    ines.send(other, f"{other}/needs", part="impeller", quantity="1", why="scrap")
    seen = ada.hidden(IMPELLER, f"{IMPELLER}/kit")
    assert ines.send(f"{other}/kind/impeller", f"{other}/kind/impeller/kit").status_code == 303
    late = ada.client.post(f"{IMPELLER}/kit", data=seen, follow_redirects=False)
    assert late.status_code == 422
    assert "visit W300 holds 1" in late.text
    assert kit_lines(folder(staffed)) == []


def test_an_alternate_is_offered_apart_with_the_paragraph_and_marked(ines: Browser, ada: Browser) -> None:
    stocked(ines, part_number="940-212-3", tag="IM-9", c_part_number="940-212-3", c_serial_or_lot="IM-9")
    asked(ada)
    text = ada.get(IMPELLER).text
    assert "OM-940 72-30, table 1002, item 12 allows 940-212-3 in place of 940-212-4" in text
    assert "Take this alternate" in text
    assert "Take this serial" not in text
    kitted(ada)
    assert "alternate for 940-212-4" in ada.get(f"{PARTS}/kit/compressor").text


def test_what_is_put_back_says_why_and_a_need_is_withdrawn(
    ines: Browser, ada: Browser, staffed: FilledShop
) -> None:
    stocked(ines)
    asked(ada)
    kitted(ada)
    assert ada.send(IMPELLER, f"{IMPELLER}/back", reason="").status_code == 422
    assert ada.send(IMPELLER, f"{IMPELLER}/back", reason="wrong serial").status_code == 303
    assert kit_lines(folder(staffed)) == []
    withdraw = f"{IMPELLER}/withdraw"
    assert ada.send(IMPELLER, withdraw, reason="crack was dirt").status_code == 303
    assert "No part is asked for yet" in ada.get(PARTS).text


def test_what_a_module_renews_is_asked_for_with_one_tap(ada: Browser) -> None:
    assert ada.send(PARTS, f"{PARTS}/renewed", "renewed-compressor").status_code == 303
    text = ada.get(PARTS).text
    assert "3 parts short" in text
    assert "Inlet guide vane bushing" in text


AUTHORISED = {
    "vendor": "thermoweld",
    "number": "XA.145.0031",
    "authority": "Invented Aviation Authority",
    "works": ["welding"],
    "valid_from": "2025-01-01",
    "expires_on": "2026-04-20",
}
SENT = {
    "part": "combustion_liner",
    "part_number": "940-340-4",
    "serial": "CL/88",
    "authorisation": "thermoweld XA.145.0031",
    "works": ["welding"],
    "data": "RD-940 rev 3",
    "sent_on": "2026-04-10",
    "expected_on": "2026-05-01",
}
TRIP = f"{PARTS}/repair?" + urlencode({"pn": "940-340-4", "sn": "CL/88", "trip": "1"})


def test_a_repair_is_sent_returned_inspected_and_stays_open_where_the_authorisation_had_run_out(
    ines: Browser, browser_of: Callable[[str], Browser], staffed: FilledShop
) -> None:
    rex = browser_of("rex")
    assert rex.send("/vendors", "/vendors", id="thermoweld", name="Thermoweld Oy").status_code == 303
    assert rex.send("/vendors", "/vendors/authorisation", **AUTHORISED).status_code == 303
    assert len(staffed.records.current(VendorAuthorised)) == 1
    assert "ran out 20 Apr 2026" in rex.get("/vendors").text
    assert ines.send(f"{PARTS}/send", f"{PARTS}/send", **SENT).status_code == 303
    assert "3 days late" in ines.get(PARTS).text
    back = {
        "returned_on": "2026-05-03",
        "works": ["welding"],
        "c_number": "TW-1",
        "c_authority": "Invented Aviation Authority",
        "c_organisation": "Thermoweld Oy",
        "c_approval_number": "XA.145.0031",
        "c_part_number": "940-340-4",
        "c_serial_or_lot": "CL/88",
        "c_quantity": "1",
        "c_status_word": "repaired",
        "c_data": "RD-940 rev 3",
        "c_dated": "2026-04-30",
    }
    assert ines.send(TRIP, f"{PARTS}/repair/return", **back).status_code == 303
    looked = TRIP + "&" + urlencode({"found": "Welds sound by penetrant.", "serviceable": "yes"})
    assert "serviceable. Welds sound by penetrant." in ines.get(looked).text
    assert ines.send(looked, f"{PARTS}/repair/inspect", password=PASSWORD).status_code == 303
    assert [e.body.what for e in folder(staffed).of(WorkEvent)] == ["repaired"]
    text = ines.get(TRIP).text
    assert "Authorisation XA.145.0031 ran out on 2026-04-20, released on 2026-04-30." in text
    assert "Not inspected" not in text


def test_a_builder_cannot_enter_a_vendor(ada: Browser) -> None:
    assert ada.send("/vendors", "/vendors", id="thermoweld", name="Thermoweld Oy").status_code == 403


@pytest.mark.parametrize(
    "page",
    [
        item("nothing"),
        f"{PARTS}/kind/nothing",
        f"{PARTS}/kit/nothing",
        f"{PARTS}/repair?pn=1&sn=2&trip=3",
        "/visit/W999/parts",
    ],
)
def test_what_is_not_there_is_not_found(ines: Browser, page: str) -> None:
    assert ines.get(page).status_code == 404


def test_a_character_that_no_database_keeps_is_refused_in_words(ada: Browser) -> None:
    answer = ada.send(PARTS, f"{PARTS}/needs", part="impeller", why="crack\0")
    assert (answer.status_code, "Why holds a NUL character." in answer.text) == (422, True)
