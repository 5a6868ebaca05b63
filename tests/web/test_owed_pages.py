"""Pages of owed work: from what was done, over the evidence, to the closing; and back again."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from httpx import Response

from shop.fixtures import NOON, FilledShop
from spoolwright.crafts.visit.entry import New
from spoolwright.crafts.visit.model import WorkEvent
from web.staff import PASSWORD, Browser

OWED = "/visit/W100/owed"
People = Callable[[str], Browser]


def happened(shop: FilledShop, what: str, item: str, minutes: int = 0) -> None:
    desk = shop.desk("tom", NOON - timedelta(hours=2) + timedelta(minutes=minutes))
    event = WorkEvent(what=what, item=item)  # type: ignore[arg-type]
    desk.record(New(f"visit/W100/event/{what}-{item}-{minutes}", event, visit="W100"))


def recorded(answer: Response) -> None:
    assert answer.status_code == 303, answer.text[-3000:]


def look(who: Browser, key: str, result: str = "yes") -> Response:
    return who.send(
        OWED, f"{OWED}/{key}/look", found="Every tooth by borescope, no mark.", satisfactory=result,
        document="OM-940 revision 9, 72-80", password=PASSWORD,
    )  # fmt: skip


def test_nothing_is_owed_at_first(shop_client: Browser) -> None:
    assert "Nothing is owed so far." in shop_client.get(OWED).text


def test_an_exceedance_is_closed_by_a_look_and_a_signature(staffed: FilledShop, browser_of: People) -> None:
    happened(staffed, "exceedance", "torque_red_line")
    ines, ada = browser_of("ines"), browser_of("ada")
    text = ines.get(OWED).text
    assert "Reduction gearbox after overtorque" in text
    assert "limit &#39;torque red line&#39; exceeded" in text
    assert "OM-940 revision 9, 72-80" in text
    assert "Record a look" not in ada.get(OWED).text
    key = "over_torque"
    recorded(look(ines, key, "no"))
    with pytest.raises(AssertionError, match="no form"):
        ines.send(OWED, f"{OWED}/{key}/close", password=PASSWORD)
    recorded(look(ines, key))
    assert "1 item open" in ines.get(OWED).text, "a look closes nothing by itself"
    assert ines.send(OWED, f"{OWED}/{key}/close", password="wrong").status_code == 422
    recorded(ines.send(OWED, f"{OWED}/{key}/close", password=PASSWORD))
    assert "Everything that was owed is closed." in ines.get(OWED).text
    happened(staffed, "exceedance", "torque_red_line", minutes=1)
    text = ines.get(OWED).text
    assert "It was closed by Ines Falk, but something happened again" in text


def test_evidence_that_is_named_by_hand_must_be_on_the_list(staffed: FilledShop, browser_of: People) -> None:
    happened(staffed, "exceedance", "torque_red_line")
    ines = browser_of("ines")
    recorded(look(ines, "over_torque"))
    answer = ines.send(OWED, f"{OWED}/over_torque/close", evidence="visit/W100", password=PASSWORD)
    assert answer.status_code == 422 and "does not close" in answer.text
    token = ines.hidden(OWED, f"{OWED}/over_torque/close")
    foreign = ines.client.post(f"{OWED}/nothing/close", data=token | {"password": PASSWORD})
    assert foreign.status_code == 422 and "Nothing called" in foreign.text


def test_what_is_owed_stands_on_the_engine_page(staffed: FilledShop, browser_of: People) -> None:
    happened(staffed, "removed_for_access", "power_turbine")
    text = browser_of("lena").get("/visit/W100").text
    assert "Owed check: Flange bolts of the power turbine torqued and checked" in text
    assert "power turbine removed for access" in text
