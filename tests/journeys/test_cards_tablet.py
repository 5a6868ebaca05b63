"""A card on a tablet, by touch: no network, an interruption, a check refused to the same person."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, expect

from shop.fixtures import NOON, FilledShop
from spoolwright.bootstrap.shop import open_shop
from spoolwright.crafts.cards import hand, service
from spoolwright.crafts.cards.gauges import record_gauge
from spoolwright.crafts.cards.model import CardRef, GaugeKnown
from spoolwright.crafts.cards.rules import card_of
from spoolwright.crafts.visit.people import Role
from spoolwright.sources.typefile import shipped_type
from spoolwright.web.app import create_app
from spoolwright.web.settings import Settings
from web.staff import PASSWORD

pytestmark = pytest.mark.browser
PATH = "/visit/W100/cards/build_hot_section/1"
REF = CardRef("W100", "build_hot_section", 1)


@dataclass
class Served:
    """A shop behind a server."""

    shop: FilledShop
    address: str


def at_step_three(shop: FilledShop) -> None:
    """Two steps of the build signed and checked; the third, the shaft nut's torque, comes next."""
    lead, ned, ines = shop.desk("lena"), shop.desk("ned"), shop.desk("ines")
    record_gauge(lead, GaugeKnown(id="TW-07", name="torque wrench 40-200", due_on=date(2026, 9, 1)), 0)
    hand.issue_card(lead, "W100", "build_hot_section", "work scope line 2")
    hand.take_card(ned, REF)
    for step in ("kit", "rotor_in"):
        service.sign_step(ned, REF, step, service.sign_text(ned, REF, step))
    service.check_step(ines, REF, "rotor_in", service.check_text(ines, REF, "rotor_in"), agrees=True)


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    shop = FilledShop(open_shop(None, tmp_path / "shop"))
    shop.shop.types.adopt(shipped_type(), by="lead", at=datetime(2020, 1, 1, tzinfo=UTC))
    for login, name, *roles in (
        ("lena", "Lena Ost", Role.LEAD),
        ("ned", "Ned Oak", Role.BUILDER, Role.INSPECTOR),
        ("ines", "Ines Falk", Role.INSPECTOR),
    ):
        shop.hire(login, name, *roles)  # type: ignore[arg-type]
        shop.people.set_password(login, PASSWORD)
    shop.open_visit()
    at_step_three(shop)
    app = create_app(shop.shop, Settings(clock=lambda: NOON))
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=0, log_level="warning"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield Served(shop, f"http://127.0.0.1:{port}")
    server.should_exit = True
    thread.join(10)
    shop.shop.close()


def tablet_of(browser: Browser, served: Served, login: str) -> tuple[BrowserContext, Page]:
    """A tablet with touch on which a person is signed in, the card opened."""
    context = browser.new_context(
        base_url=served.address, viewport={"width": 1024, "height": 768}, has_touch=True
    )
    page = context.new_page()
    page.goto("/sign-in")
    page.fill("input[name=login]", login)
    page.fill("input[name=password]", PASSWORD)
    page.tap("button.main")
    expect(page.locator(".who summary")).to_be_visible()
    page.goto(PATH)
    return context, page


def sign(page: Page, form: str) -> None:
    """Give the password in a form and send it."""
    page.fill(f'form[action$="{form}"] input[name=password]', PASSWORD)
    page.tap(f'form[action$="{form}"] .sign button.main')


TARGETS = "main button, main select, main input:not([type=hidden]), main .steps a"


def small_targets(page: Page) -> list[str]:
    """What can be touched in the main part and is smaller than 44 px either way."""
    script = """(targets) => [...document.querySelectorAll(targets)]
        .filter(e => e.offsetParent && !e.closest(".pick"))
        .map(e => [e.getBoundingClientRect(), e.outerHTML.slice(0, 90)])
        .filter(([r]) => r.height < 44 || r.width < 44).map(([, t]) => t)"""
    found: list[str] = page.evaluate(script, TARGETS)
    return found


def record_without_a_line(context: BrowserContext, page: Page) -> None:
    """Touch 168 on the pad, send without a network, send again when it is back."""
    for key in "168":
        page.tap(f'.pad:not([hidden]) [data-key="{key}"]')
    page.locator(".pick", has_text="TW-07").tap()
    context.set_offline(True)
    page.get_by_role("button", name="Record it").tap()
    expect(page.get_by_text("No connection: this is not recorded yet.")).to_be_visible()
    assert page.input_value("input[name=value]") == "168"
    context.set_offline(False)
    page.get_by_role("button", name="Send again").tap()
    expect(page.locator(".read", has_text="168 N·m (1487 lbf in)")).to_be_visible()


def interrupt(page: Page) -> None:
    """Put the work down in the middle of the step, take it up again: the reading has to be taken again."""
    page.get_by_text("Put the work down, or hand it over").tap()
    page.locator(".pick", has_text="is begun").tap()
    page.fill("textarea[name=in_hand]", "nut torqued, lock tab not bent")
    page.fill("input[name=why]", "called to the telephone")
    sign(page, "/put-down")
    told = page.locator(".hand")
    expect(told).to_contain_text("Work goes on behind step 2, the last one signed: step 3 of 8.")
    expect(told).to_contain_text("to be taken again: Torque of the turbine shaft nut.")
    sign(page, "/take")
    lacks = "Torque of the turbine shaft nut was taken before the interruption."
    expect(page.get_by_text(lacks)).to_be_visible()
    assert page.locator('form[action$="/sign"]').count() == 0


def test_a_card_on_a_tablet(browser: Browser, served: Served) -> None:
    context, page = tablet_of(browser, served, "ned")
    expect(page.locator(".stand")).to_contain_text("step 3 of 8, in hand by Ned Oak since 12:00")
    assert small_targets(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    record_without_a_line(context, page)
    assert len(served.shop.records.history(REF.reading("shaft_nut", "nut_torque"))) == 1
    interrupt(page)
    page.get_by_role("button", name="as before: 168").tap()
    page.get_by_role("button", name="Record it").tap()
    sign(page, "/shaft_nut/sign")
    refusal = "You had a hand in this step: another inspector checks it."
    expect(page.locator(".check")).to_contain_text(refusal)
    assert page.locator('form[action$="/check"]').count() == 0
    assert own_check(page) == (
        403,
        "Ned Oak had a hand in step 3 and cannot check it. Another inspector looks at the work and signs.",
    )
    context.close()

    other, page = tablet_of(browser, served, "ines")
    page.locator(".pick", has_text=re.compile("^agrees")).tap()
    sign(page, "/check")
    expect(page.locator(".stand")).to_contain_text("step 4 of 8, in hand by Ned Oak")
    other.close()
    steps = card_of(served.shop.desk("lena"), REF).steps
    assert [s.done for s in steps[:4]] == [True, True, True, False]


def own_check(page: Page) -> tuple[int, str]:
    """What the server says to a check by the doer that the page never offered."""
    script = """async ([path, password]) => {
        const form_token = document.querySelector("form[action$='/put-down']").elements.form_token.value;
        const body = new URLSearchParams({form_token, agrees: "yes", password, shown: "x"});
        const answer = await fetch(path + "/step/shaft_nut/check", {method: "POST", body});
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        return [answer.status, page.querySelector("main").textContent];
    }"""
    status, text = page.evaluate(script, [PATH, PASSWORD])
    found = re.search(r"Ned Oak had a hand.*?signs\.", " ".join(text.split()))
    return status, found[0] if found else text
