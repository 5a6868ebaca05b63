"""A stage of 36 blades on a tablet: fourteen findings by touch, own look, proposals, decisions signed."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from shop.fixtures import FilledShop
from spoolwright.bootstrap.shop import open_shop
from spoolwright.crafts.inspection.model import DispositionAccepted, FindingRecorded, StageInspected
from spoolwright.sources.typefile import shipped_type
from web.filled import Served, serving
from web.looking import TABLET, signed_in
from web.staff import PASSWORD, STAFF
from web.test_pages_in_browser import hindrances, unfold

pytestmark = pytest.mark.browser
PATH = "/visit/W100/inspection/axial_rotor_1"
TARGETS = """() => [...document.querySelectorAll(
    "main button, main select, main input:not([type=hidden]), main summary, .map a, .outline a")]
    .filter(e => e.getClientRects().length && !e.closest(".pick"))
    .map(e => [e.getBoundingClientRect(), e.outerHTML.slice(0, 90)])
    .filter(([r]) => r.height < 44 || r.width < 44).map(([, t]) => t)"""


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    shop = FilledShop(open_shop(None, tmp_path / "shop"))
    shop.shop.types.adopt(shipped_type(), by="lead", at=datetime(2020, 1, 1, tzinfo=UTC))
    for login in ("ines", "lena"):
        shop.hire(login, *STAFF[login])
        shop.people.set_password(login, PASSWORD)
    shop.open_visit()
    with serving(shop) as running:
        yield running
    shop.shop.close()


@pytest.fixture(scope="module")
def chrome() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        yield browser
        browser.close()


def touch(page: Page, blade: int, zone: str, damage: str, **sizes: str) -> None:
    """A finding with the finger alone: blade, zone, damage, digits, record."""
    page.locator(f'.map a[data-number="{blade}"]').tap()
    page.locator(f'.outline a[data-zone="{zone}"]').first.tap()
    page.locator(".finding-form .pick", has=page.locator(f'input[name=damage][value="{damage}"]')).tap()
    for name, digits in sizes.items():
        page.locator(f".sizes input[name={name}]").tap()
        for key in digits:
            page.locator(f'.pad [data-key="{key}"]').tap()
    page.get_by_role("button", name="Record it").tap()
    expect(page.locator(".last")).to_contain_text(f"lade {blade},")


def again(page: Page, blade: int) -> None:
    """The same on the next blade, with one tap."""
    page.get_by_role("button", name=f"The same on blade {blade}").tap()
    expect(page.locator(".last")).to_contain_text(f"lade {blade},")


def findings(served: Served) -> list[FindingRecorded]:
    return [e.body for e in served.shop.records.current(FindingRecorded, visit="W100")]


def test_fourteen_findings_by_touch(chrome: Browser, served: Served) -> None:
    with signed_in(chrome, served, "ines", **TABLET) as page:
        page.goto(PATH)
        assert page.evaluate(TARGETS) == []
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        touch(page, 7, "le_tip", "nick", depth="0.1", length="1.2")
        for blade in range(8, 18):
            again(page, blade)
        touch(page, 21, "te_mid", "gouge", depth="0.6", length="2.5")
        touch(page, 30, "fillet", "nick", depth="0.1", length="0.5")
        page.fill("input[name=quick]", "33 l3 k")
        page.press("input[name=quick]", "Enter")
        expect(page.locator(".last")).to_contain_text("lade 33,")
        bodies = findings(served)
        assert [b.blade for b in bodies] == [*range(7, 18), 21, 30, 33]
        assert {(b.zone, str(b.depth), str(b.length)) for b in bodies[:11]} == {
            ("le_tip", "0.1 mm", "1.2 mm")
        }
        decide(page)
        for address in (PATH, f"{PATH}/finding/12", "/visit/W100/inspection/impeller"):
            page.goto(address)
            assert page.evaluate(TARGETS) == []
            unfold(page)
            assert hindrances(page) == [], address
    held = served.shop.records.current(DispositionAccepted, visit="W100")
    told = [e.body.decided for e in held]
    assert told == [*["serviceable"] * 11, "blend", "scrap", "scrap"]
    assert all(e.signature and e.signature.person == "ines" for e in held)
    (whole,) = served.shop.records.current(StageInspected, visit="W100")
    assert whole.body.findings == 14


def decide(page: Page) -> None:
    """Own look at all, then what the limits say, then the signature."""
    expect(page.get_by_text("Meets limits as is")).to_have_count(0)
    for n, view in enumerate([*["serviceable"] * 11, "blend", "scrap", "scrap"], 1):
        picks = page.locator(f'.pick:has(input[name=view_{n}][value="{view}"])')
        picks.tap()
    page.get_by_role("button", name="Record my view, then show what the limits say").tap()
    expect(page.locator(".to-decide")).to_have_count(14)
    expect(page.locator(".to-decide .judged").first).to_contain_text("Meets limits as is")
    page.get_by_role("button", name="Read what you sign").tap()
    expect(page.locator(".shown")).to_contain_text("14. Blade 33, leading edge, tip third: crack.")
    page.fill("input[name=password]", PASSWORD)
    page.get_by_role("button", name="Accept").tap()
    expect(page.locator("#findings")).to_contain_text("to be blended")
    page.get_by_role("link", name="Sign that it was looked at whole").tap()
    page.fill("input[name=password]", PASSWORD)
    page.get_by_role("button", name="Sign", exact=True).tap()
    expect(page.locator(".stand")).to_contain_text("looked at whole, signed by Ines Falk")


def test_a_line_and_enter_for_each_finding(chrome: Browser, served: Served) -> None:
    """What the pages themselves take: two seconds a finding at most, so 72 take less than three minutes."""
    with signed_in(chrome, served, "ines", viewport={"width": 1440, "height": 900}) as page:
        page.goto(PATH)
        began = time.monotonic()
        for n, (blade, zone) in enumerate(((b, z) for b in range(1, 11) for z in ("l3", "t3")), 1):
            page.fill("input[name=quick]", f"{blade} {zone} n 0.1 1.2")
            page.press("input[name=quick]", "Enter")
            expect(page.locator(".last")).to_contain_text(f"finding {n}:")
        took = time.monotonic() - began
        assert len(findings(served)) == 20
        assert page.evaluate("document.activeElement.name") == "quick"
        assert took < 20 * 2.0, f"{took:.0f} s"
