"""An engine is received on a tablet, by touch: a doubt about its hours, papers, modules, acceptance."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
import uvicorn
from page_checks import OPEN_ALL, SMALL_TARGETS
from playwright.sync_api import Browser, Page, expect

from shop.fixtures import NOON, FilledShop
from spoolwright.bootstrap.shop import open_shop
from spoolwright.crafts.receiving import service
from spoolwright.crafts.receiving.model import ReceivingDecided
from spoolwright.crafts.visit.entry import New
from spoolwright.crafts.visit.model import Stage, StageSet, VisitOpened
from spoolwright.crafts.visit.parts import Counts
from spoolwright.crafts.visit.people import Role
from spoolwright.sources.typefile import shipped_type
from spoolwright.web.app import create_app
from spoolwright.web.settings import Settings
from web.staff import PASSWORD

pytestmark = pytest.mark.browser
HERE = "/visit/W200/receiving"


@dataclass
class Served:
    """A shop behind a server."""

    shop: FilledShop
    address: str


def seen_before(shop: FilledShop) -> None:
    """The engine was here two years ago, with more hours than its papers say now."""
    visit = VisitOpened(
        number="W090",
        engine_serial="C940-204",
        type_id="corrie_940",
        customer="Holm Utility Helicopters",
        reason_for_removal="overhaul",
        received_on=date(2024, 1, 10),
    )
    service.open_visit(shop.desk("ines"), visit, Counts(hours_since_new=3300))
    shipped = New("visit/W090/stage", StageSet(stage=Stage.SHIPPED), "W090", 1, "shipped")
    shop.records.add([shipped], by="ines", at=NOON)


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    shop = FilledShop(open_shop(None, tmp_path / "shop"))
    shop.shop.types.adopt(shipped_type(), by="lead", at=datetime(2020, 1, 1, tzinfo=UTC))
    shop.hire("ines", "Ines Falk", Role.INSPECTOR)
    shop.people.set_password("ines", PASSWORD)
    seen_before(shop)
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


def sign_in(page: Page) -> None:
    page.goto("/sign-in")
    page.fill("input[name=login]", "ines")
    page.fill("input[name=password]", PASSWORD)
    page.tap("button.main")
    expect(page.locator(".who summary")).to_be_visible()


def open_the_visit(page: Page) -> None:
    page.goto("/receive")
    for name, typed in (
        ("number", "W200"),
        ("engine_serial", "C940-204"),
        ("customer", "Holm Utility Helicopters"),
        ("hours_since_new", "3251.5"),
    ):
        page.fill(f"input[name={name}]", typed)
    page.fill("textarea[name=reason_for_removal]", "chip light twice")
    page.get_by_role("button", name="Open the visit").tap()
    expect(page.locator("h1")).to_contain_text("Receiving:")


def record_how_it_came(page: Page, photograph: Path) -> None:
    form = page.locator(f'form[action="{HERE}/engine"]')
    expect(page.locator(".caution")).to_contain_text("relieve it at its valve before a single bolt")
    form.locator(".pick", has_text="closed, pressure held").tap()
    form.locator(".pick", has_text="Pressure relieved").tap()
    form.locator(".pick", has_text="preserved, tag valid").tap()
    form.locator("input[name=photographs]").set_input_files(photograph)
    form.get_by_role("button", name="Record how it came").tap()
    expect(page.locator("#engine img")).to_have_count(1)


def record_modules(page: Page) -> None:
    for n in range(5):
        details = page.locator("details[id^=module-]").nth(n)
        details.locator("summary").tap()
        details.locator("input[name=serial]").fill(f"M-{n}")
        details.get_by_role("button", name="Record the module").tap()
        expect(page.locator(".counts-table")).to_contain_text(f"M-{n}")


def test_an_engine_is_received_on_a_tablet(browser: Browser, served: Served, tmp_path: Path) -> None:
    photograph = tmp_path / "plate.png"
    photograph.write_bytes(_dot())
    context = browser.new_context(
        base_url=served.address, viewport={"width": 1024, "height": 768}, has_touch=True
    )
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda m: complaints.append(m.text) if m.type == "error" else None)
    sign_in(page)
    open_the_visit(page)
    expect(page.locator("#doubts")).to_contain_text(
        "Engine C940-204: 3251.5 h since new, fewer than the 3300 h recorded at visit W090 on 2024-01-10."
    )
    page.locator("#doubts textarea").fill("Hour meter renewed at 3,290 h: log page 12, copied.")
    page.get_by_role("button", name="Record what you found").tap()
    expect(page.locator("#doubts")).to_contain_text("Hour meter renewed")
    record_how_it_came(page, photograph)
    record_modules(page)
    expect(page.locator("#decision .sign")).to_have_count(0)

    for place in page.locator(".checklist fieldset").all():
        place.locator(".pick", has_text="present").tap()
    page.get_by_role("button", name="Record what was found").tap()
    page.fill("#decision input[name=password]", PASSWORD)
    page.get_by_role("button", name="Sign and accept").tap()
    expect(page.locator("h1")).to_have_text("Received and accepted")

    page.evaluate(OPEN_ALL)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    small = page.evaluate(SMALL_TARGETS)
    assert [target for target, *_ in small if 'class="skip"' not in target] == []
    assert complaints == []
    (decided,) = served.shop.records.current(ReceivingDecided)
    assert decided.signature is not None
    assert decided.signature.shown == page.locator("#decision .shown").inner_text()
    context.close()


def _dot() -> bytes:
    """A picture of one dot, as the PNG specification lays it out."""
    import struct
    import zlib

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    pixels = zlib.compress(b"\0\0")
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")
