"""How a page is opened in a browser, and what every page must stand up to."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

LINKS = 'a[href^="#how-"]'
SHIFTS = """
addEventListener('DOMContentLoaded', () => {
  window.shifted = 0;
  new PerformanceObserver((l) => { for (const e of l.getEntries()) window.shifted += e.value; })
    .observe({ type: 'layout-shift', buffered: true });
});
"""
# WCAG 2.2, 1.4.3 and the definitions of contrast ratio and relative luminance.
CONTRAST = """
() => {
  const parts = (c) => c.match(/[\\d.]+/g).map(Number);
  const light = (c) => {
    const linear = (v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    const [r, g, b] = parts(c).slice(0, 3).map((v) => linear(v / 255));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const behind = (e) => {
    for (; e; e = e.parentElement) {
      const c = getComputedStyle(e).backgroundColor;
      if (parts(c)[3] !== 0) return c;
    }
    return 'rgb(255, 255, 255)';
  };
  const worst = {};
  for (const e of document.querySelectorAll('body *')) {
    const worded = [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
    if (!worded || !e.checkVisibility()) continue;
    if (['SCRIPT', 'STYLE', 'TITLE'].includes(e.tagName.toUpperCase())) continue;
    const s = getComputedStyle(e), front = e.namespaceURI.endsWith('svg') ? s.fill : s.color;
    const [a, b] = [light(front), light(behind(e))].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05);
    if (ratio < 4.5) worst[`${e.tagName}.${e.className.baseVal ?? e.className}`] = ratio;
  }
  return worst;
}
"""
SMALL_TARGETS = """
() => [...document.querySelectorAll('a, button, summary')].filter((e) => e.checkVisibility()).map((e) => {
  const r = e.getBoundingClientRect();
  return [e.outerHTML.slice(0, 90), r.width, r.height];
}).filter(([, w, h]) => w && (w < 43.5 || h < 43.5))
"""
OPEN_ALL = "() => { for (const d of document.querySelectorAll('details')) d.open = true; }"
TOUCH = {"viewport": {"width": 1024, "height": 768}, "has_touch": True}
DESK = {"viewport": {"width": 1440, "height": 900}}
CONTEXTS = pytest.mark.parametrize("context", [TOUCH, DESK], ids=["touch", "desk"])


@dataclass
class Seen:
    """A page, and what it complained about or asked the network for."""

    page: Page
    complaints: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)


def opened(browser: Browser, file: Path, **context: object) -> Seen:
    """A page as a browser shows it in the given context."""
    seen = Seen(browser.new_context(**context).new_page())
    seen.page.on("console", lambda m: seen.complaints.append(m.text))
    seen.page.on("pageerror", lambda e: seen.complaints.append(str(e)))
    seen.page.on("request", lambda r: seen.requests.append(r.url))
    seen.page.add_init_script(SHIFTS)
    seen.page.goto(file.as_uri())
    return seen
