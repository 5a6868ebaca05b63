"""The frame of every page: sign-in, sessions, where a request comes from, refused forms, double sending."""

from __future__ import annotations

import logging
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from shop.fixtures import NOON, FilledShop
from spoolwright.crafts.visit.model import NoteTaken, Stage, StageSet
from web.staff import PASSWORD, Browser

BrowserOf = Callable[[str], Browser]
NOTES, STAGE = "/visit/W100/notes", "/visit/W100/stage"
NOON_DAY = NOON.date()
JPEG = b"\xff\xd8\xff\xe0" + b"\x00" * 400


def stages(shop: FilledShop) -> list[StageSet]:
    return [e.body for e in shop.records.history("visit/W100/stage") if isinstance(e.body, StageSet)]


def notes(shop: FilledShop) -> list[NoteTaken]:
    return [e.body for e in shop.records.current(NoteTaken, visit="W100")]


def test_nothing_is_shown_to_a_stranger(browser_of: BrowserOf) -> None:
    client = browser_of("lena").client
    client.cookies.clear()
    for path in ("/", "/visit/W100", "/people", "/record", "/visits?q=a"):
        answer = client.get(path, follow_redirects=False)
        assert (answer.status_code, answer.headers["location"].split("=")[0]) == (303, "/sign-in?next")
    assert client.get("/visit/W100?x=1", follow_redirects=False).headers["location"].endswith("W100%3Fx%3D1")


def test_session_cookie_is_kept_from_scripts_and_other_sites(browser_of: BrowserOf) -> None:
    client = browser_of("lena").client
    client.cookies.clear()
    answer = Browser(client).send("/sign-in", "/sign-in", login="lena", password=PASSWORD)
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie


def test_sign_in_never_leads_to_another_site(browser_of: BrowserOf) -> None:
    client = browser_of("lena").client
    client.cookies.clear()
    for bad in ("https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", "javascript:1"):
        client.cookies.clear()
        hidden = Browser(client).hidden("/sign-in", "/sign-in")
        data = hidden | {"next": bad, "login": "lena", "password": PASSWORD}
        assert client.post("/sign-in", data=data, follow_redirects=False).headers["location"] == "/"


def test_wrong_password_is_told_beside_the_form_and_never_shown(browser_of: BrowserOf) -> None:
    client = browser_of("lena").client
    client.cookies.clear()
    answer = Browser(client).send("/sign-in", "/sign-in", login="ada", password="swordfish-of-ada")
    assert answer.status_code == 403
    assert "Login or password is wrong" in answer.text
    assert 'value="ada"' in answer.text
    assert "swordfish" not in answer.text


def test_guessing_has_an_end(browser_of: BrowserOf) -> None:
    client = browser_of("lena").client
    client.cookies.clear()
    browser = Browser(client)
    codes = [
        browser.send("/sign-in", "/sign-in", login="ada", password=f"guess number {n}").status_code
        for n in range(12)
    ]
    assert codes[0] == 403
    assert codes[-1] == 429
    assert browser.send("/sign-in", "/sign-in", login="ada", password=PASSWORD).status_code == 429


def test_sign_out_ends_the_session(shop_client: Browser) -> None:
    cookie = shop_client.client.cookies["spoolwright"]
    assert shop_client.send("/", "/sign-out").status_code == 303
    shop_client.client.cookies.set("spoolwright", cookie)
    assert shop_client.client.get("/", follow_redirects=False).status_code == 303


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://elsewhere.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site", "Origin": "http://testserver"},
        {"Sec-Fetch-Site": "same-site"},
        {"Origin": ""},
    ],
    ids=str,
)
def test_a_request_from_elsewhere_changes_nothing(
    browser_of: BrowserOf, staffed: FilledShop, headers: dict[str, str]
) -> None:
    browser = browser_of("lena")
    hidden = browser.hidden("/visit/W100", STAGE)
    data = hidden | {"stage": "build"}
    assert browser.client.post(STAGE, data=data, headers=headers).status_code == 403
    assert stages(staffed) == []


def test_a_form_without_our_token_changes_nothing(browser_of: BrowserOf, staffed: FilledShop) -> None:
    browser, other = browser_of("lena"), browser_of("ada")
    hidden = browser.hidden("/visit/W100", STAGE)
    stolen = other.hidden(NOTES, NOTES)["form_token"]
    for token in ("", "0" * 64, stolen):
        answer = browser.client.post(STAGE, data=hidden | {"stage": "build", "form_token": token})
        assert answer.status_code == 403
    assert stages(staffed) == []


def test_every_answer_carries_the_strict_policy(shop_client: Browser) -> None:
    for path in ("/", "/nowhere", "/alive", "/static/none.js", "/visit/W100"):
        headers = shop_client.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"


def test_templates_hold_no_script_and_no_style(templates: Path) -> None:
    wrong = re.compile(r"<script(?![^>]*\ssrc=)|\sstyle=|<style|\son[a-z]+\s*=|javascript:", re.I)
    found = [
        f"{path.relative_to(templates)}: {hit.group()}"
        for path in sorted(templates.rglob("*.html"))
        for hit in wrong.finditer(path.read_text())
    ]
    assert found == []


def test_static_files_are_kept_for_ever_under_their_hash(shop_client: Browser) -> None:
    page = shop_client.get("/").text
    addresses = re.findall(r'(?:href|src)="(/static/[^"]+)"', page)
    assert len(addresses) > 4
    for address in addresses:
        answer = shop_client.get(address)
        assert answer.status_code == 200
        assert "immutable" in answer.headers["cache-control"]


def test_a_refused_form_comes_back_with_all_that_was_typed(shop_client: Browser, staffed: FilledShop) -> None:
    answer = shop_client.send("/visit/W100", STAGE, stage="orbit", waits_for="two <b>seals</b>")
    assert answer.status_code == 422
    assert "&#39;orbit&#39; is not in the list" in answer.text
    assert 'value="two &lt;b&gt;seals&lt;/b&gt;"' in answer.text
    assert stages(staffed) == []


def test_who_may_not_is_told_why(browser_of: BrowserOf, staffed: FilledShop) -> None:
    lead, builder = browser_of("lena"), browser_of("ada")
    hidden = lead.hidden("/visit/W100", STAGE)
    token = builder.hidden(NOTES, NOTES)["form_token"]
    answer = builder.client.post(STAGE, data=hidden | {"form_token": token, "stage": "build"})
    assert answer.status_code == 403
    assert "Only the lead moves an engine" in answer.text
    assert stages(staffed) == []


def test_a_conflict_shows_both_and_the_way_forward(browser_of: BrowserOf, staffed: FilledShop) -> None:
    staffed.hire("lutz", "Lutz Orn", *(p for p in staffed.people.acting("lena", NOON_DAY).roles))
    staffed.people.set_password("lutz", PASSWORD)
    first, second = browser_of("lena"), browser_of("lutz")
    old = second.hidden("/visit/W100", STAGE)
    assert first.send("/visit/W100", STAGE, stage="build", waits_for="seals").status_code == 303
    answer = second.client.post(STAGE, data=old | {"stage": "repair", "waits_for": "the customer"})
    assert answer.status_code == 409
    for words in ("lena was first", "seals", "the customer", "build", "repair"):
        assert words in answer.text
    assert [s.stage for s in stages(staffed)] == [Stage.BUILD]
    again = dict(re.findall(r'name="(\w+)" value="([^"]*)"', answer.text.split(f'action="{STAGE}"')[1]))
    sent = second.client.post(STAGE, data=again | {"stage": "repair"}, follow_redirects=False)
    assert sent.status_code == 303
    assert [s.stage for s in stages(staffed)] == [Stage.BUILD, Stage.REPAIR]


def test_the_same_form_sent_twice_counts_once(shop_client: Browser, staffed: FilledShop) -> None:
    hidden = shop_client.hidden(NOTES, NOTES)
    sent = [
        shop_client.client.post(NOTES, data=hidden | {"text": "a nick"}, follow_redirects=False)
        for _ in range(3)
    ]
    assert [a.status_code for a in sent] == [303, 303, 303]
    assert len(notes(staffed)) == 1
    changed = shop_client.client.post(NOTES, data=hidden | {"text": "another"}, follow_redirects=False)
    assert changed.status_code == 409
    assert len(notes(staffed)) == 1


def test_a_script_that_sends_forms_is_told_where_to_go(shop_client: Browser) -> None:
    hidden = shop_client.hidden(NOTES, NOTES)
    answer = shop_client.client.post(NOTES, data=hidden | {"text": "a nick"}, headers={"X-Form": "fetch"})
    assert (answer.status_code, answer.headers["go-to"]) == (200, NOTES)


def test_photographs_are_kept_by_what_they_are(shop_client: Browser, staffed: FilledShop) -> None:
    photo = {"photos": ("nick.jpg", JPEG, "text/html")}
    assert shop_client.send(NOTES, NOTES, files=photo, text="a nick").status_code == 303
    (note,) = notes(staffed)
    assert (note.files[0].media_type, note.files[0].name) == ("image/jpeg", "nick.jpg")
    served = shop_client.get(f"/file/{note.files[0].sha256}")
    assert (served.content, served.headers["content-type"]) == (JPEG, "image/jpeg")
    assert "sandbox" in served.headers["content-security-policy"]


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("page.jpg", b"<html><script>alert(1)</script></html>"),
        ("tool.jpg", b"MZ\x90\x00" + b"\x00" * 50),
        ("empty.jpg", b""),
        ("drawing.jpg", b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>"),
    ],
)
def test_what_is_no_photograph_is_refused_whatever_its_name(
    shop_client: Browser, staffed: FilledShop, name: str, content: bytes
) -> None:
    answer = shop_client.send(NOTES, NOTES, files={"photos": (name, content, "image/jpeg")}, text="a nick")
    assert answer.status_code == 422
    assert name in answer.text
    assert notes(staffed) == []


def test_a_page_kept_as_a_file_is_never_run(shop_client: Browser, staffed: FilledShop) -> None:
    page = b"<html><script>alert(1)</script></html>"
    assert shop_client.send(NOTES, NOTES, files={"papers": ("x.html", page)}, text="odd").status_code == 303
    answer = shop_client.get(f"/file/{notes(staffed)[0].files[0].sha256}?name=x.html")
    assert answer.headers["content-type"].startswith("text/plain")
    assert answer.headers["content-disposition"].startswith("attachment")


def test_too_much_is_refused_before_it_is_read(shop_client: Browser) -> None:
    answer = shop_client.client.post(NOTES, content=b"", headers={"Content-Length": str(10**9)})
    assert answer.status_code == 413


def test_strangers_may_send_little(browser_of: BrowserOf) -> None:
    client = browser_of("lena").client
    client.cookies.clear()
    hidden = Browser(client).hidden("/sign-in", "/sign-in")
    big = client.post("/sign-in", data=hidden | {"login": "x" * 70_000, "password": "x"})
    assert big.status_code == 413
    client.cookies.clear()
    elsewhere = client.post(NOTES, data={"text": "x" * 70_000})
    assert elsewhere.status_code == 401


def test_an_address_that_is_not_complete_leads_back(shop_client: Browser) -> None:
    answer = shop_client.get("/record?before=zero")
    assert answer.status_code == 404
    assert "is missing or is not what it should be" in answer.text


def test_no_secret_reaches_the_log(
    browser_of: BrowserOf, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]
) -> None:
    with caplog.at_level(logging.DEBUG):
        browser = browser_of("lena")
        browser.send("/password", "/password", password=PASSWORD, new_password="short")
    heard = caplog.text + "".join(capfd.readouterr())
    assert PASSWORD not in heard
    assert browser.client.cookies["spoolwright"] not in heard


def test_a_fault_says_so_and_nothing_of_the_inside(
    staffed: FilledShop, browser_of: BrowserOf, monkeypatch: pytest.MonkeyPatch
) -> None:
    browser = browser_of("lena")

    def broken(*_: object) -> None:
        raise RuntimeError("secret inside")

    monkeypatch.setattr(staffed.shop, "open_items", broken)
    client = TestClient(browser.client.app, raise_server_exceptions=False, cookies=browser.client.cookies)
    answer = client.get("/visit/W100")
    assert answer.status_code == 500
    assert "nothing of this request was recorded" in answer.text
    assert "secret inside" not in answer.text
