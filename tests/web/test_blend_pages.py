"""The page of a stage's blends: after the own look, the plan in a sentence, signed, kept to run again."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from shop.fixtures import NOON, FilledShop
from spoolwright.bootstrap.calculations import RECOMPUTE
from spoolwright.bootstrap.inspecting import record_words
from spoolwright.crafts.inspection.blend_record import BLEND_PLAN, BlendPlanAccepted
from web.staff import PASSWORD, Browser

PART = "/visit/W100/inspection/power_turbine_blade_1"
BLENDS = f"{PART}/blends"
ROWS = (
    {"blade": "5", "zone": "le_tip", "damage": "nick", "depth": "0.3", "length": "1", "position": "60"},
    {"blade": "20", "zone": "te_tip", "damage": "nick", "depth": "0.4", "length": "1", "position": "66"},
    {"blade": "30", "zone": "le_tip", "damage": "crack", "depth": "0.3", "length": "1", "position": "60"},
)


@pytest.fixture
def ines(browser_of: Callable[[str], Browser], staffed: FilledShop) -> Browser:
    rows = [{"part": "power_turbine_blade_1", "unit": "mm", **row} for row in ROWS]
    record_words(staffed.shop, "W100", "ines", rows, NOON)
    return browser_of("ines")


def look(browser: Browser) -> None:
    views = {"view_1": "blend", "view_2": "blend", "view_3": "scrap"}
    assert browser.send(PART, f"{PART}/views", **views).status_code == 303


def plans(staffed: FilledShop) -> list[BlendPlanAccepted]:
    return [e.body for e in staffed.shop.folder("W100", NOON.date()).of(BlendPlanAccepted)]


def test_no_plan_before_the_own_look(ines: Browser) -> None:
    before = ines.get(BLENDS).text
    assert "after your own look at 3 findings" in before
    assert "replace blade" not in before.lower()
    look(ines)
    assert "Blend blades 5, 20; replace blade 30." in ines.get(BLENDS).text


def test_the_plan_is_signed_and_runs_again_the_same(ines: Browser, staffed: FilledShop) -> None:
    look(ines)
    answer = ines.send(BLENDS, BLENDS, form="blend-plan", password=PASSWORD)
    assert answer.status_code == 303, answer.text
    (plan,) = plans(staffed)
    assert plan.blend == (5, 20)
    assert [(x.blade, x.why.startswith("Outside limits")) for x in plan.replace] == [(30, True)]
    kept = plan.calculation
    again = RECOMPUTE[BLEND_PLAN](dict(kept.inputs), lambda _: b"")
    assert again == kept.result
    assert "signed" in ines.get(BLENDS).text
    # a finding more: the signed plan no longer says what would be planned now
    more = ROWS[0] | {"part": "power_turbine_blade_1", "unit": "mm", "blade": "12"}
    record_words(staffed.shop, "W100", "ines", [more], NOON)
    assert ines.send(PART, f"{PART}/views", view_4="blend").status_code == 303
    assert "look and sign again" in ines.get(BLENDS).text


def test_a_person_may_want_a_blade_replaced(ines: Browser) -> None:
    look(ines)
    assert "Blend blade 20; replace blades 5, 30." in ines.get(f"{BLENDS}?also=5").text
    wrong = ines.get(f"{BLENDS}?also=7")
    assert wrong.status_code == 422
    assert "no damaged blade" in wrong.text


def test_what_is_drawn_is_drawn_once_each_and_says_its_view(ines: Browser) -> None:
    look(ines)
    text = ines.get(BLENDS).text
    assert "Seen looking forward." in text
    assert text.count('class="damage"') == 2
    assert "order 4, exhaust struts" in text
    assert "root radius not measured" in text
    assert 'style="' not in text


def test_others_read_the_plan_but_do_not_sign(ines: Browser, browser_of: Callable[[str], Browser]) -> None:
    ada = browser_of("ada")
    text = ada.get(BLENDS).text
    assert "an inspector or the lead signs" in text
    assert "Sign this plan" not in text
