"""How tests look at pages: which pages there are, and a signed-in browser at a size and in a light."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from playwright.sync_api import Browser, Page

from shop.fixtures import FilledShop
from spoolwright.web.app import create_app
from web.filled import Served
from web.staff import PASSWORD

TABLET = {"viewport": {"width": 1024, "height": 768}, "has_touch": True}
DESK = {"viewport": {"width": 1440, "height": 900}}
VISIT = "W110"
FURTHER = (
    f"/visit/{VISIT}/module/compressor",
    "/people/ada",
    "/record/30",
    "/record?q=zzzz",
    "/visit/NONE",
    "/visits?q=C940",
)
"""Pages whose address needs more than the number of a visit."""
PART = "/jobs"
"""How the address of a part ends that a script asks for again and again: no page of its own."""


def page_addresses(shop: FilledShop) -> list[str]:
    """Every page that a visit's number alone leads to, and those named above."""
    described = create_app(shop.shop).openapi()["paths"]
    paths = [path for path, ways in described.items() if "get" in ways]
    plain = {p.replace("{number}", VISIT) for p in paths if not p.endswith(PART)}
    return sorted(p for p in plain if "{" not in p and not re.search(r"\.\w+$", p)) + list(FURTHER)


@contextmanager
def signed_in(chrome: Browser, served: Served, login: str = "lena", **context: Any) -> Iterator[Page]:
    """A browser in which a person is signed in."""
    opened = chrome.new_context(base_url=served.address, **context)
    page = opened.new_page()
    page.goto("/sign-in")
    page.fill("[name=login]", login)
    page.fill("[name=password]", PASSWORD)
    page.click("button.main")
    page.wait_for_url("**/")
    yield page
    opened.close()
