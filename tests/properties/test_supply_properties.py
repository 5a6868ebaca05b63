"""Whatever a store is asked: no serial in two kits, quantities add up, nothing uncertified in a kit."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

sys.path.insert(0, str(Path(__file__).parent.parent / "unit"))
import supply_shop as s

from spoolwright.crafts.supply import kit_sheet, kitting, stores
from spoolwright.crafts.supply.needs import kit_lines
from spoolwright.crafts.supply.stock import one_stock
from spoolwright.errors import SpoolwrightError

VISITS = ("W100", "W200", "W300")
SERIALS = ((s.PART, s.NUMBER, "IM-1"), (s.PART, "940-212-3", "IM-2"), (s.SEAL, s.SEAL_NUMBER, "LOT-1"))
ONE = st.sampled_from(SERIALS)
VISIT = st.sampled_from(VISITS)


class Store(RuleBasedStateMachine):
    """Three visits, two serials and a lot; people do anything in any order, and some of it is refused."""

    def __init__(self) -> None:
        super().__init__()
        self.shop = s.staffed()
        self.shop.open_visit("W200", "C940-204")
        self.shop.open_visit("W300", "C940-205")
        self.certified: dict[tuple[str, str], bool] = {}
        for visit in VISITS[:2]:
            s.need(self.shop, s.PART, 2, visit)
            s.need(self.shop, s.SEAL, 4, visit)
        for one in SERIALS[:2]:
            self.arrives_and_is_accepted(one, 5)

    def tried(self, act: Any, *given: Any) -> bool:
        """Whether it was done; a refusal writes nothing."""
        rows = len(self.shop.records.rows)
        try:
            act(*given)
        except SpoolwrightError:
            assert len(self.shop.records.rows) == rows
            return False
        return True

    @rule(one=ONE, quantity=st.integers(1, 6), papers=st.booleans())
    def arrives(self, one: tuple[str, str, str], quantity: int, papers: bool) -> None:
        part, number, tag = one
        many = quantity if part == s.SEAL else 1
        more: dict[str, object] = {} if papers else {"certificate": None}
        if self.tried(stores.receive_stock, self.shop.desk("bo"), s.arrived(part, number, tag, many, **more)):
            self.certified[number, tag] = False

    @rule(one=ONE, quantity=st.integers(1, 6))
    def arrives_and_is_accepted(self, one: tuple[str, str, str], quantity: int) -> None:
        self.arrives(one, quantity, True)
        self.is_accepted(one)

    @rule(one=ONE)
    def is_accepted(self, one: tuple[str, str, str]) -> None:
        if self.tried(s.accept, self.shop.desk("ida"), one[1], one[2]):
            self.certified[one[1], one[2]] = True

    @rule(one=ONE)
    def is_quarantined(self, one: tuple[str, str, str]) -> None:
        if self.tried(s.quarantine, self.shop.desk("ida"), one[1], one[2]):
            self.certified[one[1], one[2]] = False

    @rule(visit=VISIT, one=ONE, quantity=st.integers(1, 4))
    def is_needed(self, visit: str, one: tuple[str, str, str], quantity: int) -> None:
        s.need(self.shop, one[0], quantity, visit)

    @rule(visit=VISIT, one=ONE, quantity=st.sampled_from((1, 1, 1, 2, 4, 0, -1)))
    def is_kitted(self, visit: str, one: tuple[str, str, str], quantity: int) -> None:
        part, number, tag = one
        if self.tried(s.kit, self.shop, part, number, tag, quantity, visit):
            assert self.certified[number, tag]

    @rule(visit=VISIT, which=st.integers(0, 1))
    def is_put_back(self, visit: str, which: int) -> None:
        lines = kit_lines(self.shop.folder(visit))
        if which < len(lines):
            self.tried(kitting.put_back, self.shop.desk("bo"), self.shop.folder(visit), lines[which], "why")

    @rule(visit=VISIT, which=st.integers(0, 1))
    def is_fitted(self, visit: str, which: int) -> None:
        folder = self.shop.folder(visit, s.DAY)
        lines = kit_lines(folder)
        if which < len(lines):
            desk = self.shop.desk("bo")
            after = sheet.revision if (sheet := kit_sheet.signed_sheet(folder, "compressor")) else 0
            shown = kit_sheet.kit_shown(folder, kit_sheet.sheet_of(folder, "compressor"))
            kit_sheet.sign_kit(desk, folder, "compressor", shown, after)
            folder, line = self.shop.folder(visit, s.DAY), lines[which].body
            if self.tried(kit_sheet.fit_part, desk, folder, lines[which]):
                assert self.certified[line.part_number, line.tag]

    @invariant()
    def quantities_add_up_and_no_serial_stands_in_two_kits(self) -> None:
        folders = {v: self.shop.folder(v) for v in VISITS}
        for _, number, tag in SERIALS:
            stock = one_stock(self.shop.records, (), number, tag)
            if stock is None:
                continue
            assert 0 <= stock.free <= stock.body.quantity
            held = {
                v: e.body.quantity
                for v, f in folders.items()
                for e in kit_lines(f)
                if (e.body.part_number, e.body.tag) == (stock.body.part_number, stock.body.tag)
                and e.body.arrival == stock.entry.revision
            }
            assert held == stock.taken
            assert not stock.body.serialised or sum(held.values()) <= 1


TestStore = Store.TestCase
TestStore.settings = settings(max_examples=100, stateful_step_count=25, deadline=None)
