"""Inspection on the real store: many at one part at once, decisions that later findings overtake, verify."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest

from shop.fixtures import NOON, FilledShop
from spoolwright.crafts.inspection import deciding, service
from spoolwright.crafts.inspection.deciding import Choice
from spoolwright.crafts.inspection.entering import finding_from, part_named
from spoolwright.crafts.inspection.model import DispositionAccepted, FindingRecorded
from spoolwright.crafts.inspection.open import open_items
from spoolwright.crafts.inspection.standing import StageState
from spoolwright.crafts.visit.people import NotEntitledError, Role
from spoolwright.errors import InputError

ROTOR = "axial_rotor_1"
NICK = {"zone": "le_tip", "damage": "nick", "unit": "mm", "depth": "0.1", "length": "1.2", "serial": "R1"}


@pytest.fixture
def inspected(shop: FilledShop) -> FilledShop:
    shop.hire("ines", "Ines Falk", Role.INSPECTOR)
    shop.hire("otto", "Otto Brandt", Role.INSPECTOR)
    shop.hire("vic", "Vic Nord", Role.VIEWER)
    shop.open_visit()
    return shop


def found(shop: FilledShop, login: str, **words: str) -> None:
    folder = shop.shop.folder("W100", NOON.date())
    body = finding_from(NICK | words, part_named(folder.kind.shop.inspected_part, ROTOR))
    service.record_findings(shop.desk(login), folder, [body])


def stage(shop: FilledShop, login: str = "ines") -> StageState:
    return service.stage_of(shop.desk(login), shop.shop.folder("W100", NOON.date()), ROTOR, "R1")


def decide(shop: FilledShop, number: int, decided: deciding.Decision, reason: str = "") -> None:
    desk, choice = shop.desk("ines"), Choice(number, decided, reason)
    if stage(shop).finding(number).view_of("ines") is None:  # type: ignore[union-attr]
        deciding.give_views(desk, stage(shop), {number: "serviceable"})
    shown = deciding.accept_shown(shop.shop.folder("W100", NOON.date()), stage(shop), [choice])
    deciding.accept(desk, stage(shop), [choice], shown)


def told(shop: FilledShop) -> str:
    return "\n".join(i.text for i in open_items(shop.shop.folder("W100", NOON.date())))


def test_two_inspectors_at_one_part_lose_nothing(inspected: FilledShop) -> None:
    def record(login: str, blade: int) -> None:
        found(inspected, login, blade=str(blade))

    with ThreadPoolExecutor(4) as pool:
        jobs = [pool.submit(record, ("ines", "otto")[n % 2], n + 1) for n in range(16)]
        for job in jobs:
            job.result()
    entries = inspected.records.current(FindingRecorded, visit="W100")
    assert sorted(e.body.blade or 0 for e in entries) == list(range(1, 17))
    numbers = sorted(int(e.subject.rsplit("/", 1)[1]) for e in entries)
    assert numbers == list(range(1, 17))


def test_what_is_found_later_opens_a_decision_again(inspected: FilledShop) -> None:
    """At most three such nicks may stay on a blade, 5 mm apart: OM-940 (invented), 72-30, 5.2, b (1)."""
    for at in ("25", "30.6", "36.2"):
        found(inspected, "ines", blade="7", position=at, length="0.5")
    decide(inspected, 1, "serviceable")
    assert "2 findings (2, 3): no accepted disposition" in told(inspected)
    found(inspected, "otto", blade="7", position="33", length="0.5")
    # four on the blade, and 33 within 5 mm of 30.6: no line admits the first one any more
    assert "accepted before more was recorded; now: Outside limits" in told(inspected)
    assert "finding 1 (blade 7" in told(inspected)
    assert inspected.shop.verify().holds


def test_own_look_comes_first_and_stays(inspected: FilledShop) -> None:
    found(inspected, "ines", blade="7")
    choice = Choice(1, "serviceable")
    with pytest.raises(InputError, match="own view of finding 1 is not recorded"):
        deciding.accept(inspected.desk("otto"), stage(inspected), [choice], "x")
    deciding.give_views(inspected.desk("ines"), stage(inspected), {1: "blend"})
    with pytest.raises(InputError, match="recorded already"):
        deciding.give_views(inspected.desk("ines"), stage(inspected), {1: "serviceable"})
    # another person's look is not this one's
    with pytest.raises(InputError, match="own view"):
        deciding.accept(inspected.desk("otto"), stage(inspected), [choice], "x")


def test_who_only_looks_on_records_nothing(inspected: FilledShop) -> None:
    with pytest.raises(NotEntitledError):
        found(inspected, "vic", blade="7")
    with pytest.raises(NotEntitledError):
        deciding.give_views(inspected.desk("vic"), stage(inspected), {})


def test_a_blade_that_goes_counts_for_nothing_more(inspected: FilledShop) -> None:
    """On a bladed stage the other findings of a blade that goes leave the counts of the stage."""
    folder = inspected.shop.folder("W100", NOON.date())
    part = part_named(folder.kind.shop.inspected_part, "turbine_blade_1")
    words = {**NICK, "serial": "", "depth": "0.2", "length": "1"}
    bodies = [finding_from(words | {"blade": str(b)}, part) for b in (3, 4)]
    service.record_findings(inspected.desk("ines"), folder, bodies)

    def here() -> StageState:
        now = inspected.shop.folder("W100", NOON.date())
        return service.stage_of(inspected.desk("ines"), now, "turbine_blade_1", "")

    # blends on blades 3 and 4 beside each other: neither is within limits (72-40, 6.6, b (2))
    proposals = [f.judgement.proposed.value for f in here().findings if f.judgement]
    assert proposals == ["outside limits", "outside limits"]
    deciding.give_views(inspected.desk("ines"), here(), {1: "scrap"})
    deciding.accept(inspected.desk("ines"), here(), [Choice(1, "scrap")], "x")
    again = [f.judgement.proposed.value for f in here().findings if f.judgement]
    assert again == ["outside limits", "blend within limits"]
    (held,) = inspected.records.current(DispositionAccepted, visit="W100")
    assert held.body.judgement.proposed.value == "outside limits"
    assert inspected.shop.verify().holds
