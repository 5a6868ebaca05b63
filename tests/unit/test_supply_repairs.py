"""Outside repairs: the vendor's authorisation must cover the work on the day sent and on the day released."""

from __future__ import annotations

import pytest
import supply_shop as s

from shop.memory import MemoryShop
from spoolwright.crafts.supply import repairing
from spoolwright.crafts.supply.model import (
    Certificate,
    Reinspected,
    Returned,
    SentOut,
    VendorAuthorised,
    VendorKnown,
)
from spoolwright.crafts.supply.model import Work as W
from spoolwright.crafts.supply.open import open_items
from spoolwright.crafts.supply.vendors import repairs
from spoolwright.crafts.visit.model import WorkEvent
from spoolwright.crafts.visit.people import NotEntitledError
from spoolwright.errors import InputError

LINER, LINER_NUMBER, APPROVAL = "combustion_liner", "940-340-4", "XA.145.0031"
DATA = "RD-940-340 rev 3"


@pytest.fixture
def shop() -> MemoryShop:
    shop = s.staffed()
    repairing.know_vendor(shop.desk("rae"), VendorKnown(id="thermoweld", name="Thermoweld Oy"))
    authorise(shop)
    return shop


def authorise(shop: MemoryShop, issue: str = "1", after: int = 0, **more: object) -> None:
    told = {
        "vendor": "thermoweld",
        "number": APPROVAL,
        "issue": issue,
        "authority": "Invented Aviation Authority",
        "works": (W.WELDING, W.HEAT_TREATMENT),
        "valid_from": s.a_day(-400),
        "expires_on": s.a_day(100),
    }
    held = VendorAuthorised.model_validate(told | more)
    repairing.record_authorisation(shop.desk("rae"), held, after)


def send(shop: MemoryShop, **more: object) -> None:
    told = {
        "part": LINER,
        "module": "hot_section",
        "part_number": LINER_NUMBER,
        "serial": "CL-88",
        "vendor": "thermoweld",
        "authorisation": APPROVAL,
        "works": (W.WELDING,),
        "data": DATA,
        "sent_on": s.a_day(-40),
        "expected_on": s.a_day(-5),
    }
    repairing.send_out(shop.desk("bo"), shop.folder("W100", s.DAY), SentOut.model_validate(told | more))


def bring_back(
    shop: MemoryShop, works: tuple[W, ...] = (W.WELDING,), reason: str = "", **more: object
) -> None:
    told = {
        "number": "TW-551",
        "authority": "Invented Aviation Authority",
        "organisation": "Thermoweld Oy",
        "approval_number": APPROVAL,
        "part_number": LINER_NUMBER,
        "serial_or_lot": "CL-88",
        "quantity": 1,
        "status_word": "repaired",
        "data": DATA,
        "dated": s.a_day(-8),
    }
    folder = shop.folder("W100", s.DAY)
    paper = Certificate.model_validate(told | more)
    back = Returned(returned_on=s.a_day(-6), works=works, certificate=paper)
    repairing.record_return(shop.desk("bo"), folder, repairs(folder)[-1], back, reason)


def inspect(shop: MemoryShop, serviceable: bool = True) -> None:
    folder = shop.folder("W100", s.DAY)
    repair = repairs(folder)[-1]
    found = Reinspected(serviceable=serviceable, found="Welds looked at by penetrant, dimensions to drawing.")
    repairing.reinspect(shop.desk("ida"), folder, repair, found, repairing.reinspection_shown(repair, found))


def told(shop: MemoryShop) -> list[str]:
    return [i.text for i in open_items(shop.folder("W100", s.DAY), shop.records)]


def test_a_repair_with_everything_in_order_closes(shop: MemoryShop) -> None:
    send(shop)
    assert told(shop) == [
        "940-340-4 CL-88: at Thermoweld Oy since 2026-03-25, expected back on 2026-04-29, 5 days late."
    ]
    bring_back(shop)
    assert told(shop) == ["940-340-4 CL-88: not inspected after its return."]
    inspect(shop)
    assert told(shop) == []
    (event,) = shop.folder("W100").of(WorkEvent)
    assert (event.body.what, event.body.item, event.body.serial) == ("repaired", LINER, "CL-88")


def test_an_authorisation_that_ran_out_between_sending_and_release_keeps_it_open(shop: MemoryShop) -> None:
    authorise(shop, after=1, expires_on=s.a_day(-10))
    send(shop)
    bring_back(shop)
    inspect(shop)
    assert told(shop) == [
        f"940-340-4 CL-88: authorisation {APPROVAL} ran out on 2026-04-24, released on 2026-04-26."
    ]


def test_an_authorisation_that_had_run_out_when_it_was_sent_keeps_it_open(shop: MemoryShop) -> None:
    """Renewed in time for the release, which does not make the sending right."""
    authorise(shop, after=1, expires_on=s.a_day(-41))
    authorise(shop, "2", valid_from=s.a_day(-20))
    send(shop)
    bring_back(shop)
    inspect(shop)
    assert told(shop) == [
        f"940-340-4 CL-88: authorisation {APPROVAL} ran out on 2026-03-24, sent on 2026-03-25."
    ]


def test_a_scope_that_grew_later_does_not_cover_what_was_sent_before(shop: MemoryShop) -> None:
    """The accident's repair: work by a shop that was not authorised for it (NTSB 20100512X45440)."""
    send(shop, works=(W.WELDING, W.COATING))
    authorise(shop, "2", valid_from=s.a_day(-20), works=(W.WELDING, W.COATING))
    bring_back(shop, (W.WELDING, W.COATING))
    inspect(shop)
    (only,) = told(shop)
    assert "sent on 2026-03-25" in only


def test_ordered_work_that_the_release_omits_keeps_it_open(shop: MemoryShop) -> None:
    send(shop, works=(W.WELDING, W.HEAT_TREATMENT))
    bring_back(shop, (W.HEAT_TREATMENT,))
    inspect(shop)
    assert told(shop) == ["940-340-4 CL-88: ordered, and not on the release: welding."]
    bring_back(shop, (W.WELDING, W.HEAT_TREATMENT), reason="second sheet of the release found")
    assert told(shop) == ["940-340-4 CL-88: not inspected after its return."]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"data": "RD-940-340 rev 2"}, "ordered to 'RD-940-340 rev 3', released to 'RD-940-340 rev 2'"),
        ({"data": ""}, "names no data"),
        ({"serial_or_lot": "CL-89"}, "the certificate is for CL-89"),
        (
            {"approval_number": "XA.145.0032"},
            f"sent under authorisation {APPROVAL}, released under XA.145.0032",
        ),
        ({"dated": s.a_day(-41)}, "before it was sent"),
        ({"approval_number": ""}, "approval number (block 13c or 14c) is empty"),
    ],
)
def test_a_release_that_does_not_fit_keeps_it_open(
    shop: MemoryShop, more: dict[str, object], said: str
) -> None:
    send(shop)
    bring_back(shop, **more)  # type: ignore[arg-type]
    inspect(shop)
    assert any(said in t for t in told(shop))


def test_part_number_and_withdrawal_count_too(shop: MemoryShop) -> None:
    authorise(shop, after=1, part_numbers=("940-330-3",), withdrawn_on=s.a_day(-40))
    send(shop)
    held = f"940-340-4 CL-88: authorisation {APPROVAL}"
    assert told(shop)[1:] == [
        f"{held} was withdrawn on 2026-03-25, sent on 2026-03-25.",
        f"{held} does not cover part number 940-340-4 (sent on 2026-03-25).",
    ]


def test_not_serviceable_stays_open_until_another_trip_or_look(shop: MemoryShop) -> None:
    send(shop)
    with pytest.raises(InputError, match="out already"):
        send(shop)
    bring_back(shop)
    inspect(shop, serviceable=False)
    assert "found not serviceable after its return" in told(shop)[0]


def test_a_builder_cannot_close_it_nor_enter_an_authorisation(shop: MemoryShop) -> None:
    send(shop)
    bring_back(shop)
    folder = shop.folder("W100", s.DAY)
    found = Reinspected(serviceable=True, found="good")
    shown = repairing.reinspection_shown(repairs(folder)[0], found)
    with pytest.raises(NotEntitledError):
        repairing.reinspect(shop.desk("bo"), folder, repairs(folder)[0], found, shown)
    with pytest.raises(NotEntitledError):
        repairing.know_vendor(shop.desk("bo"), VendorKnown(id="x", name="X"))
