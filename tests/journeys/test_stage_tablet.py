"""A stage of 36 blades with fourteen findings on a tablet: from the first touch to the signed work scope."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from shop.fixtures import FilledShop
from spoolwright.bootstrap.demo.lives import enter_lives, review_lives
from spoolwright.bootstrap.demo.people import PASSWORD, hire
from spoolwright.bootstrap.demo.story import Story
from spoolwright.bootstrap.shop import Shop, open_shop
from spoolwright.crafts.inspection.blend_record import BlendPlanAccepted
from spoolwright.crafts.inspection.model import (
    DispositionAccepted,
    FindingRecorded,
    StageInspected,
)
from spoolwright.crafts.scope.model import ScopeAsked, ScopeChosen
from spoolwright.crafts.visit.model import Stage
from spoolwright.crafts.visit.parts import Counts, PartNeeded
from spoolwright.sources.typefile import shipped_type
from web.filled import serving
from web.looking import TABLET

pytestmark = pytest.mark.browser
NUMBER, SERIAL, ROTOR = "FW-26-910", "H4437", "axial_rotor_1"
VISIT = f"/visit/{NUMBER}"
BEGAN = datetime(2026, 9, 7, 8, 0, tzinfo=UTC)
LEAST_LIFE = 3600
"""Hours asked of every part: more than the turbine blades have left."""
BLADES_LEFT = 5400 - 2150
"""Of the first turbine stage: OM-940, 05-10, table 1, line 12, less the hours of the engine [h]."""
FOUND = [
    *((n, "le_mid", "nick") for n in (2, 3, 4, 5)),
    *((n, "te_tip", "nick") for n in (9, 10, 14, 19, 20)),
    (24, "le_tip", "gouge"),
    (28, "le_tip", "nick"),
    (32, "te_mid", "dent"),
    (34, "le_tip", "nick"),
    (35, "le_mid", "scratch"),
]
BLENDED = (9, 10, 14, 19, 20, 24, 28, 32)
VIEWS = {n: "blend" if blade in BLENDED else "serviceable" for n, (blade, _, _) in enumerate(FOUND, 1)}
"""OM-940, 72-30, 5.2, b: an edge keeps marks up to 0.13 mm deep; deeper ones are blended, up to 1.1 mm."""


@dataclass
class Told:
    """A served shop with an engine that is open for inspection."""

    shop: Shop
    story: Story
    address: str


@pytest.fixture
def told(tmp_path: Path) -> Iterator[Told]:
    shop = open_shop(None, tmp_path / "shop")
    shop.types.adopt(shipped_type(), by="lena", at=BEGAN - timedelta(days=700))
    hire(shop, BEGAN)
    counts = Counts(hours_since_new=2150.0, starts_since_new=1660)
    story = Story(shop, NUMBER, SERIAL, BEGAN, BEGAN + timedelta(days=60), counts)
    story.arrives("stones met on a gravel strip", promised_days=40)
    story.is_received()
    enter_lives(story)
    story.is_accepted()
    review_lives(story)
    story.stands_at(Stage.INSPECTION)
    with serving(FilledShop(shop), story.at + timedelta(minutes=11)) as served:
        yield Told(shop, story, served.address)
    shop.close()


@contextmanager
def tablet(browser: Browser, told: Told, login: str) -> Iterator[Page]:
    """A person's tablet, signed in."""
    opened = browser.new_context(base_url=told.address, **TABLET)
    page = opened.new_page()
    page.goto("/sign-in")
    page.fill("[name=login]", login)
    page.fill("[name=password]", PASSWORD)
    page.locator("button.main").tap()
    page.wait_for_url("**/")
    yield page
    opened.close()


def look(page: Page, name: str) -> None:
    """Nothing is wider than the tablet; a picture of the page where somebody asks for pictures."""
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), name
    if folder := os.environ.get("SPOOLWRIGHT_PICTURES"):
        page.screenshot(path=Path(folder) / f"stage-{name}.png", full_page=True)


def follow(page: Page, role: str, name: str) -> None:
    """Touch a link or a button by its words, and wait for the page it leads to."""
    with page.expect_navigation():
        page.get_by_role(role, name=name, exact=True).first.tap()  # type: ignore[arg-type]


def sign(page: Page, button: str) -> None:
    """Give the password under what is signed, and sign."""
    page.locator("form:has(input[name=password]) input[name=password]").fill(PASSWORD)
    follow(page, "button", button)


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


def records_fourteen(page: Page) -> None:
    """Six marks that may stay, eight notches to blend; the last two by a typed line."""
    touch(page, 2, "le_mid", "nick", depth="0.1", length="0.8", position="18")
    for blade in (3, 4, 5):
        page.get_by_role("button", name=f"The same on blade {blade}").tap()
        expect(page.locator(".last")).to_contain_text(f"lade {blade},")
    touch(page, 9, "te_tip", "nick", depth="0.4", length="1.2", position="30")
    page.get_by_role("button", name="The same on blade 10").tap()
    expect(page.locator(".last")).to_contain_text("lade 10,")
    page.fill("input#again-blades", "14, 19-20")
    page.get_by_role("button", name="Record them").tap()
    expect(page.locator(".last")).to_contain_text("lade 20,")
    touch(page, 24, "le_tip", "gouge", depth="0.7", length="2", position="33")
    touch(page, 28, "le_tip", "nick", depth="0.5", length="1.4", position="31")
    touch(page, 32, "te_mid", "dent", depth="0.3", length="1.5", position="20")
    for line, blade in (("34 l3 n 0.1 1.2", 34), ("35 l2 s 0.05 1", 35)):
        page.fill("input[name=quick]", line)
        page.press("input[name=quick]", "Enter")
        expect(page.locator(".last")).to_contain_text(f"lade {blade},")


def inspects(page: Page) -> None:
    """Findings, the signature for the whole stage, the own look, the decisions."""
    page.goto(VISIT)
    follow(page, "link", "Inspection")
    follow(page, "link", "Axial compressor rotor, stage 1")
    records_fourteen(page)
    look(page, "findings")
    follow(page, "link", "Sign that it was looked at whole")
    look(page, "whole")
    sign(page, "Sign")
    expect(page.locator(".stand")).to_contain_text("looked at whole, signed by I. Falk")
    expect(page.locator(".to-decide")).to_have_count(0)
    for n, view in VIEWS.items():
        page.locator(f'.pick:has(input[name=view_{n}][value="{view}"])').tap()
    follow(page, "button", "Record my view, then show what the limits say")
    expect(page.locator(".to-decide")).to_have_count(14)
    look(page, "proposals")
    follow(page, "button", "Read what you sign")
    look(page, "decisions")
    sign(page, "Accept")
    expect(page.locator("#findings tbody tr")).to_have_count(14)


def plans_blends(page: Page) -> None:
    """The blends of the stage together, signed."""
    follow(page, "link", "Blends, planned together")
    expect(page.locator(".plan")).to_contain_text("Blend blades " + ", ".join(map(str, BLENDED)) + ".")
    look(page, "blends")
    sign(page, "Sign this plan")
    expect(page.locator(".plan + p")).to_contain_text("signed I. Falk")
    look(page, "blends-signed")


def scopes(page: Page) -> None:
    """What the scope must give, the alternatives, one of them signed, its quote, the parts it asks for."""
    page.goto(VISIT)
    follow(page, "link", "Work scope")
    expect(page.locator("main")).to_contain_text("Open: the lead says what the scope must give.")
    look(page, "scope-asked")
    page.fill("input[name=least_life_h]", f"{LEAST_LIFE}")
    page.fill("textarea[name=wish]", "back before the fire season")
    follow(page, "button", "Record it")
    expect(page.locator(".alternatives .figures").first).to_be_visible()
    look(page, "scope-alternatives")
    follow(page, "link", "Alternative 1: look and sign")
    expect(page.locator(".scope-lines i")).to_contain_text([f"blade {n}: blend" for n in BLENDED])
    look(page, "scope-alternative")
    sign(page, "Sign this scope")
    expect(page.locator("main .state").first).to_contain_text("signed")
    expect(page.locator(".cards-to-issue")).to_contain_text("Compressor: teardown")
    look(page, "scope-signed")
    follow(page, "link", "Quote")
    expect(page.locator("main")).to_contain_text("Not in this quote")
    look(page, "quote")
    follow(page, "link", "Parts")
    expect(page.locator("main")).to_contain_text(
        "Gas generator turbine blade, stage 1, cooled 940-320-3: 34 of 34"
    )
    look(page, "parts")


def holds_what_was_found(told: Told) -> None:
    """Fourteen findings, each decided and signed; the plan blends what was decided so."""
    records = told.shop.records
    found = [e.body for e in records.current(FindingRecorded, visit=NUMBER)]
    assert [(b.blade, b.zone, b.damage.value) for b in found] == FOUND
    assert {b.serial for b in found} == {"210-437-01"}
    decisions = records.current(DispositionAccepted, visit=NUMBER)
    assert [e.body.decided for e in decisions] == list(VIEWS.values())
    (whole,) = records.current(StageInspected, visit=NUMBER)
    (plan,) = records.current(BlendPlanAccepted, visit=NUMBER)
    assert whole.body.findings == 14
    assert plan.body.blend == BLENDED and plan.body.replace == ()
    for entry in (*decisions, whole, plan):
        assert entry.signature is not None and entry.signature.person == "ines"


def holds_what_is_done(told: Told) -> None:
    """The scope does what the findings and the asked life need; its money is the sum of the type's prices."""
    records, shop = told.shop.records, told.story.folder.kind.shop
    (asked,) = records.current(ScopeAsked, visit=NUMBER)
    (scope,) = records.current(ScopeChosen, visit=NUMBER)
    assert asked.author == "lena" and asked.body.least_life_h == LEAST_LIFE
    assert scope.signature is not None and scope.signature.person == "lena"
    chosen = scope.body.chosen
    (rotor,) = (x for x in chosen.lines if x.part == ROTOR)
    assert rotor.kind == "repair" and len(rotor.because) == len(BLENDED)
    assert all(x.life_h is None or x.life_h >= LEAST_LIFE for x in chosen.lines)
    prices = {(i.part, o.id): o.money for i in shop.scope_item for o in i.option}
    openings = sum(o.money for o in shop.scope_opening if o.module in chosen.opened)
    assert shop.scope_terms is not None
    money = shop.scope_terms.visit_money + openings + sum(prices[x.part, x.option] for x in chosen.lines)
    assert chosen.money == pytest.approx(money, rel=1e-12)
    needed = {e.body.part: e.body for e in records.current(PartNeeded, visit=NUMBER)}
    assert set(needed) == {x.part for x in chosen.lines if x.kind in ("replace", "exchange")}
    assert BLADES_LEFT < LEAST_LIFE
    assert needed["turbine_blade_1"].quantity == 34 and needed["turbine_blade_1"].asked_by == "scope"


def test_from_the_first_touch_to_the_work_scope(browser: Browser, told: Told) -> None:
    with tablet(browser, told, "ines") as page:
        inspects(page)
        plans_blends(page)
    with tablet(browser, told, "lena") as page:
        scopes(page)
    holds_what_was_found(told)
    holds_what_is_done(told)
    checked = told.shop.verify()
    assert checked.holds, checked.faults
