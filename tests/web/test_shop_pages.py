"""Pages of the whole shop: engines, people, the record explorer; section and stage of an engine."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import ClassVar

import pytest

from shop.fixtures import NOON, FilledShop
from spoolwright.bootstrap.calculations import RECOMPUTE
from spoolwright.crafts.typefile.base import Source
from spoolwright.crafts.visit.desk import signed
from spoolwright.crafts.visit.entry import Body, Calculation, Meaning, New
from spoolwright.crafts.visit.model import NoteTaken
from spoolwright.crafts.visit.people import AuthorisationGiven, NotEntitledError, Role
from web.filled import engines
from web.staff import PASSWORD, Browser

BrowserOf = Callable[[str], Browser]


class Weighed(Body):
    """A record with a calculation, of these tests alone."""

    kind: ClassVar[str] = "weighed_in_a_test"

    mass_kg: float
    limit: Source
    calculation: Calculation


def text_of(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page.split("<main")[1]).split())


def test_engines_stand_under_their_stage_with_what_they_wait_for(
    browser_of: BrowserOf, staffed: FilledShop
) -> None:
    engines(staffed)
    text = text_of(browser_of("lena").get("/").text)
    assert "11 engines in the shop" in text
    order = ["Receiving 2", "Records review 1", "As-received run 1", "Teardown 1", "Test cell 1", "Release 1"]
    places = [text.index(o) for o in order]
    assert places == sorted(places)
    assert "C940-143 W102 , Holm Utility Helicopters records review two seals" in text
    assert "3 days left 7 May 2026" in text  # W102: promised 1 May + 6 days, read on 4 May
    assert text.count("no date promised") == 3  # W101 and W106 have none, nor has W100


def test_visits_are_found_by_any_part_of_a_serial(browser_of: BrowserOf, staffed: FilledShop) -> None:
    engines(staffed)
    browser = browser_of("vic")
    assert "1 visit with" in browser.get("/visits?q=940-195").text
    assert "10 visits with" in browser.get("/visits?q=holm+w10").text
    assert "No visit has these words" in browser.get("/visits?q=nothing").text
    assert browser.get("/visits?q=&at=99").status_code == 200


def test_engine_page_begins_with_what_is_open_and_draws_modules(
    browser_of: BrowserOf, staffed: FilledShop
) -> None:
    engines(staffed)
    page = browser_of("lena").get("/visit/W110").text
    items = staffed.shop.open_items("W110", NOON.date())
    holding = [i for i in items if i.blocks_release]
    assert f"{len(holding)} things between it and its release" in page
    assert text_of(page).index("First:") < text_of(page).index("Air inlet")
    kind = staffed.types.of("corrie_940").type_file
    for module in kind.module:
        assert f'href="/visit/W110/module/{module.id}"' in page
        assert module.name in page
        mine = [i for i in items if i.module == module.id]
        shown = browser_of("lena").get(f"/visit/W110/module/{module.id}").text
        assert all(i.link.replace("&", "&amp;") in shown for i in mine)
    assert re.search(r"Power turbine and exhaust frame</b>.*?out of the engine", page, re.S)


def test_section_of_the_type_names_every_module_once(staffed: FilledShop) -> None:
    kind = staffed.types.of("corrie_940")
    assert kind.shop.section is not None
    assert [m.module for m in kind.shop.section.module] == [m.id for m in kind.type_file.module]
    inside = kind.shop.section.length_mm
    assert all(0 <= x <= inside for m in kind.shop.section.module for p in m.part for x, _ in p.points_mm)


def test_the_lead_enters_people_and_nobody_else(browser_of: BrowserOf, staffed: FilledShop) -> None:
    lead = browser_of("lena")
    answer = lead.send(
        "/people",
        "/people",
        login="nils",
        name="Nils Aho",
        roles="inspector",
        new_password="a first password",
    )
    assert answer.status_code == 303
    nils = staffed.people.acting("nils", NOON.date())
    assert (nils.name, nils.roles) == ("Nils Aho", {Role.INSPECTOR})
    assert "none: cannot sign" in lead.get("/people").text
    hidden = lead.hidden("/people", "/people")
    ada = browser_of("ada")
    token = ada.hidden("/visit/W100/notes", "/visit/W100/notes")["form_token"]
    data = hidden | {"form_token": token, "login": "mole", "name": "Mole", "roles": "lead"}
    refused = ada.client.post("/people", data=data)
    assert refused.status_code == 403
    assert "Only the lead enters people" in refused.text
    assert staffed.people.known("mole") is None


def test_an_authorisation_lasts_as_long_as_what_it_rests_on(
    browser_of: BrowserOf, staffed: FilledShop
) -> None:
    staffed.hire("nora", "Nora Dahl", Role.NDI_2)
    lead, number = browser_of("lena"), "FEW-nora-1"
    renewal = {"expires_on": "2029-01-01", "vision_until": "2026-06-01", "training_until": "2028-01-01"}
    action = "/people/nora/authorisation"
    without = lead.send("/people/nora", action, f"authorisation-{number}", **renewal)
    assert without.status_code == 422
    assert "A change needs its reason" in without.text
    past = renewal | {"vision_until": "2026-05-01", "reason": "vision test"}
    assert "would have run out on 2026-05-01" in lead.send("/people/nora", action, **past).text
    done = lead.send("/people/nora", action, f"authorisation-{number}", **renewal, reason="vision test")
    assert done.status_code == 303
    assert "28 days left" in lead.get("/people/nora").text
    assert staffed.desk("nora", NOON + timedelta(days=28)).entitled(Role.NDI_2) == number
    with pytest.raises(NotEntitledError, match="holds no authorisation that is valid today"):
        staffed.desk("nora", NOON + timedelta(days=29)).entitled(Role.NDI_2)


def test_who_has_left_is_signed_out_and_stays_out(browser_of: BrowserOf) -> None:
    lead, bo = browser_of("lena"), browser_of("bo")
    sent = lead.send(
        "/people/bo", "/people/bo", name="Bo Varga", roles="builder", left_on="2026-05-04", reason="retired"
    )
    assert sent.status_code == 303
    assert bo.client.get("/", follow_redirects=False).status_code == 303
    bo.client.cookies.clear()
    assert bo.send("/sign-in", "/sign-in", login="bo", password=PASSWORD).status_code == 403


def test_the_lead_cannot_lock_the_lead_out(browser_of: BrowserOf) -> None:
    answer = browser_of("lena").send(
        "/people/lena", "/people/lena", name="Lena Ost", roles="viewer", reason="tired"
    )
    assert answer.status_code == 422
    assert "cannot take the lead&#39;s role from yourself" in answer.text


def test_a_person_changes_the_own_password(browser_of: BrowserOf) -> None:
    ada = browser_of("ada")
    wrong = ada.send("/password", "/password", password="not it at all", new_password="another long one")
    assert wrong.status_code == 422
    short = ada.send("/password", "/password", password=PASSWORD, new_password="short")
    assert "10 to 200 characters" in short.text
    done = ada.send("/password", "/password", password=PASSWORD, new_password="another long one")
    assert done.status_code == 303
    ada.client.cookies.clear()
    assert ada.send("/sign-in", "/sign-in", login="ada", password="another long one").status_code == 303


def test_why_this_number(browser_of: BrowserOf, staffed: FilledShop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(RECOMPUTE, ("twice", "1"), lambda inputs, read: {"double": 2 * inputs["value"]})
    desk = staffed.desk("ada")
    body = Weighed(
        mass_kg=2.5,
        limit=Source(document="OM-940", paragraph="72-30, table 2"),
        calculation=Calculation(name="twice", version="1", inputs={"value": 1.25}, result={"double": 2.5}),
    )
    new = New("visit/W100/weighed/1", body, visit="W100")
    shown = "Mass of the impeller: 2.5 kg"
    (first,) = desk.record(signed(new, desk, Meaning.DID, shown, Role.BUILDER))
    wrong = body.model_copy(
        update={"calculation": body.calculation.model_copy(update={"result": {"double": 2.6}})}
    )
    (second,) = desk.record(New(first.subject, wrong, visit="W100", after=1, reason="scale was not zeroed"))
    browser = browser_of("vic")
    page = browser.get(f"/record/{first.seq}")
    text = text_of(page.text)
    for said in (
        "Weighed in a test, record", "mass kg 2.5", shown, "Ada Lund did this work, authorisation FEW-ada-1",
        "Computed by twice, version 1",
        "value 1.25", "double 2.5", "OM-940 9 72-30, table 2", first.digest, "scale was not zeroed",
        "A newer revision is in force", staffed.records.head()[1],
    ):  # fmt: skip
        assert said in text
    assert "it gives the same" in browser.get(f"/record/{first.seq}?again=true").text
    assert "stored as 2.6, computed again it is 2.5" in browser.get(f"/record/{second.seq}?again=true").text
    assert browser.get("/record/999999").status_code == 404


def test_records_are_found_by_serial_kind_and_author(browser_of: BrowserOf, staffed: FilledShop) -> None:
    for n in range(120):
        note = NoteTaken(text=f"note {n}")
        staffed.records.add([New(f"part/940-1/S-{n:03d}/note", note)], by="ines", at=NOON)
    browser = browser_of("rex")
    assert "part/940-1/S-007/note" in browser.get("/record?q=s-007").text
    assert "part/940-1/S-007/note" not in browser.get("/record?q=s-008").text
    assert "visit/W100" in browser.get("/record?q=C940-117").text
    first = browser.get("/record?kind=note&author=ines").text
    assert first.count("part/940-1/") == 50
    older = re.search(r'href="([^"]*before=\d+)">Older', first)
    assert older
    second = browser.get(older[1].replace("&amp;", "&")).text
    assert second.count("part/940-1/") == 50
    assert set(re.findall(r"S-\d{3}", first)).isdisjoint(re.findall(r"S-\d{3}", second))
    assert "Nothing recorded has these words" in browser.get("/record?q=%25_").text


def test_withdrawn_authorisation_no_longer_counts() -> None:
    given = AuthorisationGiven(
        login="x", number="1", role=Role.NDI_2, expires_on=date(2028, 1, 1), vision_until=date(2027, 1, 1)
    )
    assert given.valid_until == date(2027, 1, 1)
