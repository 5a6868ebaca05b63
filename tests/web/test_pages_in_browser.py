"""Every page in a real browser: hindrances (axe-core), layout, targets, keyboard; by day and by night."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from web.filled import Served
from web.looking import DESK, TABLET, VISIT, page_addresses, signed_in

pytestmark = pytest.mark.browser

VENDOR = Path(__file__).parent / "vendor"
AXE = (VENDOR / "axe.min.js").read_text()
RUN = """
async () => {
  const rules = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'];
  const found = await axe.run(document, { runOnly: rules });
  return found.violations.filter((v) => ['serious', 'critical'].includes(v.impact))
    .map((v) => `${v.id}: ${v.nodes.slice(0, 3).map((n) => n.html.slice(0, 160)).join(' | ')}`);
}
"""
SMALL = """
() => [...document.querySelectorAll('main a, main button, main summary, main input, main select, nav a')]
  .filter((e) => e.checkVisibility({ visibilityProperty: true }) && !e.closest('p, [aria-hidden]'))
  .map((e) => [e.outerHTML.slice(0, 110), (e.closest('label') ?? e).getBoundingClientRect()])
  .map(([text, r]) => [text, r.width, r.height])
  .filter(([, w, h]) => w > 1 && h > 1 && (w < 43.5 || h < 43.5))
"""
SHIFTS = """
addEventListener('DOMContentLoaded', () => {
  window.shifted = 0;
  const add = (e) => { if (!e.hadRecentInput) window.shifted += e.value; };
  const watch = new PerformanceObserver((l) => l.getEntries().forEach(add));
  watch.observe({ type: 'layout-shift', buffered: true });
});
"""
LIGHTS = [("", "light"), ("", "dark"), ("shop", "light"), ("booth", "dark"), ("wall", "dark")]


def unfold(page: Page) -> None:
    page.evaluate("() => { for (const d of document.querySelectorAll('details:not(.who)')) d.open = true; }")


def hindrances(page: Page) -> list[str]:
    # The policy of our pages forbids foreign scripts; the debugger puts this one in.
    page.evaluate(AXE)
    found: list[str] = page.evaluate(RUN)
    return found


def with_light(page: Page, light: str, served: Served) -> None:
    page.context.add_cookies([{"name": "light", "value": light, "url": served.address}])


@pytest.mark.parametrize(("light", "scheme"), LIGHTS, ids=lambda v: v or "office")
def test_nothing_hinders_anybody_on_any_page(
    chrome: Browser, served: Served, light: str, scheme: Any
) -> None:
    found = {}
    with signed_in(chrome, served, color_scheme=scheme, **TABLET) as page:
        with_light(page, light, served)
        for address in page_addresses(served.shop):
            page.goto(address)
            unfold(page)
            if wrong := hindrances(page):
                found[address] = wrong
    assert found == {}


@pytest.mark.parametrize("context", [TABLET, DESK], ids=["tablet", "desk"])
def test_nothing_jumps_and_nothing_is_wider_than_the_window(
    chrome: Browser, served: Served, context: dict[str, Any]
) -> None:
    wrong: dict[str, Any] = {}
    complaints: list[str] = []
    with signed_in(chrome, served, **context) as page:
        page.on("console", lambda m: complaints.append(f"{page.url}: {m.text}"))
        page.on("pageerror", lambda e: complaints.append(f"{page.url}: {e}"))
        page.add_init_script(SHIFTS)
        for address in page_addresses(served.shop):
            page.goto(address)
            page.wait_for_timeout(60)
            shifted = page.evaluate("window.shifted")
            unfold(page)
            wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
            if shifted > 0.01 or wide > 0:
                wrong[address] = (shifted, wide)
    assert wrong == {}
    assert [c for c in complaints if "status of 404" not in c and "status of 422" not in c] == []


def test_everything_to_touch_is_large_enough(chrome: Browser, served: Served) -> None:
    small: dict[str, Any] = {}
    with signed_in(chrome, served, **TABLET) as page:
        for address in page_addresses(served.shop):
            page.goto(address)
            unfold(page)
            if found := page.evaluate(SMALL):
                small[address] = found[:4]
    assert small == {}


def test_the_board_is_readable_from_four_metres(chrome: Browser, served: Served) -> None:
    """Letters on a 55 inch wall screen of 1920 x 1080 (1218 mm wide).

    ISO 9241-303:2011, 5.5.4: character height of at least 16 minutes of arc; 4 m x tan(16') = 18.6 mm for
    capitals, which are 0.698 of the shipped font's size (its OS/2 table).
    """
    with signed_in(chrome, served, viewport={"width": 1920, "height": 1080}) as page:
        with_light(page, "wall", served)
        page.goto("/")
        sizes = page.evaluate(
            "() => [...document.querySelectorAll('.board td, .board .engine')]"
            ".map((e) => parseFloat(getComputedStyle(e).fontSize))"
        )
    assert sizes
    assert min(sizes) * 0.698 * 1218 / 1920 >= 18.6


def test_a_visit_is_reached_and_a_stage_recorded_by_keyboard(chrome: Browser, served: Served) -> None:
    with signed_in(chrome, served, **DESK) as page:
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.className") == "skip"
        assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
        page.get_by_role("link", name="C940-182").focus()
        page.keyboard.press("Enter")
        page.wait_for_url("**/visit/W105")
        page.locator("summary", has_text="Move it on").focus()
        page.keyboard.press("Enter")
        page.get_by_label("What it waits for").focus()
        page.keyboard.press("Control+A")
        page.keyboard.type("the paint to dry")
        page.keyboard.press("Enter")
        page.get_by_text("waits for the paint to dry").first.wait_for()


def test_the_section_leads_to_its_modules_by_touch(chrome: Browser, served: Served) -> None:
    with signed_in(chrome, served, **TABLET) as page:
        page.goto(f"/visit/{VISIT}")
        assert "out of the engine" in page.locator(".modules li", has_text="Power turbine").inner_text()
        page.locator(".section svg a.region .outline").nth(1).tap(position={"x": 60, "y": 90})
        page.wait_for_url("**/module/compressor")
        assert page.locator("h1").inner_text() == "Compressor"
