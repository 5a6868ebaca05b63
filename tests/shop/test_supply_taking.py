"""Many people at one shelf: a serial goes to one visit, a lot is never taken beyond what it holds."""

from __future__ import annotations

import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from shop.fixtures import FilledShop
from spoolwright.crafts.supply import kit_sheet, kitting, stores
from spoolwright.crafts.supply.needs import kit_lines
from spoolwright.crafts.supply.stock import stock_under
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import SpoolwrightError

sys.path.insert(0, str(Path(__file__).parent.parent / "unit"))
import supply_shop as s

VISITS = tuple(f"W{n}" for n in range(500, 508))


def stocked(shop: FilledShop) -> None:
    """One serial, a lot of five, and eight visits that each need the serial and two of the lot."""
    shop.hire("ida", "Ida", Role.INSPECTOR)
    shop.hire("bo", "Bo", Role.BUILDER)
    for part, number, tag, quantity in ((s.PART, s.NUMBER, "IM-1", 1), (s.SEAL, s.SEAL_NUMBER, "LOT-1", 5)):
        stores.receive_stock(shop.desk("bo"), s.arrived(part, number, tag, quantity))
        s.accept(shop.desk("ida"), number, tag)
    for n, visit in enumerate(VISITS):
        shop.open_visit(visit, f"C940-{n}")
        for part, quantity in ((s.PART, 1), (s.SEAL, 2)):
            kitting.need_part(shop.desk("bo"), shop.shop.folder(visit, s.DAY), part, quantity, "worn")


def taken(shop: FilledShop, visit: str, part: str, number: str, tag: str, quantity: int) -> bool:
    """Whether a visit got it; a refusal is in words."""
    try:
        kitting.kit_part(shop.desk("bo"), shop.shop.folder(visit, s.DAY), part, number, tag, quantity)
    except SpoolwrightError as told:
        assert str(told)
        return False
    return True


def test_eight_visits_at_once(shop: FilledShop) -> None:
    stocked(shop)
    with ThreadPoolExecutor(8) as people:
        serial = list(people.map(lambda v: taken(shop, v, s.PART, s.NUMBER, "IM-1", 1), VISITS))
        # A conflict is told and tried again by hand: three rounds are what people would do.
        for _ in range(3):
            list(people.map(lambda v: taken(shop, v, s.SEAL, s.SEAL_NUMBER, "LOT-1", 2), VISITS))
    assert sum(serial) == 1
    held = {v: {e.body.tag: e.body.quantity for e in kit_lines(shop.shop.folder(v, s.DAY))} for v in VISITS}
    assert sum(h.get("IM-1", 0) for h in held.values()) == 1
    assert sum(h.get("LOT-1", 0) for h in held.values()) == 4
    lot = stores.stock_at(shop.desk("bo"), s.SEAL_NUMBER, "LOT-1")
    assert (lot.free, lot.taken) == (1, {v: 2 for v in VISITS if "LOT-1" in held[v]})


def test_a_signed_kit_passes_verify_and_what_is_used_up_leaves_the_store(shop: FilledShop) -> None:
    stocked(shop)
    visit = VISITS[0]
    assert taken(shop, visit, s.PART, s.NUMBER, "IM-1", 1)
    folder = shop.shop.folder(visit, s.DAY)
    shown = kit_sheet.kit_shown(folder, kit_sheet.sheet_of(folder, "compressor"))
    kit_sheet.sign_kit(shop.desk("bo"), folder, "compressor", shown)
    folder = shop.shop.folder(visit, s.DAY)
    kit_sheet.fit_part(shop.desk("bo"), folder, kit_lines(folder)[0])
    verified = shop.shop.verify()
    assert verified.faults == []
    assert verified.recomputed == 1
    assert stock_under(shop.records, (), f"part/{s.NUMBER}") == []
