"""Pages of receiving: a visit is opened, doubted, checked and accepted, each by who may."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from shop.fixtures import FilledShop
from spoolwright.crafts.receiving.checklist import checklist
from spoolwright.crafts.receiving.known import doubts_of
from spoolwright.crafts.receiving.model import (
    DocumentReceived,
    EngineReceived,
    ModuleReceived,
    ReceivingDecided,
)
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.parts import PartFitted
from web.staff import PASSWORD, Browser

HERE = "/visit/W200/receiving"
VISIT = {
    "number": "W200",
    "engine_serial": "C940-204",
    "customer": "Holm Utility Helicopters",
    "reason_for_removal": "chip light",
    "received_on": "2026-05-04",
    "word": "",
    "hours_since_new": "3251,5",
    "cycles_since_new": "4100",
}
PHOTO = b"\xff\xd8\xff\xe0" + b"\0" * 40


@pytest.fixture
def ines(browser_of: Callable[[str], Browser]) -> Browser:
    """The inspector, with a visit just opened."""
    browser = browser_of("ines")
    answer = browser.send("/receive", "/receive", **VISIT)
    assert (answer.status_code, answer.headers["location"]) == (303, HERE)
    return browser


def folder(staffed: FilledShop) -> Folder:
    return staffed.shop.folder("W200", staffed.shop.visit("W200").opened.received_on)


def receive_all(ines: Browser, staffed: FilledShop) -> None:
    """Everything a person records before acceptance."""
    came = {"container": "no container", "preservation": "preserved, tag valid"}
    assert ines.send(HERE, f"{HERE}/engine", **came).status_code == 303
    for n, module in enumerate(folder(staffed).kind.type_file.module):
        address = f"{HERE}/module/{module.id}"
        assert ines.send(HERE, address, serial=f"M-{n}", hours_since_new="12").status_code == 303
    found = {
        "state_" + "__".join(filter(None, (line.document.id, line.module))): "present"
        for line in checklist(folder(staffed))
    }
    assert ines.send(HERE, f"{HERE}/documents", **found).status_code == 303


def test_a_visit_is_opened_with_the_counts_as_typed(ines: Browser, staffed: FilledShop) -> None:
    assert staffed.shop.visit("W200").opened.time_since_new_h == 3251.5
    text = ines.get(HERE).text
    assert "Removed for: chip light" in text
    assert "ground both halves before they are parted" in text


def test_a_number_that_is_taken_says_so_beside_its_field_and_keeps_what_was_typed(ines: Browser) -> None:
    answer = ines.send("/receive", "/receive", **(VISIT | {"customer": "Skerry Air"}))
    assert answer.status_code == 422
    assert "Visit W200 was opened by ines on 2026-05-04. Take the next free number." in answer.text
    assert 'value="Skerry Air"' in answer.text


def test_a_count_that_is_no_number_is_told(ines: Browser) -> None:
    typed = VISIT | {"number": "W201", "hours_since_new": "about 3000"}
    answer = ines.send("/receive", "/receive", **typed)
    assert answer.status_code == 422
    assert "Hours since new: &#39;about 3000&#39; is not a number" in answer.text


def test_how_it_came_is_recorded_with_photographs(ines: Browser, staffed: FilledShop) -> None:
    answer = ines.send(
        HERE,
        f"{HERE}/engine",
        files=[("photographs", ("plate.jpg", PHOTO, "image/jpeg"))],
        container="closed, pressure held",
        pressure_relieved="yes",
        preservation="not known",
        accessories_missing=["Governor", "Fuel control unit"],
    )
    assert answer.status_code == 303
    (entry,) = folder(staffed).of(EngineReceived)
    assert entry.body.accessories_missing == ("Governor", "Fuel control unit")
    assert entry.body.photographs[0].name == "plate.jpg"
    assert "nothing agreed with the customer: Governor, Fuel control unit" in ines.get(HERE).text


def test_the_whole_list_of_documents_is_recorded_at_once(ines: Browser, staffed: FilledShop) -> None:
    answer = ines.send(
        HERE,
        f"{HERE}/documents",
        state_engine_logbook="copied",
        state_life_cards__compressor="absent",
    )
    assert answer.status_code == 303
    found = {(e.body.document, e.body.module): e.body.state for e in folder(staffed).of(DocumentReceived)}
    assert found == {("engine_logbook", ""): "copied", ("life_cards", "compressor"): "absent"}
    again = ines.send(HERE, f"{HERE}/documents", state_engine_logbook="copied")
    assert again.status_code == 303
    assert folder(staffed).of(DocumentReceived)[0].revision == 1


def test_lower_counts_are_doubted_answered_and_then_closed(ines: Browser, staffed: FilledShop) -> None:
    earlier = VISIT | {"number": "W090", "received_on": "2024-01-10", "hours_since_new": "3300"}
    ines.send("/receive", "/receive", **earlier)
    (doubt,) = [d for d in doubts_of(folder(staffed), staffed.records) if "fewer" in d.text]
    assert doubt.text[1:] in ines.get(HERE).text
    answer = ines.send(HERE, f"{HERE}/doubt", f"doubt-{doubt.key}", answer="Counter renewed, log page 12.")
    assert answer.status_code == 303
    assert "Counter renewed, log page 12." in ines.get(HERE).text


def test_acceptance_is_offered_only_when_nothing_is_missing_and_needs_the_password(
    ines: Browser, staffed: FilledShop
) -> None:
    assert "Sign and accept" not in ines.get(HERE).text
    receive_all(ines, staffed)
    assert "Sign and accept" in ines.get(HERE).text
    refused = ines.send(HERE, f"{HERE}/decision", "accept", password="not it at all")
    assert (refused.status_code, "The password is not right" in refused.text) == (422, True)
    assert ines.send(HERE, f"{HERE}/decision", "accept", password=PASSWORD).status_code == 303
    (entry,) = folder(staffed).of(ReceivingDecided)
    assert entry.signature is not None
    assert entry.signature.authorisation == "FEW-ines-1"
    assert "Received and accepted" in ines.get(HERE).text


def test_a_builder_cannot_accept(
    ines: Browser, staffed: FilledShop, browser_of: Callable[[str], Browser]
) -> None:
    receive_all(ines, staffed)
    ada = browser_of("ada")
    answer = ada.send(HERE, f"{HERE}/decision", "accept", password=PASSWORD)
    assert (answer.status_code, "this needs a person who is inspector" in answer.text.lower()) == (403, True)


def test_quarantine_shows_its_sentence_before_it_is_signed(ines: Browser, staffed: FilledShop) -> None:
    page = f"{HERE}/quarantine?reason=Logbook+lost+in+transit"
    assert "quarantined. Logbook lost in transit" in ines.get(page).text
    assert "without a reason" in ines.get(f"{HERE}/quarantine").text
    assert ines.send(page, f"{HERE}/decision", password=PASSWORD).status_code == 303
    assert folder(staffed).of(ReceivingDecided)[0].body.reason == "Logbook lost in transit"
    assert "Quarantined" in ines.get(HERE).text


def test_a_table_of_parts_goes_in_and_comes_out(ines: Browser, staffed: FilledShop) -> None:
    table = b"part,part_number,serial\nimpeller,940-212-4,IM-2201\nigniter,940-344-1,IG-9\n"
    answer = ines.send(HERE, f"{HERE}/parts", files=[("table", ("parts.csv", table, "text/csv"))])
    assert answer.status_code == 303
    assert {e.body.serial for e in folder(staffed).of(PartFitted)} == {"IM-2201", "IG-9"}
    out = ines.get(f"{HERE}/parts.csv")
    assert out.headers["content-disposition"] == 'attachment; filename="parts-W200.csv"'
    assert out.text.splitlines()[1] == "impeller,940-212-4,IM-2201,,"
    bad = ines.send(HERE, f"{HERE}/parts", files=[("table", ("parts.csv", table + b"x,1,2\n", "text/csv"))])
    assert (bad.status_code, "parts.csv:4 [part] &#39;x&#39; is not in the bill" in bad.text) == (422, True)


def test_two_inspectors_at_one_module_see_both_values(
    ines: Browser, browser_of: Callable[[str], Browser]
) -> None:
    rex = browser_of("rex")
    address = f"{HERE}/module/compressor"
    seen = rex.hidden(HERE, address)
    assert ines.send(HERE, address, serial="CM-1").status_code == 303
    late = rex.client.post(address, data=seen | {"serial": "CM-7"}, follow_redirects=False)
    assert late.status_code == 409
    assert "CM-1" in late.text
    assert "CM-7" in late.text


def test_a_correction_of_a_module_needs_its_reason(ines: Browser, staffed: FilledShop) -> None:
    address = f"{HERE}/module/compressor"
    ines.send(HERE, address, serial="CM-1")
    assert ines.send(HERE, address, serial="CM-7").status_code == 422
    assert ines.send(HERE, address, serial="CM-7", reason="plate read again").status_code == 303
    assert folder(staffed).of(ModuleReceived)[0].body.serial == "CM-7"


@pytest.mark.parametrize("page", ["/visit/W999/receiving", "/visit/W999/receiving/parts.csv"])
def test_a_visit_that_is_not_there_is_not_found(ines: Browser, page: str) -> None:
    assert ines.get(page).status_code == 404
