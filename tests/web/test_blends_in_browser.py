"""Pages of blends and of the expected condition in a real browser: read by anybody, touched with gloves."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Browser

from shop.fixtures import NOON
from spoolwright.bootstrap.inspecting import record_words
from spoolwright.crafts.inspection.deciding import give_views
from spoolwright.crafts.inspection.dimensions import take_dimension
from spoolwright.crafts.inspection.service import stage_of
from web.filled import Served
from web.looking import DESK, TABLET, VISIT, signed_in
from web.test_blend_pages import ROWS
from web.test_pages_in_browser import LIGHTS, SMALL, hindrances, unfold, with_light

pytestmark = pytest.mark.browser

ADDRESSES = (
    f"/visit/{VISIT}/inspection/power_turbine_blade_1/blends",
    f"/visit/{VISIT}/inspection/axial_rotor_1/blends",
    f"/visit/{VISIT}/inspection/forecast",
)


@pytest.fixture
def damaged(served: Served) -> Served:
    """The served shop with blades to blend and to replace, once."""
    desk, folder = served.shop.desk("ines"), served.shop.shop.folder(VISIT, NOON.date())
    part = "power_turbine_blade_1"
    if not stage_of(desk, folder, part, "").findings:
        rows = [{"part": part, "unit": "mm", **row} for row in ROWS]
        record_words(served.shop.shop, VISIT, "ines", rows, NOON)
        folder = served.shop.shop.folder(VISIT, NOON.date())
        give_views(desk, stage_of(desk, folder, part, ""), {1: "blend", 2: "blend", 3: "scrap"})
        words = {"dimension": "p1_tip_clearance", "value": "0.6", "unit": "mm"}
        take_dimension(desk, folder, words, after=0)
    return served


@pytest.mark.parametrize(("light", "scheme"), LIGHTS, ids=lambda v: v or "office")
def test_nothing_hinders_anybody(chrome: Browser, damaged: Served, light: str, scheme: Any) -> None:
    found = {}
    with signed_in(chrome, damaged, "ines", color_scheme=scheme, **TABLET) as page:
        with_light(page, light, damaged)
        for address in ADDRESSES:
            page.goto(address)
            unfold(page)
            found[address] = hindrances(page)
    assert found == {address: [] for address in ADDRESSES}


@pytest.mark.parametrize("context", [TABLET, DESK], ids=["tablet", "desk"])
def test_all_can_be_touched_and_nothing_is_wider_than_the_window(
    chrome: Browser, damaged: Served, context: dict[str, Any]
) -> None:
    small, wide, complaints = {}, {}, []
    with signed_in(chrome, damaged, "ines", **context) as page:
        page.on("console", lambda m: complaints.append(m.text))
        for address in ADDRESSES:
            page.goto(address)
            unfold(page)
            small[address] = page.evaluate(SMALL)
            wide[address] = page.evaluate("document.documentElement.scrollWidth - innerWidth") > 0
        assert page.goto(ADDRESSES[0]) and page.locator("svg path.hatch").count() > 10
    assert small == {address: [] for address in ADDRESSES}
    assert wide == dict.fromkeys(ADDRESSES, False)
    assert complaints == []
