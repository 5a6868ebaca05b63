"""Changed limits over the stock of a shop: every serial of the part number on record, and where it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from spoolwright.bootstrap.shop import Shop
from spoolwright.crafts.life.build import standing_of
from spoolwright.crafts.life.model import AffectedSerial, LimitChangeSeen, PartBorn, PartUsed
from spoolwright.crafts.life.rules import Standing
from spoolwright.crafts.life.service import limit_change_subject
from spoolwright.crafts.life.stock import LimitChange, affected_by, limit_changes
from spoolwright.crafts.supply.model import StockReceived
from spoolwright.crafts.typefile.shop.model import ShopPart
from spoolwright.crafts.visit.entry import Body, Entry
from spoolwright.crafts.visit.parts import PartFitted, part_subject, segment


@dataclass(frozen=True)
class ChangedLimit:
    """A changed limit of a type, the serials it touches now, and what was recorded about it."""

    type_id: str
    name: str
    change: LimitChange
    affected: tuple[AffectedSerial, ...]
    seen: Entry[Body] | None

    @property
    def up_to_date(self) -> bool:
        """Whether the record names the same serials with the same figures."""
        return (
            self.seen is not None
            and isinstance(self.seen.body, LimitChangeSeen)
            and self.seen.body.affected == self.affected
        )


def changed_limits(shop: Shop, today: date) -> list[ChangedLimit]:
    """Every changed limit of every type of which an engine was here, newest first."""
    types = dict.fromkeys(line.opened.type_id for line in shop.visits(open_only=False))
    place = places(shop)
    return [
        _changed(shop, type_id, c, today, place)
        for type_id in types
        for c in limit_changes(shop.types.of(type_id).shop.life_limit, today)
    ]


def changed_limit(shop: Shop, type_id: str, asked: tuple[str, str, str], today: date) -> ChangedLimit | None:
    """One of them: by part number, measure and day; None where there is none."""
    if type_id not in {line.opened.type_id for line in shop.visits(open_only=False)}:
        return None
    for c in limit_changes(shop.types.of(type_id).shop.life_limit, today):
        if (c.now.part_number, c.now.measure, str(c.now.effective)) == asked:
            return _changed(shop, type_id, c, today, places(shop))
    return None


def _changed(
    shop: Shop, type_id: str, change: LimitChange, today: date, place: Callable[[str, str], str]
) -> ChangedLimit:
    part = shop.types.of(type_id).shop
    history = shop.records.history(limit_change_subject(type_id, change))
    kinds = {n: k.name for k in part.part for n in (k.part_number, *k.alternates)}
    return ChangedLimit(
        type_id,
        kinds.get(change.now.part_number, ""),
        change,
        affected_by(change, _standings(shop, change.now.part_number, part, today), place),
        history[-1] if history else None,
    )


def _standings(shop: Shop, part_number: str, part: ShopPart, today: date) -> list[Standing]:
    """Every serial of a part number that has a birth, a line, a place, or lies in store."""
    kinds = (PartBorn, PartUsed, PartFitted, StockReceived)
    serials: dict[str, None] = {}
    for entry in shop.records.current(*kinds, under=f"part/{segment(part_number)}"):
        body = entry.body
        if isinstance(body, StockReceived):
            serials |= {body.tag: None} if body.serialised else {}
        elif isinstance(body, PartBorn | PartUsed | PartFitted):
            serials[body.serial] = None
    return [standing_of(shop.records, part_number, serial, part, today) for serial in serials]


def places(shop: Shop) -> Callable[[str, str], str]:
    """Where a part is: in an engine in the shop, in one that is out, or off."""
    here = {line.opened.engine_serial: line.number for line in shop.visits()}

    def place(part_number: str, serial: str) -> str:
        under = part_subject(part_number, serial)
        fitted = shop.records.current(PartFitted, under=f"{under}/fit")
        engine = fitted[0].body.engine_serial if fitted else ""
        if engine in here:
            return f"in engine {engine}, in the shop (visit {here[engine]})"
        if engine:
            return f"installed in engine {engine}"
        if shop.records.current(StockReceived, under=f"{under}/stock"):
            return "in store"
        return (fitted[0].body.state if fitted else "") or "not recorded where"

    return place
