"""Pages of the inspection: the same finding by every way, own look first, decisions, blends, dimensions."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from shop.fixtures import NOON, FilledShop
from spoolwright.bootstrap.inspecting import record_words
from spoolwright.crafts.inspection.model import (
    BlendDone,
    DimensionTaken,
    DispositionAccepted,
    FindingRecorded,
)
from spoolwright.crafts.visit.entry import canonical
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import WorkEvent
from web.filled import picture
from web.staff import PASSWORD, Browser

ROOM = "/visit/W100/inspection"
ROTOR = f"{ROOM}/axial_rotor_1"
NICK = {"blade": "7", "zone": "le_tip", "damage": "nick", "unit": "mm", "depth": "0.40", "length": "2.1"}


@pytest.fixture
def ines(browser_of: Callable[[str], Browser]) -> Browser:
    return browser_of("ines")


def folder(staffed: FilledShop) -> Folder:
    return staffed.shop.folder("W100", NOON.date())


def found(staffed: FilledShop) -> list[FindingRecorded]:
    return [e.body for e in folder(staffed).of(FindingRecorded)]


def record(browser: Browser, **words: str) -> str:
    """Record a finding word by word; the page that shows it."""
    answer = browser.send(ROTOR, f"{ROTOR}/finding", **{"method": "direct", **NICK, **words})
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def test_the_same_finding_by_page_keyboard_table_and_command(ines: Browser, staffed: FilledShop) -> None:
    record(ines)
    words = {"unit": "mm", "method": "direct"}
    again = ines.send(ROTOR, f"{ROTOR}/quick", quick="7 l3 n 0.40 2.1", **words)
    # exactly the same is refused, by whichever way it comes
    assert again.status_code == 422
    assert "xactly this is recorded as finding 1" in again.text
    by_page = found(staffed)
    for way in (
        lambda: ines.send(ROTOR, f"{ROTOR}/quick", quick="8 l3 n 0.40 2.1", **words),
        lambda: ines.send(ROOM, f"{ROOM}/table", files={"table": ("f.csv", TABLE)}),
        lambda: record_words(staffed.shop, "W100", "ines", [COMMAND], NOON),
        lambda: ines.send(f"{ROTOR}?last=1", f"{ROTOR}/again", form="again", blades="11"),
    ):
        way()
    bodies = found(staffed)
    assert [b.blade for b in bodies] == [7, 8, 9, 10, 11]
    same = {canonical(b.model_copy(update={"blade": 7}).model_dump(mode="json")) for b in bodies}
    assert same == {canonical(by_page[0].model_dump(mode="json"))}


TABLE = b"part,blade,zone,damage,unit,depth,length\r\naxial_rotor_1,9,l3,n,mm,0.40,2.1\r\n"
COMMAND = {"part": "axial_rotor_1", "unit": "mm", "quick": "10 le_tip nick 0.40 2.1"}


def test_findings_as_a_table_read_back(ines: Browser, staffed: FilledShop) -> None:
    record(ines, position="30", remark='beside the "old" mark, again')
    record(ines, blade="8", damage="erosion", unit="in", depth="0.01", uncertainty="0.001")
    table = ines.get(f"{ROOM}/findings.csv").content
    before = found(staffed)
    staffed.open_visit("W777", "C940-777")
    away = "/visit/W777/inspection"
    assert ines.send(away, f"{away}/table", files={"table": ("f.csv", table)}).status_code == 303
    other = staffed.shop.folder("W777", NOON.date())
    assert [e.body for e in other.of(FindingRecorded)] == before


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ({"blade": "37"}, "Numbers go from 1 to 36."),
        ({"blade": ""}, "the blade is missing."),
        ({"zone": "nose"}, "is no zone of Axial compressor rotor, stage 1"),
        ({"depth": "0,4"}, "is no length. Digits and a point: 0.4."),
        ({"position": "5"}, "is not in"),
        ({"unit": ""}, "mm or in."),
    ],
)
def test_what_cannot_be_is_told_beside_its_field(
    ines: Browser, staffed: FilledShop, words: dict[str, str], told: str
) -> None:
    answer = ines.send(ROTOR, f"{ROTOR}/finding", **{"method": "direct", **NICK, **words})
    assert answer.status_code == 422
    assert told.lower() in answer.text.lower()
    assert found(staffed) == []


def test_no_proposal_before_the_own_look(ines: Browser) -> None:
    record(ines)
    before = ines.get(ROTOR).text
    assert "Blend within limits" not in before
    for address in (f"{ROTOR}/sign?decided_1=blend", f"{ROTOR}/finding/1", ROOM, f"{ROOM}/findings.csv"):
        assert "within limits" not in ines.get(address).text, address
    assert ines.send(ROTOR, f"{ROTOR}/views", view_1="blend").status_code == 303
    after = ines.get(ROTOR).text
    assert "Blend within limits." in after
    assert "72-30, 5.2, b (2)" in after
    # a view is given once
    hidden = ines.hidden(ROTOR, f"{ROTOR}/quick")
    again = ines.client.post(f"{ROTOR}/views", data=hidden | {"view_1": "scrap"}, follow_redirects=False)
    assert again.status_code == 422
    assert "recorded already" in again.text


def decide(browser: Browser, number: int, decided: str, reason: str = "", view: str = "blend") -> int:
    """Own look, decision, signature; the status of the last."""
    browser.send(ROTOR, f"{ROTOR}/views", **{f"view_{number}": view})
    said = {f"decided_{number}": decided, f"reason_{number}": reason}
    address = f"{ROTOR}/sign?" + "&".join(f"{k}={v}" for k, v in said.items())
    return browser.send(address, f"{ROTOR}/accept", password=PASSWORD).status_code


def test_a_finding_from_the_look_to_the_blend(ines: Browser, staffed: FilledShop) -> None:
    record(ines)
    assert decide(ines, 1, "blend") == 303
    (held,) = folder(staffed).of(DispositionAccepted)
    assert held.signature is not None
    assert "Decided: blend." in held.signature.shown
    assert (held.body.own_view, held.body.decided) == ("blend", "blend")
    assert "the blend is not recorded" in ines.get("/visit/W100/inspection").text
    one = f"{ROTOR}/finding/1"
    sizes = {"unit": "mm", "depth": "0.5", "length": "6", "radius": "9.2", "password": PASSWORD}
    assert ines.send(one, f"{one}/blend", **sizes).status_code == 303
    (blend,) = folder(staffed).of(BlendDone)
    assert [c.holds for c in blend.body.checks] == [True, True, True, True]
    (event,) = folder(staffed).of(WorkEvent)
    assert (event.body.what, event.body.item, event.body.detail) == (
        "blended", "axial_rotor_1", "blade 7, depth 0.5 mm, length 6 mm",
    )  # fmt: skip
    sign = f"{ROTOR}/whole"
    assert ines.send(sign, sign, form="whole", password=PASSWORD).status_code == 303
    assert not [i for i in staffed.shop.open_items("W100", NOON.date()) if i.craft == "inspection"]
    assert staffed.shop.verify().holds
    # a later finding opens the stage again
    record(ines, blade="20")
    texts = [i.text for i in staffed.shop.open_items("W100", NOON.date()) if i.craft == "inspection"]
    assert any("something was recorded since" in t for t in texts)


def test_more_than_the_limits_allow_cannot_be_decided(ines: Browser, staffed: FilledShop) -> None:
    record(ines, zone="fillet", depth="0.1", length="0.5")
    answer = ines.send(ROTOR, f"{ROTOR}/views", view_1="serviceable")
    assert answer.status_code == 303
    address = f"{ROTOR}/sign?decided_1=serviceable&reason_1=looks+fine"
    assert ines.send(address, f"{ROTOR}/accept", password=PASSWORD).status_code == 422
    assert folder(staffed).of(DispositionAccepted) == []


def test_who_may_decide(browser_of: Callable[[str], Browser], staffed: FilledShop) -> None:
    ada = browser_of("ada")
    record(ada)
    assert f'action="{ROTOR}/views"' not in ada.get(ROTOR).text
    hidden = ada.hidden(ROTOR, f"{ROTOR}/quick")
    answer = ada.client.post(f"{ROTOR}/views", data=hidden | {"view_1": "blend"}, follow_redirects=False)
    assert answer.status_code == 403


def test_referred_answered_replaced(ines: Browser, staffed: FilledShop) -> None:
    record(ines, zone="fillet", depth="0.1", length="0.5")
    assert decide(ines, 1, "refer to engineering", "part of a run of four", "scrap") == 303
    one = f"{ROTOR}/finding/1"
    address = f"{one}/answer?answer=scrap&document=EA-17+rev+0"
    assert ines.send(address, f"{one}/answer", password=PASSWORD).status_code == 303
    assert ines.send(one, f"{one}/replaced", new_serial="R1-99", password=PASSWORD).status_code == 303
    (event,) = folder(staffed).of(WorkEvent)
    assert event.body.what == "replaced"
    assert "not signed as looked at whole" in " ".join(
        i.text for i in staffed.shop.open_items("W100", NOON.date()) if i.craft == "inspection"
    )


def test_correcting_asks_for_a_new_decision(ines: Browser, staffed: FilledShop) -> None:
    record(ines, depth="0.1", length="1.0")
    assert decide(ines, 1, "serviceable", view="serviceable") == 303
    one = f"{ROTOR}/finding/1"
    words = {"method": "direct", **NICK, "depth": "1.3", "reason": "read the gauge again"}
    assert ines.send(one, f"{one}/correct", form="correct", **words).status_code == 303
    texts = [i.text for i in staffed.shop.open_items("W100", NOON.date()) if i.craft == "inspection"]
    assert any("finding 1" in t and "no accepted disposition" in t for t in texts)


def test_a_picture_is_kept_with_its_finding(ines: Browser, staffed: FilledShop) -> None:
    files = {"photos": ("blade7.png", picture(), "image/png")}
    answer = ines.send(ROTOR, f"{ROTOR}/finding", files=files, **{"method": "borescope", **NICK})
    assert answer.status_code == 303
    (body,) = found(staffed)
    assert [p.name for p in body.photographs] == ["blade7.png"]


def test_earlier_visits_stand_beneath_and_count(ines: Browser, staffed: FilledShop) -> None:
    record(ines, serial="R1-7")
    here = f"{ROTOR}?serial=R1-7"
    ines.send(here, f"{ROTOR}/views", view_1="blend")
    ines.send(f"{ROTOR}/sign?serial=R1-7&decided_1=blend", f"{ROTOR}/accept", password=PASSWORD)
    one = f"{ROTOR}/finding/1"
    sizes = {"unit": "mm", "depth": "1.0", "length": "8", "radius": "8.5", "password": PASSWORD}
    assert ines.send(f"{one}?serial=R1-7", f"{one}/blend", **sizes).status_code == 303
    staffed.open_visit("W300", "C940-300")
    later = "/visit/W300/inspection/axial_rotor_1"
    words = {"method": "direct", **NICK, "serial": "R1-7"}
    assert ines.send(f"{later}?serial=R1-7", f"{later}/finding", **words).status_code == 303
    ines.send(f"{later}?serial=R1-7", f"{later}/views", view_1="blend")
    page = ines.get(f"{later}?serial=R1-7").text
    assert "1.0 mm deep, 8 mm long" in page
    # 0.40 + 0.05 below an edge that lies 1.0 mm below the original one: 1.45 mm against 1.2 mm
    assert "depth after the blend 1.45 mm, limit at most 1.2 mm" in page


def test_dimensions(browser_of: Callable[[str], Browser], ines: Browser, staffed: FilledShop) -> None:
    where = f"{ROOM}/dimensions"
    reading = {"place": "", "value": "0.35", "unit": "mm", "uncertainty": "0.01", "gauge": ""}
    assert ines.send(where, where, form="take-r1_tip_clearance", **reading).status_code == 303
    (taken,) = folder(staffed).of(DimensionTaken)
    assert "meets the limits for service" in taken.body.told
    again = {**reading, "value": "0.52"}
    form = f"again-{taken.subject}"
    assert ines.send(where, where, form=form, **again).status_code == 303
    (taken,) = folder(staffed).of(DimensionTaken)
    assert "outside limits" in taken.body.told
    assert "Tip clearance, axial stage 1" in " ".join(
        i.text for i in staffed.shop.open_items("W100", NOON.date())
    )
    lena = browser_of("lena")
    asked = f"{where}/settle?subject={taken.subject}&how=repaired&document=card+12"
    assert lena.send(asked, f"{where}/settle", password=PASSWORD).status_code == 303
    assert not [i for i in staffed.shop.open_items("W100", NOON.date()) if "clearance" in i.text]


def test_the_sheet_of_a_module(ines: Browser) -> None:
    record(ines)
    answer = ines.get(f"{ROOM}/sheet/compressor.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")
    assert ines.get(f"{ROOM}/sheet/nothing.pdf").status_code == 404


@pytest.mark.parametrize(
    "part",
    ["axial_rotor_1", "impeller", "inlet_guide_vane", "turbine_nozzle_1", "turbine_blade_1", "turbine_disc_1",
     "combustion_liner", "power_turbine_blade_1", "turbine_shaft", "output_gear", "front_bearing",
     "inlet_housing"],
)  # fmt: skip
def test_every_zone_can_be_touched_on_the_outline(ines: Browser, staffed: FilledShop, part: str) -> None:
    text = ines.get(f"{ROOM}/{part}").text
    known = next(p for p in folder(staffed).kind.shop.inspected_part if p.id == part)
    assert {z.id for z in known.zone} == set(re.findall(r'data-zone="(\w+)"', text))
    numbers = re.findall(r'data-number="(\d+)"', text)
    assert numbers == [str(n + 1) for n in range(known.count if known.count > 1 else 12)]
